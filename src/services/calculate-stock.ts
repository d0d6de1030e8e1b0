import { DomainError } from "../domain/errors.ts";
import {
  conditionalSurvival,
  convolveAll,
  type DemandRate,
  demandProcess,
  type LifeDistribution,
  leadTimePoints,
  levelsForDemand,
  lifeMean,
  lifeQuantile,
  lifeSurvival,
  pmfMean,
  pmfVariance,
  renewalCounts,
  type ServiceTarget,
  type StockLevels,
  stockLevels,
} from "../stats/index.ts";
import { asked, requireModest } from "./ask-statistics.ts";
import { requireReachable } from "./calculate-life.ts";

/** Longer laws of whole units are refused, so that a request is answered within a second or so. */
const MOST_UNITS = 200_000;
const tooManyUnits = "So many units take too long: count in packs, or give a normal demand";
/** A double counts whole units exactly far beyond this, with room for forty standard deviations. */
const MOST_NORMAL_UNITS = 1e12;
/** Positions of a lot times units of demand that are looked at. */
const MOST_LOT_WORK = 2e6;
const MOST_UNEVEN_LOT = 50;
const tooLargeLot =
  "Packs or a minimum order of so many units take too long with so large a demand: count in packs";

/** Beyond about this many units over a duration, a demand has practically no chance. */
function farEnd(demand: DemandRate, duration: number): number {
  switch (demand.kind) {
    case "poisson": {
      const mean = demand.rate * duration;
      return mean + 10 * Math.sqrt(mean) + 30;
    }
    case "negative-binomial": {
      const { mean, variance } = demand;
      // Far out each further unit is less likely by the factor 1 - mean / variance.
      return mean * duration + 10 * Math.sqrt(variance * duration) + (40 * variance) / mean;
    }
    case "table":
      return demand.probabilities.length;
    case "normal":
      return mostOfNormal(demand, duration);
  }
}

const mostOfNormal = ({ mean, sd }: { mean: number; sd: number }, duration: number) =>
  mean * duration + 40 * sd * Math.sqrt(duration);

/**
 * Law of the whole units demanded in one period.
 *
 * @param pointer the member of the request that holds the demand
 * @throws {DomainError} `inconsistent` if it would be too long, or is no law
 */
export function demandLaw(pointer: string, demand: Exclude<DemandRate, { kind: "normal" }>): number[] {
  requireModest(pointer, farEnd(demand, 1), MOST_UNITS, tooManyUnits);
  return asked(pointer, () => demandProcess(demand).during(1));
}

export interface StockLevelsQuestion {
  demand: DemandRate;
  leadTime?: { mean: number; sd?: number | undefined } | undefined;
  reviewPeriod?: number | undefined;
  target: ServiceTarget;
  packSize?: number | undefined;
  minimumOrder?: number | undefined;
}

/**
 * When to order and how far up. A table is the demand over the whole lead time, however long that is.
 *
 * @throws {DomainError} `inconsistent` if a number is refused, or the sum would take too long
 */
export function calculateStockLevels(question: StockLevelsQuestion): StockLevels {
  const { demand, leadTime, reviewPeriod = 0, target, packSize = 1, minimumOrder = 1 } = question;
  const lot = Math.max(packSize, Math.ceil(minimumOrder / packSize) * packSize);
  const packs = { packSize, minimumOrder };
  if (demand.kind === "table") {
    requireModest("#/packSize", lot * demand.probabilities.length, MOST_LOT_WORK, tooLargeLot);
    return asked("#/demand", () =>
      levelsForDemand({ leadTimeDemand: demand.probabilities, target, ...packs }),
    );
  }
  if (leadTime === undefined) {
    const detail = "must be given, except with a table of the demand over the lead time";
    throw new DomainError("inconsistent", `leadTime ${detail}`, [{ pointer: "#/leadTime", detail }]);
  }
  const { mean, sd = 0 } = leadTime;
  const points = asked("#/leadTime", () => leadTimePoints({ mean, sd }));
  const unitsWithin = (least: number) => {
    const longest = points.reduce(
      (most, p) => (p.probability > least ? Math.max(most, p.duration) : most),
      0,
    );
    return farEnd(demand, longest + reviewPeriod);
  };
  if (demand.kind === "normal") requireModest("#/demand", unitsWithin(0), MOST_NORMAL_UNITS, tooManyUnits);
  else {
    requireModest("#/demand", unitsWithin(0), MOST_UNITS, tooManyUnits);
    // Under periodic review each position is looked at more often.
    const work = lot * unitsWithin(1e-15) * (reviewPeriod > 0 ? 3 : 1);
    requireModest("#/packSize", work, MOST_LOT_WORK, tooLargeLot);
    const even = lot === packSize || (demand.kind === "poisson" && reviewPeriod === 0);
    if (!even) requireModest("#/minimumOrder", lot, MOST_UNEVEN_LOT, tooLargeLot);
  }
  return asked("#/demand", () =>
    stockLevels({ demand, leadTime: { mean, sd }, reviewPeriod, target, ...packs }),
  );
}

/** Steps of the grid of renewals, by the same rule that the statistics choose them. */
const gridSteps = (horizon: number, median: number) =>
  Math.min(1200, Math.max(60, Math.ceil((30 * horizon) / median)));
const MOST_RENEWAL_WORK = 200 * 1200 ** 2;
/** Below, lives begin with so steep a risk that the grid of renewals loses the second digit. */
const LEAST_SHAPE = 0.5;

/**
 * Law of the replacements within a horizon of positions that hold parts of some ages now.
 *
 * @throws {DomainError} `inconsistent` if an age is out of reach, or the sum would take too long
 */
export function calculateRenewals(question: { life: LifeDistribution; horizon: number; ages: number[] }) {
  const { life, horizon, ages } = question;
  if (life.distribution === "weibull" && life.shape < LEAST_SHAPE) {
    const detail = `must be at least ${LEAST_SHAPE} here: with a lower shape most parts fail at once, and counts become unsure`;
    throw new DomainError("inconsistent", `life.shape ${detail}`, [{ pointer: "#/life/shape", detail }]);
  }
  for (const [i, age] of ages.entries()) requireReachable(`#/ages/${i}`, life, age);
  const [mean, median] = asked("#/life", () => [lifeMean(life), lifeQuantile(life, 0.5)]) as [number, number];
  const distinct = [...new Set(ages)];
  requireModest(
    "#/horizon",
    distinct.length * gridSteps(horizon, median) ** 2 * (horizon / mean + 20),
    MOST_RENEWAL_WORK,
    `So many lives take too long, for ${distinct.length} different ages: ask about a shorter horizon, or fewer ages`,
  );
  return asked("#/life", () => {
    const laterCdf = (t: number) => 1 - lifeSurvival(life, t);
    const counts = new Map(
      distinct.map((age) => [
        age,
        renewalCounts({
          firstCdf: (t) => 1 - conditionalSurvival(life, age, t),
          laterCdf,
          horizon,
        }).probabilities,
      ]),
    );
    const probabilities = convolveAll(ages.map((age) => counts.get(age)!));
    return { expected: pmfMean(probabilities), variance: pmfVariance(probabilities), probabilities };
  });
}
