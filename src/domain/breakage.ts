import { rateQuantile } from "../stats/index.ts";
import type { Kind } from "./kind.ts";

/**
 * Accidental breakage, apart from wear: a constant chance for each run, believed to be the kind's with the weight of
 * one breakage, and learned from what broke in how many runs (a gamma prior on a Poisson rate). Drivers differ: each has
 * a factor of his own on the rate of the line, around 1, learned from his own pieces. Every run counts from the moment
 * it is logged, looked at since or not: what broke is found on the track, and not on the bench.
 */
export interface BreakageEvidence {
  /** shape and rate (in runs) of the gamma law of the breakages per run */
  shape: number;
  rate: number;
  broken: number;
  runs: number;
}

/** What is known of a line: pooled over its drivers, for each of them, and for one who has not used it yet. */
export interface LineBreakage extends BreakageEvidence {
  drivers: Record<string, BreakageEvidence>;
  newDriver: BreakageEvidence;
}

/** How many breakages the kind's own figure counts as. */
const beliefWeight = 1;
/** A driver's factor has mean 1 and a coefficient of variation of a half (common practice, no source): shape 1 / 0.5². */
const factorShape = 4;
/** The law of the line's rate is taken on a grid of its logarithm, this far around where it is expected. */
const gridReach = { below: 6, above: 4 };
const gridStep = 0.05;

/** A kind that is never believed to break still may: a figure below one in a million is taken as that. */
const believedPerRun = (kind: Kind): number => Math.max(kind.breakagePerRun, 1e-6);

/** A line as a whole: every run of every driver counts the same. */
export function breakageEvidence(
  kind: Kind,
  lives: readonly { runs: number; broken: boolean }[],
): BreakageEvidence {
  const broken = lives.filter((life) => life.broken).length;
  const runs = lives.reduce((sum, life) => sum + life.runs, 0);
  const believed = believedPerRun(kind);
  return { shape: beliefWeight + broken, rate: beliefWeight / believed + runs, broken, runs };
}

/**
 * A line, and each driver's own rate shrunk to it: the rate of driver d is λ f, λ that of the line with the kind's gamma
 * law, f gamma with mean 1. Given λ everything is conjugate; λ is averaged over on a grid, and the law of λ f is given as
 * the gamma law of the same mean and variance.
 */
export function lineBreakage(
  kind: Kind,
  lives: readonly { driverId: string; runs: number; broken: boolean }[],
): LineBreakage {
  const line = breakageEvidence(kind, lives);
  const byDriver = new Map<string, { broken: number; runs: number }>();
  for (const { driverId, runs, broken } of lives) {
    const so = byDriver.get(driverId) ?? { broken: 0, runs: 0 };
    byDriver.set(driverId, { broken: so.broken + (broken ? 1 : 0), runs: so.runs + runs });
  }
  const rates = rateGrid(line, beliefWeight / believedPerRun(kind), [...byDriver.values()]);
  return {
    ...line,
    drivers: Object.fromEntries([...byDriver].map(([id, seen]) => [id, driverRate(rates, seen)])),
    newDriver: driverRate(rates, { broken: 0, runs: 0 }),
  };
}

interface RatePoint {
  perRun: number;
  weight: number;
}

/** The line's rate given what broke for each driver: gamma prior, negative binomial counts. Weights sum to one. */
function rateGrid(
  line: BreakageEvidence,
  priorRuns: number,
  drivers: readonly { broken: number; runs: number }[],
): RatePoint[] {
  const centre = Math.log(line.shape / line.rate);
  const steps = Math.round((gridReach.below + gridReach.above) / gridStep);
  const logs = Array.from({ length: steps + 1 }, (_, i) => centre - gridReach.below + i * gridStep);
  const heights = logs.map((log) => {
    const perRun = Math.exp(log);
    // The prior's density of the logarithm of the rate.
    let height = beliefWeight * log - perRun * priorRuns;
    for (const { broken, runs } of drivers)
      height += broken * log - (factorShape + broken) * Math.log1p((perRun * runs) / factorShape);
    return height;
  });
  const top = Math.max(...heights);
  const weights = heights.map((height) => Math.exp(height - top));
  const total = weights.reduce((sum, weight) => sum + weight, 0);
  return logs.map((log, i) => ({ perRun: Math.exp(log), weight: weights[i]! / total }));
}

function driverRate(
  rates: readonly RatePoint[],
  { broken, runs }: { broken: number; runs: number },
): BreakageEvidence {
  let mean = 0;
  let square = 0;
  for (const { perRun, weight } of rates) {
    const shape = factorShape + broken;
    const given = (perRun * shape) / (factorShape + perRun * runs);
    mean += weight * given;
    square += weight * given * given * (1 + 1 / shape);
  }
  const variance = square - mean * mean;
  return { shape: (mean * mean) / variance, rate: mean / variance, broken, runs };
}

/** A driver's own breakage rate of a line. */
export const breakageOf = ({ drivers, newDriver }: LineBreakage, driverId: string): BreakageEvidence =>
  drivers[driverId] ?? newDriver;

/**
 * The law of the rate that all drivers of a line share: that of somebody new is λ f with f of mean 1, so that λ has the
 * same mean, and its square is that of λ f over 1 + 1 / κ.
 */
export function sharedRate({ newDriver }: LineBreakage): BreakageEvidence {
  const mean = newDriver.shape / newDriver.rate;
  const square = (mean * mean * (1 + 1 / newDriver.shape)) / (1 + 1 / factorShape);
  const variance = Math.max(square - mean * mean, 1e-6 * mean * mean);
  return { ...newDriver, shape: (mean * mean) / variance, rate: mean / variance };
}

/** The gamma law of a driver's own rate, given that of the line and what broke for him. */
export const factorLaw = ({ broken, runs }: BreakageEvidence, perRun: number) => ({
  shape: factorShape + broken,
  scale: perRun / (factorShape + perRun * runs),
});

/** Breakages per run as a range: 10th percentile, median and 90th of the gamma law. */
export function breakagePerRun({ shape, rate }: BreakageEvidence): {
  p10: number;
  median: number;
  p90: number;
} {
  const at = (p: number) => rateQuantile({ events: shape, exposure: rate }, p);
  return { p10: at(0.1), median: at(0.5), p90: at(0.9) };
}

/** Chance that a piece does not break within some runs: the gamma law of the rate averaged over. */
export const unbrokenChance = ({ shape, rate }: BreakageEvidence, runs: number): number =>
  Math.exp(-shape * Math.log1p(runs / rate));
