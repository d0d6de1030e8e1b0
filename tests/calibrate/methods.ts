/** Models to back-test: the drift process with plugged-in maximum likelihood, and the wear line. */
import {
  type DriftModel,
  filterDrift,
  fitDrift,
  fitWearLine,
  forecastWear,
  levelPassageCdf,
  populationSummary,
  predictLevel,
  type WearPiece,
} from "../../src/stats/index.ts";
import type { Method } from "./backtest.ts";
import type { BacktestData } from "./data.ts";

/** Maximum likelihood on the other units, the variance of the mean drift added to that of a new unit's drift. */
export function pluggedIn(limit: number, model: DriftModel): Method {
  return (others) => {
    const fit = fitDrift(others, model);
    const diffusionSd = model.diffusion === false ? 0 : fit.diffusionSd;
    const scatter = { ...fit, diffusionSd, driftSd: Math.sqrt(fit.driftSd ** 2 + fit.driftVariance) };
    return (known) => {
      const state = filterDrift(known, fit.drift, scatter);
      const now = known.time.at(-1)!;
      return {
        reading(time) {
          const { mean, variance } = predictLevel(state, diffusionSd, time - now);
          return { mean, sd: Math.sqrt(variance + fit.readingSd ** 2) };
        },
        crossing: (ahead) => levelPassageCdf(state, limit, diffusionSd ** 2, ahead).reachedGivenInUse,
      };
    };
  };
}

/** The wear line, averaged over its hyper-parameters; a later reading has the error learned from the line. */
export function wearLine({
  limit,
  prior,
  errorOf,
}: Pick<BacktestData, "limit" | "prior" | "errorOf">): Method {
  const sdOf = errorOf ?? (() => prior.readingSd);
  const pieceOf = (id: string, time: readonly number[], reading: readonly number[]): WearPiece => ({
    id,
    limit,
    observations: time.map((usage, j) => ({ usage, wear: reading[j]!, sd: sdOf(reading[j]!) })),
  });
  return (others) => {
    const pieces = others.map(({ time, reading }, i) => pieceOf(`unit ${i}`, time, reading));
    const fit = fitWearLine({ pieces, limit }, prior);
    const factor = populationSummary(fit).readingSd / prior.readingSd;
    return ({ time, reading }) => {
      const piece = pieceOf("this", time, reading);
      const now = forecastWear(fit, piece, { usage: time.at(-1)! });
      return {
        reading(later) {
          const { p10, median, p90 } = forecastWear(fit, piece, { usage: later }).wear;
          return {
            mean: median,
            sd: Math.hypot((p90 - p10) / 2 / 1.2815515655446004, factor * sdOf(median)),
          };
        },
        crossing: (ahead) => now.remainingCdf(ahead),
      };
    };
  };
}
