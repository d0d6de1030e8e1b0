import { DomainError } from "../domain/errors.ts";
import {
  conditionalSurvival,
  convolveAll,
  type DemandRate,
  demandProcess,
  type LifeDistribution,
  lawPower,
  leadTimePoints,
  levelsForDemand,
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
/** Units of a table over all the time it is wanted for: a power that is not whole takes the square of them. */
const MOST_TABLE_UNITS = 5000;
const MOST_UNEVEN_LOT = 400;
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
 * When to order and how far up. A table is the demand over the whole lead time, however long that is; with a review period
 * its length must be known, and demand in parts of it is taken as independent and alike in law.
 *
 * @throws {DomainError} `inconsistent` if a number is refused, or the sum would take too long
 */
export function calculateStockLevels(
  question: StockLevelsQuestion,
): StockLevels & { assumption: string | null } {
  const { demand, leadTime, reviewPeriod = 0 } = question;
  if (demand.kind === "table" && reviewPeriod > 0)
    return reviewedTable({ ...question, reviewPeriod }, demand.probabilities, leadTime?.mean ?? 0);
  return { ...levelsOf(question), assumption: null };
}

/** A table over the lead time, with a review period: its law over other stretches is a power of the one given. */
function reviewedTable(
  { reviewPeriod, target, packSize = 1, minimumOrder = 1 }: StockLevelsQuestion & { reviewPeriod: number },
  leadTimeDemand: readonly number[],
  leadTime: number,
): StockLevels & { assumption: string } {
  const lot = Math.max(packSize, Math.ceil(minimumOrder / packSize) * packSize);
  const times = (leadTime + reviewPeriod) / leadTime;
  const units = leadTimeDemand.length * times;
  requireModest("#/reviewPeriod", units, MOST_TABLE_UNITS, tooManyUnits);
  requireModest("#/packSize", 3 * lot * units, MOST_LOT_WORK, tooLargeLot);
  if (lot > packSize) requireModest("#/minimumOrder", lot, MOST_UNEVEN_LOT, tooLargeLot);
  const over = (exponent: number, what: string) => {
    try {
      return lawPower(leadTimeDemand, exponent);
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      const detail = `leaves ${what} open: this table cannot be shared out over ${exponent} times the lead time. Give a review period that is a whole multiple of the lead time, or poisson or negative-binomial demand`;
      throw new DomainError("inconsistent", `reviewPeriod ${detail}`, [
        { pointer: "#/reviewPeriod", detail },
      ]);
    }
  };
  const protectionDemand = over(times, "the demand over lead time and review period");
  const batch = lot > packSize ? { batch: over(times - 1, "the demand over a review period") } : {};
  const levels = asked("#/demand", () =>
    levelsForDemand({ leadTimeDemand, protectionDemand, ...batch, target, packSize, minimumOrder }),
  );
  const assumption = `The table is the demand over one lead time of ${leadTime}; demand in other stretches is taken as independent of it and alike in law for each unit of time, so that lead time and review period together have ${Number(times.toPrecision(6))} times its mean and its variance.`;
  return { ...levels, assumption };
}

function levelsOf(question: StockLevelsQuestion): StockLevels {
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

const MOST_RENEWAL_WORK = 260 * 1200 ** 2;
const MOST_STEPS = 12_000;
/** With four steps to the standard deviation of a life, doubling them changes the sixth decimal (measured, shapes 5 to 1000). */
const STEPS_PER_SD = 4;
/** Distance of the quartiles of a normal law, in standard deviations. */
const QUARTILES_APART = 1.349;

/**
 * Steps of the grid of renewals, and about how many products they cost. Lives that are nearly all alike need more steps than
 * the statistics choose by themselves; each count then falls into a band of them only.
 */
function renewalGrid(life: LifeDistribution, horizon: number): { steps: number; work: number } {
  const [median, lower, upper] = asked("#/life", () =>
    [0.5, 0.25, 0.75].map((p) => lifeQuantile(life, p)),
  ) as [number, number, number];
  const sd = (upper - lower) / QUARTILES_APART;
  const usual = Math.min(1200, Math.max(60, (30 * horizon) / median));
  const steps = Math.ceil(Math.max(usual, (STEPS_PER_SD * horizon) / sd));
  if (steps > MOST_STEPS) return { steps, work: Infinity };
  const counts = mostCounts(life, horizon);
  const band = Math.min(steps, (16 * sd * Math.sqrt(counts) * steps) / horizon);
  return { steps, work: steps * band * counts };
}

/**
 * Replacements beyond which the chance is below 1e-12, from above: P(N >= k) <= exp(s horizon) L(s)^k for every s > 0, with
 * L the Laplace transform of the life (Chernoff's bound), here the mean over a hundred of its quantiles.
 */
function mostCounts(life: LifeDistribution, horizon: number): number {
  const lives = Array.from({ length: 100 }, (_, i) => lifeQuantile(life, (i + 0.5) / 100) / horizon);
  const bounds = [0.1, 1, 3, 10, 30, 100, 300, 1000].map((s) => {
    const transform = lives.reduce((sum, t) => sum + Math.exp(-s * t), 0) / lives.length;
    return (Math.log(1e12) + s) / Math.max(1e-300, -Math.log(transform));
  });
  return Math.min(...bounds);
}

/**
 * Law of the replacements within a horizon of positions that hold parts of some ages now.
 *
 * @throws {DomainError} `inconsistent` if an age is out of reach, or the sum would take too long
 */
export function calculateRenewals(question: { life: LifeDistribution; horizon: number; ages: number[] }) {
  const { life, horizon, ages } = question;
  for (const [i, age] of ages.entries()) requireReachable(`#/ages/${i}`, life, age);
  if (horizon === 0 || ages.length === 0) return { expected: 0, variance: 0, probabilities: [1] };
  const distinct = [...new Set(ages)];
  const { steps, work } = renewalGrid(life, horizon);
  requireModest(
    "#/horizon",
    distinct.length * work,
    MOST_RENEWAL_WORK,
    `So many lives, with ${distinct.length} different ages, take too long: ask about a shorter horizon, or fewer ages`,
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
          steps,
        }).probabilities,
      ]),
    );
    const probabilities = convolveAll(ages.map((age) => counts.get(age)!));
    return { expected: pmfMean(probabilities), variance: pmfVariance(probabilities), probabilities };
  });
}
