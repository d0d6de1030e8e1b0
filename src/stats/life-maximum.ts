/** Maximum of the life likelihood over (location, ln spread), and the conditions under which there is one. */
import { ConvergenceError } from "./errors.ts";
import type { PackedLives } from "./life-data.ts";
import { type LifeFamily, type LifeLikelihood, lifeLikelihood } from "./life-likelihood.ts";

/** A point of the search with the likelihood there; the spread is exp(logSpread). */
export type LifePoint = { location: number; logSpread: number; at: LifeLikelihood };

/** A log-likelihood, or log posterior density, with its derivatives at a point. */
export type Evaluate = (location: number, logSpread: number) => LifeLikelihood;

const MAX_STEPS = 100;
const MAX_HALVINGS = 40;
/** Half the expected gain below which the next Newton step is the last: it leaves an error of about its square. */
const SMALL_GAIN = 1e-10;
/** Spreads exp(-12) and exp(5) of ln(age): beyond them the likelihood is climbing to a law without spread or without centre. */
const SPREAD_RANGE = { low: -12, high: 5 };

function extreme(values: Float64Array, start: number, pick: (a: number, b: number) => number): number {
  let result = start;
  for (const value of values) result = pick(result, value);
  return result;
}

/**
 * Refuses data whose likelihood grows without bound, or towards a law that kills every item at one age: that
 * happens exactly when one single age agrees with every observation.
 *
 * @throws {RangeError} if there is no failure, or one age agrees with all observations
 */
export function requireFiniteMaximum(name: string, lives: PackedLives): void {
  const { failed, running, before, between, totals } = lives;
  if (totals.failed + totals.between + totals.before === 0) {
    throw new RangeError(
      `${name} requires at least one failure; without any, use lifePosterior with a prior`,
    );
  }
  const lowest = [failed.logAge, running.logAge, between.logFrom].reduce(
    (a, v) => extreme(v, a, Math.max),
    -Infinity,
  );
  const highest = [failed.logAge, before.logAge, between.logTo].reduce(
    (a, v) => extreme(v, a, Math.min),
    Infinity,
  );
  if (lowest <= highest) {
    throw new RangeError(
      `${name} requires failures at two distinct ages, or an item that outlived a failure: one single age agrees with all observations; use lifePosterior with a prior`,
    );
  }
}

/** Middle of each failure on the log scale, with its count. */
function* failureAges({ failed, between, before }: PackedLives): Generator<[logAge: number, count: number]> {
  for (let i = 0; i < failed.count.length; i += 1) yield [failed.logAge[i]!, failed.count[i]!];
  for (let i = 0; i < between.count.length; i += 1) {
    yield [0.5 * (between.logFrom[i]! + between.logTo[i]!), between.count[i]!];
  }
  for (let i = 0; i < before.count.length; i += 1) yield [before.logAge[i]! - 0.5, before.count[i]!];
}

/** Start: spread from the failures alone, then the Weibull location that maximises the likelihood at that spread. */
function startingPoint(lives: PackedLives): { location: number; logSpread: number } {
  let weight = 0;
  let mean = 0;
  let squares = 0;
  for (const [logAge, count] of failureAges(lives)) {
    weight += count;
    const gap = logAge - mean;
    mean += (gap * count) / weight;
    squares += count * gap * (logAge - mean);
  }
  const spread = Math.min(2, Math.max(0.15, 0.8 * Math.sqrt(Math.max(0, squares) / weight)));
  let exposure = 0;
  for (const [logAge, count] of failureAges(lives)) exposure += count * Math.exp((logAge - mean) / spread);
  const { running, entered } = lives;
  for (let i = 0; i < running.count.length; i += 1) {
    exposure += running.count[i]! * Math.exp((running.logAge[i]! - mean) / spread);
  }
  for (let i = 0; i < entered.count.length; i += 1) {
    exposure -= entered.count[i]! * Math.exp((entered.logAge[i]! - mean) / spread);
  }
  const location = mean + spread * Math.log(Math.max(exposure, weight * 1e-3) / weight);
  return { location, logSpread: Math.log(spread) };
}

/** Newton step, or a scaled gradient step where the likelihood is not concave; never longer than a factor e². */
function ascentStep(at: LifeLikelihood): { location: number; logSpread: number; gain: number } {
  const { byLocation, byLogSpread, location2, cross, logSpread2 } = at;
  const determinant = location2 * logSpread2 - cross * cross;
  const concave = location2 < 0 && determinant > 0;
  let location = (byLogSpread * cross - byLocation * logSpread2) / determinant;
  let logSpread = (byLocation * cross - byLogSpread * location2) / determinant;
  if (!concave) {
    location = byLocation / (Math.abs(location2) + 1e-8);
    logSpread = byLogSpread / (Math.abs(logSpread2) + 1e-8);
  }
  const gain = byLocation * location + byLogSpread * logSpread;
  const shrink = Math.min(1, 2 / Math.abs(location), 1 / Math.abs(logSpread));
  return { location: location * shrink, logSpread: logSpread * shrink, gain: concave ? gain : Infinity };
}

/** Far from the data the value may be finite where a second derivative has overflowed; the search stays away. */
function hasDerivatives({ location2, cross, logSpread2 }: LifeLikelihood): boolean {
  return Number.isFinite(location2) && Number.isFinite(cross) && Number.isFinite(logSpread2);
}

/** The step halved until the likelihood does not fall. */
function climb(evaluate: Evaluate, from: LifePoint, step: ReturnType<typeof ascentStep>): LifePoint {
  let scale = 1;
  for (let halving = 0; halving < MAX_HALVINGS; halving += 1) {
    const location = from.location + scale * step.location;
    const logSpread = from.logSpread + scale * step.logSpread;
    const at = evaluate(location, logSpread);
    const higher = at.value >= from.at.value || step.gain < SMALL_GAIN;
    if (higher && hasDerivatives(at)) return { location, logSpread, at };
    scale /= 2;
  }
  return from;
}

/**
 * Maximum by Newton's method with the exact Hessian.
 *
 * @throws {ConvergenceError} if the search runs off to an unbounded spread or does not settle
 */
export function newtonMaximum(
  name: string,
  evaluate: Evaluate,
  start: { location: number; logSpread: number },
): LifePoint & { iterations: number } {
  let point: LifePoint = { ...start, at: evaluate(start.location, start.logSpread) };
  for (let iterations = 1; iterations <= MAX_STEPS; iterations += 1) {
    const step = ascentStep(point.at);
    point = climb(evaluate, point, step);
    if (step.gain < SMALL_GAIN) return { ...point, iterations };
    if (!(point.logSpread > SPREAD_RANGE.low && point.logSpread < SPREAD_RANGE.high)) {
      throw new ConvergenceError(
        `${name} found no finite maximum: failures do not become likelier with age in these data; use lifePosterior with a prior`,
        iterations,
      );
    }
  }
  throw new ConvergenceError(
    `${name} did not settle in ${MAX_STEPS} steps: the data hardly bound the spread of the lives; use lifePosterior with a prior`,
    MAX_STEPS,
  );
}

/**
 * Maximum-likelihood point.
 *
 * @throws {RangeError} if the data allow no finite maximum (`requireFiniteMaximum`)
 * @throws {ConvergenceError} as `newtonMaximum`
 */
export function maximiseLife(
  name: string,
  family: LifeFamily,
  lives: PackedLives,
): LifePoint & { iterations: number } {
  requireFiniteMaximum(name, lives);
  const evaluate: Evaluate = (location, logSpread) => lifeLikelihood(family, lives, location, logSpread);
  return newtonMaximum(name, evaluate, startingPoint(lives));
}
