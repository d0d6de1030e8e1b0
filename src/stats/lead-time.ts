/** Lead times: their law as points, demand over them, and what deliveries teach about them. */
import { mixture, trimTail } from "./discrete.ts";
import { gammaP, logGamma } from "./gamma.ts";
import { gammaQuadrature } from "./quadrature.ts";

/** One value that a lead time can take. */
export type LeadTimePoint = { duration: number; probability: number };

/** Mixing over smooth functions of a gamma law converges with the number of nodes; 32 leave errors below 1e-9. */
const NODES = 32;

/** Below this ratio of spread to mean a promise is taken as this exact: no delivery is exact to the minute. */
const LEAST_VARIATION = 0.05;

/** A spread below this share of the mean is none: the gamma shape would pass 1e10 and its digits run out. */
const NO_SPREAD = 1e-5;

/**
 * A lead time of given mean and spread as points: one point where there is no spread (sd
 * below 1e-5 of the mean), otherwise the Gauss nodes of the
 * gamma law with that mean and spread, exact for mean, variance and 60 further moments.
 *
 * @param law.mean of at least 0
 * @param law.sd standard deviation, of at least 0, default 0; needs a mean above 0 if it is above 0
 * @throws {RangeError} if a value is out of range
 */
export function leadTimePoints(law: { mean: number; sd?: number }): LeadTimePoint[] {
  const { mean, sd = 0 } = law;
  requireLeadTime("leadTimePoints", mean, sd);
  if (sd <= NO_SPREAD * mean) return [{ duration: mean, probability: 1 }];
  const gamma = { shape: (mean / sd) ** 2, scale: sd ** 2 / mean };
  return gammaQuadrature(gamma, NODES).map(({ node, weight }) => ({ duration: node, probability: weight }));
}

/**
 * A gamma lead time as whole periods, for demand that is known per period only. A lead time between two whole
 * numbers counts in part as each, so that the mean is kept; the variance grows by at most a quarter.
 *
 * @param law as in `leadTimePoints`, in periods
 * @throws {RangeError} if a value is out of range
 */
export function wholePeriodLeadTimes(law: { mean: number; sd?: number }): LeadTimePoint[] {
  const { mean, sd = 0 } = law;
  requireLeadTime("wholePeriodLeadTimes", mean, sd);
  const expectedBelow =
    sd <= NO_SPREAD * mean ? (x: number) => Math.max(0, x - mean) : gammaShortOf(mean, sd);
  const points: LeadTimePoint[] = [];
  const last = Math.ceil(mean + 40 * sd) + 1;
  let reached = 0;
  for (let n = 0; n <= last && reached < 1 - 1e-13; n++) {
    const below = n === 0 ? 0 : expectedBelow(n - 1);
    const chance = Math.max(0, expectedBelow(n + 1) - 2 * expectedBelow(n) + below);
    reached += chance;
    if (chance > 0) points.push({ duration: n, probability: chance });
  }
  return points.map((point) => ({ ...point, probability: point.probability / reached }));
}

/** E[(x - L)+] of a gamma lead time L. */
function gammaShortOf(mean: number, sd: number): (x: number) => number {
  const shape = (mean / sd) ** 2;
  const scale = sd ** 2 / mean;
  return (x) => (x <= 0 ? 0 : x * gammaP(shape, x / scale) - mean * gammaP(shape + 1, x / scale));
}

/**
 * Law of the demand over a random lead time: the law over each duration, mixed over the durations (exact).
 *
 * It supposes that one order does not overtake another. The law for a duration may come from anywhere, also from
 * replacements that fall due on a worn population, which no rate describes.
 *
 * @param input.demandDuring law of the demand over a duration
 * @param input.leadTimes durations with their chances
 * @throws {RangeError} if there is no lead time, a chance or duration is below 0, or a demand is not a law
 */
export function demandOverLeadTime(input: {
  demandDuring: (duration: number) => readonly number[];
  leadTimes: readonly LeadTimePoint[];
}): number[] {
  for (const { duration } of input.leadTimes) {
    if (!(duration >= 0 && duration < Infinity)) {
      throw new RangeError("demandOverLeadTime requires finite durations of at least 0");
    }
  }
  const law = mixture(
    input.leadTimes.map(({ duration, probability }) => ({
      weight: probability,
      probabilities: input.demandDuring(duration),
    })),
  );
  // The farthest node of a gamma lead time has a weight below 1e-40, and would make the law ten times as long.
  return trimTail(law);
}

/**
 * Mean and variance of the demand over a lead time, for demand with independent, stationary increments:
 * mean L m, variance L v + m² Var L, over the lead time and the review period that precedes it.
 *
 * @param input.demand mean and standard deviation of the demand per period
 * @param input.leadTime in periods
 * @param input.reviewPeriod in periods, default 0
 * @throws {RangeError} if a value is negative or not finite
 */
export function leadTimeDemandMoments(input: {
  demand: { mean: number; sd: number };
  leadTime: { mean: number; sd?: number };
  reviewPeriod?: number;
}): { mean: number; sd: number } {
  const { demand, leadTime, reviewPeriod = 0 } = input;
  const { mean, sd = 0 } = leadTime;
  requireLeadTime("leadTimeDemandMoments", mean, sd);
  if (!(demand.mean >= 0 && demand.sd >= 0 && reviewPeriod >= 0)) {
    throw new RangeError("leadTimeDemandMoments requires values of at least 0");
  }
  const length = mean + reviewPeriod;
  return {
    mean: demand.mean * length,
    sd: Math.sqrt(length * demand.sd ** 2 + demand.mean ** 2 * sd ** 2),
  };
}

/**
 * What to expect of the next lead time, from the supplier's promise and the lead times seen so far.
 *
 * Lead times are gamma with unknown mean m and unknown variation c (spread / mean). Before the first delivery
 * log m is normal around the promised mean and log c normal around the promised variation; both are updated by
 * Bayes' rule on a grid. With no delivery the answer is the promise, widened by how far promises are to be trusted.
 *
 * @param input.promised mean above 0 and spread of at least 0, in the unit wanted
 * @param input.observed lead times seen, each above 0
 * @param input.trust standard deviations of log m and log c before the first delivery, default 0.3 and 0.5: a promise
 *   is right within a third, its spread within a factor of 2, in about two of three cases (our choice, no source)
 * @returns mean and standard deviation of the next lead time; `shape` and `scale` of the gamma law with these;
 *   `byPeriod`: element n is the chance that it takes more than n - 1 and at most n whole periods
 * @throws {RangeError} if a value is out of range
 */
export function leadTimePosterior(input: {
  promised: { mean: number; sd: number };
  observed: readonly number[];
  trust?: { mean: number; variation: number };
}): { mean: number; sd: number; shape: number; scale: number; byPeriod: number[] } {
  const { promised, observed, trust = { mean: 0.3, variation: 0.5 } } = input;
  requirePosteriorInput(promised, observed, trust);
  const prior = {
    logMean: Math.log(promised.mean),
    logVariation: Math.log(Math.max(LEAST_VARIATION, promised.sd / promised.mean)),
    trust,
  };
  const data = { count: observed.length, sum: 0, sumLog: 0 };
  for (const value of observed) {
    data.sum += value;
    data.sumLog += Math.log(value);
  }
  const seen = data.count === 0 ? prior.logMean : Math.log(data.sum / data.count);
  let range: GridRange = {
    meanFrom: Math.min(prior.logMean, seen) - 5 * trust.mean,
    meanTo: Math.max(prior.logMean, seen) + 5 * trust.mean,
    variationFrom: prior.logVariation - 6 * trust.variation,
    variationTo: prior.logVariation + 6 * trust.variation,
  };
  let points: GridPoint[] = [];
  for (const size of [61, 41, 33]) {
    points = posteriorGrid(prior, data, { ...range, size });
    range = aroundPosterior(points, range, size);
  }
  return predictive(points);
}

type Prior = { logMean: number; logVariation: number; trust: { mean: number; variation: number } };
type GridPoint = { logMean: number; logVariation: number; weight: number };
type GridRange = { meanFrom: number; meanTo: number; variationFrom: number; variationTo: number };

function posteriorGrid(
  prior: Prior,
  data: { count: number; sum: number; sumLog: number },
  grid: GridRange & { size: number },
): GridPoint[] {
  const points: GridPoint[] = [];
  let best = -Infinity;
  for (let i = 0; i < grid.size; i++) {
    const logMean = grid.meanFrom + ((grid.meanTo - grid.meanFrom) * i) / (grid.size - 1);
    for (let j = 0; j < grid.size; j++) {
      const logVariation =
        grid.variationFrom + ((grid.variationTo - grid.variationFrom) * j) / (grid.size - 1);
      const shape = Math.exp(-2 * logVariation);
      const scale = Math.exp(logMean) / shape;
      const logLikelihood =
        (shape - 1) * data.sumLog -
        data.sum / scale -
        data.count * (logGamma(shape) + shape * Math.log(scale));
      const logPrior =
        -0.5 * ((logMean - prior.logMean) / prior.trust.mean) ** 2 -
        0.5 * ((logVariation - prior.logVariation) / prior.trust.variation) ** 2;
      const weight = logPrior + (data.count === 0 ? 0 : logLikelihood);
      best = Math.max(best, weight);
      points.push({ logMean, logVariation, weight });
    }
  }
  return normalised(points.map((point) => ({ ...point, weight: Math.exp(point.weight - best) })));
}

function normalised(points: GridPoint[]): GridPoint[] {
  const sum = points.reduce((total, { weight }) => total + weight, 0);
  return points.map((point) => ({ ...point, weight: point.weight / sum }));
}

/**
 * The range of the next grid: seven standard deviations each way, and never less than a step and a half of this grid, which may
 * be too coarse to see any spread.
 */
function aroundPosterior(points: readonly GridPoint[], range: GridRange, size: number): GridRange {
  const around = (value: (point: GridPoint) => number, width: number) => {
    const mean = points.reduce((sum, point) => sum + point.weight * value(point), 0);
    const variance = points.reduce((sum, point) => sum + point.weight * (value(point) - mean) ** 2, 0);
    const half = Math.max(7 * Math.sqrt(variance), (1.5 * width) / (size - 1));
    return [mean - half, mean + half] as const;
  };
  const [meanFrom, meanTo] = around((point) => point.logMean, range.meanTo - range.meanFrom);
  const [variationFrom, variationTo] = around(
    (point) => point.logVariation,
    range.variationTo - range.variationFrom,
  );
  return { meanFrom, meanTo, variationFrom, variationTo };
}

/** The points that hold all but a millionth of the weight: most of the grid is far out and costs as much to visit. */
function heaviest(points: readonly GridPoint[]): GridPoint[] {
  let held = 0;
  const heavy: GridPoint[] = [];
  for (const point of [...points].sort((a, b) => b.weight - a.weight)) {
    if (held >= 1 - 1e-6) break;
    held += point.weight;
    heavy.push(point);
  }
  return normalised(heavy);
}

function predictive(points: readonly GridPoint[]) {
  const kept = normalised(points.filter(({ weight }) => weight > 1e-8));
  let mean = 0;
  let square = 0;
  for (const { logMean, logVariation, weight } of kept) {
    mean += weight * Math.exp(logMean);
    square += weight * Math.exp(2 * logMean) * (1 + Math.exp(2 * logVariation));
  }
  const variance = square - mean ** 2;
  const heavy = heaviest(kept);
  const byPeriod = [0];
  let below = 0;
  for (let n = 1; below < 1 - 1e-6 && n <= 1000; n++) {
    const upTo = heavy.reduce((sum, { logMean, logVariation, weight }) => {
      const shape = Math.exp(-2 * logVariation);
      return sum + weight * gammaP(shape, (n * shape) / Math.exp(logMean));
    }, 0);
    byPeriod.push(Math.max(0, upTo - below));
    below = Math.max(below, upTo);
  }
  byPeriod[byPeriod.length - 1]! += 1 - below;
  return { mean, sd: Math.sqrt(variance), shape: mean ** 2 / variance, scale: variance / mean, byPeriod };
}

function requireLeadTime(caller: string, mean: number, sd: number): void {
  if (!(mean >= 0 && mean < Infinity && sd >= 0 && sd < Infinity)) {
    throw new RangeError(`${caller} requires a finite mean and standard deviation of at least 0`);
  }
  if (sd > 0 && mean === 0) throw new RangeError(`${caller} requires a mean above 0 where there is spread`);
}

function requirePosteriorInput(
  promised: { mean: number; sd: number },
  observed: readonly number[],
  trust: { mean: number; variation: number },
): void {
  requireLeadTime("leadTimePosterior", promised.mean, promised.sd);
  if (!(promised.mean > 0)) throw new RangeError("leadTimePosterior requires a promised mean above 0");
  if (!(trust.mean > 0 && trust.mean <= 2 && trust.variation > 0 && trust.variation <= 2)) {
    throw new RangeError("leadTimePosterior requires trust in (0, 2]");
  }
  if (!observed.every((value) => value > 0 && value < Infinity)) {
    throw new RangeError("leadTimePosterior requires observed lead times above 0");
  }
}
