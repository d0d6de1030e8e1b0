import { setImmediate } from "node:timers/promises";
import { beliefFromReadings, type Path, type ReadingsOfPiece } from "../domain/belief-from-readings.ts";
import { DomainError } from "../domain/errors.ts";
import {
  fitWearLine,
  forecastWear,
  populationSummary,
  type WearLineFit,
  type WearPiece,
} from "../stats/index.ts";
import { asked } from "./ask-statistics.ts";

export interface WearQuestion {
  asNew: number;
  limit: number;
  expectedLife?: { p10: number; p90: number } | undefined;
  quantiles?: number[] | undefined;
  path?: Path | undefined;
  pieces: ReadingsOfPiece[];
}

const usualQuantiles = [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95];

/**
 * How the pieces of one line wear, and what is left of each, from readings alone.
 *
 * @throws {DomainError} `inconsistent` if there is nothing to start from, or the statistics refuse the numbers
 */
export async function calculateWear(question: WearQuestion) {
  const { asNew, limit, pieces, quantiles = usualQuantiles } = question;
  const wearable = Math.abs(limit - asNew);
  const belief = beliefFromReadings(question);
  if (belief === undefined) {
    const detail = "State an `expectedLife`, or give at least one reading taken after some usage";
    throw new DomainError("inconsistent", detail, [{ pointer: "#/expectedLife", detail }]);
  }
  const seen: WearPiece[] = pieces.map(({ id, readings }) => ({
    id,
    limit: wearable,
    observations: readings.map(({ usage, value }) => ({
      usage,
      wear: Math.sign(limit - asNew) * (value - asNew),
    })),
  }));
  const fit = asked("#/pieces", () => fitWearLine({ pieces: seen, limit: wearable }, belief.prior));
  const forecasts = [];
  for (const [i, piece] of seen.entries()) {
    // Other requests may come in between two pieces.
    await setImmediate();
    forecasts.push(asked(`#/pieces/${i}`, () => forecastOf(fit, piece, quantiles)));
  }
  const { life, readingSd, pieceSpread, runSpread, usagePerRun } = belief.prior;
  return {
    population: asked("#/pieces", () => populationSummary(fit)),
    pieces: forecasts,
    belief: {
      expectedLife: life,
      expectedLifeFrom: belief.lifeFrom,
      pieceSpread,
      runSpread,
      usagePerRun,
      readingSd,
      path: question.path ?? ("learned" as const),
    },
  };
}

function forecastOf(fit: WearLineFit, piece: WearPiece, quantiles: readonly number[]) {
  const usage = piece.observations.at(-1)?.usage ?? 0;
  const forecast = forecastWear(fit, piece, { usage });
  const mean = forecast.remainingMean;
  return {
    id: piece.id,
    usage,
    wear: forecast.wear,
    rate: forecast.rate,
    remaining: {
      quantiles: quantiles.map((probability) => ({
        probability,
        usage: forecast.remainingQuantile(probability),
      })),
      median: forecast.remainingQuantile(0.5),
      ...(mean === null ? {} : { mean }),
    },
    pastLimitProbability: forecast.pastLimitProbability,
  };
}
