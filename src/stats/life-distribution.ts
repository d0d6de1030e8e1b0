/** A distribution of life, Weibull or log-normal: survival, hazard, quantiles, and the life that remains at an age. */
import {
  type LognormalParameters,
  lognormalHazard,
  lognormalLogDensity,
  lognormalLogSurvival,
  lognormalMean,
  lognormalQuantile,
  lognormalResidualQuantile,
  requireLognormal,
} from "./lognormal.ts";
import {
  requireWeibull,
  type WeibullParameters,
  weibullHazard,
  weibullLogDensity,
  weibullLogSurvival,
  weibullMean,
  weibullQuantile,
  weibullResidualQuantile,
} from "./weibull.ts";

export type WeibullLife = { distribution: "weibull" } & WeibullParameters;
export type LognormalLife = { distribution: "lognormal" } & LognormalParameters;
/** Weibull: `shape`, `scale` in the unit of age. Log-normal: mean and standard deviation of ln(age). */
export type LifeDistribution = WeibullLife | LognormalLife;

function requireLife(name: string, life: LifeDistribution): void {
  if (life.distribution === "weibull") requireWeibull(name, life);
  else requireLognormal(name, life);
}

/** @throws {RangeError} if `age` is negative or not a number */
export function requireAge(name: string, age: number): void {
  if (!(age >= 0)) throw new RangeError(`${name} requires an age >= 0, got ${age}`);
}

/** @throws {RangeError} if `p` is outside [0, 1] */
export function requireProbability(name: string, p: number): void {
  if (!(p >= 0 && p <= 1)) throw new RangeError(`${name} requires p in [0, 1], got ${p}`);
}

/**
 * Natural logarithm of the survival function; keeps its digits where the survival itself underflows.
 *
 * @param t age, >= 0, may be infinite
 * @throws {RangeError} if `t` is negative or a parameter is outside its range
 */
export function lifeLogSurvival(life: LifeDistribution, t: number): number {
  requireLife("lifeLogSurvival", life);
  requireAge("lifeLogSurvival", t);
  if (t === Infinity) return -Infinity;
  return life.distribution === "weibull" ? weibullLogSurvival(t, life) : lognormalLogSurvival(t, life);
}

/**
 * Probability to live beyond age `t`.
 *
 * @param t age, >= 0, may be infinite
 * @throws {RangeError} if `t` is negative or a parameter is outside its range
 */
export function lifeSurvival(life: LifeDistribution, t: number): number {
  return Math.exp(lifeLogSurvival(life, t));
}

/**
 * Probability density of the life, per unit of age.
 *
 * @param t age, > 0
 * @throws {RangeError} if `t` is not > 0 or a parameter is outside its range
 */
export function lifeDensity(life: LifeDistribution, t: number): number {
  requireLife("lifeDensity", life);
  if (!(t > 0)) throw new RangeError(`lifeDensity requires an age > 0, got ${t}`);
  return Math.exp(
    life.distribution === "weibull" ? weibullLogDensity(t, life) : lognormalLogDensity(t, life),
  );
}

/**
 * Hazard: rate of failure at age `t` among those still alive, per unit of age.
 *
 * @param t age, >= 0 and finite; at 0 a Weibull law of shape below 1 has an infinite hazard
 * @throws {RangeError} if `t` is outside its range or a parameter is outside its range
 */
export function lifeHazard(life: LifeDistribution, t: number): number {
  requireLife("lifeHazard", life);
  if (!(t >= 0 && t < Infinity)) throw new RangeError(`lifeHazard requires a finite age >= 0, got ${t}`);
  return life.distribution === "weibull" ? weibullHazard(t, life) : lognormalHazard(t, life);
}

/**
 * Age by which a fraction `p` has failed; p = 0.1 is the B10 life, p = 0.5 the median.
 *
 * @param p in [0, 1]
 * @returns an age; Infinity at p = 1
 * @throws {RangeError} if `p` or a parameter is outside its range
 */
export function lifeQuantile(life: LifeDistribution, p: number): number {
  requireLife("lifeQuantile", life);
  requireProbability("lifeQuantile", p);
  if (p === 0) return 0;
  if (p === 1) return Infinity;
  return life.distribution === "weibull" ? weibullQuantile(p, life) : lognormalQuantile(p, life);
}

/**
 * Mean life.
 *
 * @throws {RangeError} if a parameter is outside its range
 */
export function lifeMean(life: LifeDistribution): number {
  requireLife("lifeMean", life);
  return life.distribution === "weibull" ? weibullMean(life) : lognormalMean(life);
}

/**
 * Probability that an item alive at `age` lives at least `ahead` longer, S(age + ahead) / S(age), formed from
 * the logarithms so that it exists where both survivals underflow.
 *
 * @param age >= 0, finite
 * @param ahead >= 0, may be infinite
 * @throws {RangeError} if an argument or a parameter is outside its range
 */
export function conditionalSurvival(life: LifeDistribution, age: number, ahead: number): number {
  if (age === Infinity) throw new RangeError("conditionalSurvival requires a finite age");
  requireAge("conditionalSurvival", ahead);
  return Math.min(1, Math.exp(lifeLogSurvival(life, age + ahead) - lifeLogSurvival(life, age)));
}

/**
 * Further life that a fraction `p` of the items alive at `age` will not reach; p = 0.5 is the median
 * remaining life.
 *
 * @param age >= 0, finite
 * @param p in [0, 1]
 * @returns a further age; Infinity at p = 1
 * @throws {RangeError} if an argument or a parameter is outside its range
 */
export function residualQuantile(life: LifeDistribution, age: number, p: number): number {
  requireLife("residualQuantile", life);
  requireProbability("residualQuantile", p);
  if (!(age >= 0 && age < Infinity))
    throw new RangeError(`residualQuantile requires a finite age >= 0, got ${age}`);
  if (p === 0) return 0;
  if (p === 1) return Infinity;
  return life.distribution === "weibull"
    ? weibullResidualQuantile(p, age, life)
    : lognormalResidualQuantile(p, age, life);
}
