/** Gamma function and its relatives, and the gamma and chi-square distributions built on them. */

import { ConvergenceError } from "./errors.ts";
import { normalCdf } from "./normal.ts";

/** Shape (no unit) and scale (unit of the variable) of a gamma distribution; its mean is shape * scale. */
export type GammaParameters = { shape: number; scale: number };

const LOG_SQRT_2_PI = 0.9189385332046727;
const MAX_TERMS = 20_000;
const NEWTON_STEPS = 200;
const TINY = 1e-300;
/** A factor of a continued fraction this near to one is one: it may never come nearer. */
const ONE_ULP = 2.3e-16;

/** Stirling series of ln Γ(x) - [(x - 1/2) ln x - x + ln sqrt(2π)] (DLMF 5.11.1), for x >= 10. */
function stirlingSeries(x: number): number {
  const r = 1 / (x * x);
  return (1 / 12 - r * (1 / 360 - r * (1 / 1260 - r * (1 / 1680 - r * (1 / 1188 - (r * 691) / 360360))))) / x;
}

/**
 * Natural logarithm of the gamma function.
 *
 * @param x > 0
 * @throws {RangeError} if `x` is not > 0 or not finite
 */
export function logGamma(x: number): number {
  if (!(x > 0) || x === Infinity) throw new RangeError(`logGamma requires a finite x > 0, got ${x}`);
  if (x === 1 || x === 2) return 0;
  let product = 1;
  let shifted = x;
  while (shifted < 10) {
    product *= shifted;
    shifted += 1;
  }
  return (
    (shifted - 0.5) * Math.log(shifted) -
    shifted +
    LOG_SQRT_2_PI +
    stirlingSeries(shifted) -
    Math.log(product)
  );
}

/**
 * Error of Stirling's formula for ln x!: ln Γ(x + 1) - [(x + 1/2) ln x - x + ln sqrt(2π)].
 *
 * Kept apart from `logGamma` because probabilities near the centre of a wide distribution are differences
 * of large logarithms; with this term they keep their digits (Loader, 2000).
 */
function stirlingError(x: number): number {
  return x >= 10 ? stirlingSeries(x) : logGamma(x + 1) - (x + 0.5) * Math.log(x) + x - LOG_SQRT_2_PI;
}

/** Deviance term x ln(x / mean) + mean - x, accurate when x is near mean (Loader, 2000). */
function deviance(x: number, mean: number): number {
  const gap = x - mean;
  if (Math.abs(gap) >= 0.1 * (x + mean)) return x * Math.log(x / mean) - gap;
  const ratio = gap / (x + mean);
  let sum = gap * ratio;
  let term = 2 * x * ratio;
  for (let j = 3; j < 1000; j += 2) {
    term *= ratio * ratio;
    const next = sum + term / j;
    if (next === sum) break;
    sum = next;
  }
  return sum;
}

/** ln of mean^x exp(-mean) / Γ(x + 1): the Poisson probability of x, for any real x >= 0 (Loader, 2000). */
export function logPoissonTerm(x: number, mean: number): number {
  if (x === 0) return -mean;
  if (x < 1e-3) return x * Math.log(mean) - mean - logGamma(x + 1);
  return -stirlingError(x) - deviance(x, mean) - 0.5 * Math.log(x) - LOG_SQRT_2_PI;
}

/**
 * ln of n! / (k! (n - k)!) p^k q^(n - k) with q = 1 - p, for any real 0 < k < n (Loader, 2000).
 * Both p and q are given, so that neither loses digits near 1.
 */
export function logBinomialTerm(k: number, n: number, p: number, q: number): number {
  const rest = n - k;
  const smallest = Math.min(k, rest);
  if (smallest < 1e-3) {
    return k * Math.log(p) + rest * Math.log(q) + logGamma(n + 1) - logGamma(k + 1) - logGamma(rest + 1);
  }
  const errors = stirlingError(n) - stirlingError(k) - stirlingError(rest);
  return errors - deviance(k, n * p) - deviance(rest, n * q) + 0.5 * Math.log(n / k / rest) - LOG_SQRT_2_PI;
}

/**
 * Digamma function, the derivative of ln Γ.
 *
 * Upward recurrence to x >= 12, then the asymptotic series (DLMF 5.11.2).
 *
 * @param x > 0
 * @throws {RangeError} if `x` is not > 0 or not finite
 */
export function digamma(x: number): number {
  if (!(x > 0) || x === Infinity) throw new RangeError(`digamma requires a finite x > 0, got ${x}`);
  let sum = 0;
  let shifted = x;
  while (shifted < 12) {
    sum -= 1 / shifted;
    shifted += 1;
  }
  const r = 1 / (shifted * shifted);
  const series =
    r * (1 / 12 - r * (1 / 120 - r * (1 / 252 - r * (1 / 240 - r * (1 / 132 - (r * 691) / 32760)))));
  return sum + Math.log(shifted) - 0.5 / shifted - series;
}

/**
 * Trigamma function, the second derivative of ln Γ.
 *
 * Upward recurrence to x >= 12, then the asymptotic series (DLMF 5.15.8).
 *
 * @param x > 0
 * @throws {RangeError} if `x` is not > 0 or not finite
 */
export function trigamma(x: number): number {
  if (!(x > 0) || x === Infinity) throw new RangeError(`trigamma requires a finite x > 0, got ${x}`);
  let sum = 0;
  let shifted = x;
  while (shifted < 12) {
    sum += 1 / (shifted * shifted);
    shifted += 1;
  }
  const r = 1 / (shifted * shifted);
  const series = r * (1 / 6 - r * (1 / 30 - r * (1 / 42 - r * (1 / 30 - r * (5 / 66 - (r * 691) / 2730)))));
  return sum + (1 + 0.5 / shifted + series) / shifted;
}

/** ln P(shape, e^logX) by the series DLMF 8.11.4; quick while x is not far above shape. */
function logLowerSeries(shape: number, x: number, logX: number): number {
  let sum = 1;
  let term = 1;
  for (let n = 1; term >= sum * 1e-17; n += 1) {
    if (n > MAX_TERMS) throw new ConvergenceError("the incomplete gamma series did not settle", n);
    term *= x / (shape + n);
    sum += term;
  }
  return logGammaTerm(shape, x, logX) + Math.log(sum / shape);
}

/** ln Q(shape, x) by the continued fraction DLMF 8.9.2, modified Lentz; for x >= shape + 1. */
function logUpperFraction(shape: number, x: number): number {
  let b = x + 1 - shape;
  let c = 1 / TINY;
  let d = 1 / b;
  let fraction = d;
  for (let i = 1, factor = 0; Math.abs(factor - 1) > ONE_ULP; i += 1) {
    if (i > MAX_TERMS) throw new ConvergenceError("the incomplete gamma fraction did not settle", i);
    const a = i * (shape - i);
    b += 2;
    d = 1 / (a * d + b || TINY);
    c = b + a / c || TINY;
    factor = c * d;
    fraction *= factor;
  }
  return logGammaTerm(shape, x, Math.log(x)) + Math.log(fraction);
}

/** ln of the derivative of P by ln x: x^shape exp(-x) / Γ(shape). */
function logGammaTerm(shape: number, x: number, logX: number): number {
  return x < TINY ? shape * logX - logGamma(shape) : logPoissonTerm(shape, x) + Math.log(shape);
}

/**
 * P, or Q, near the mean of a large shape, where series and fraction need thousands of terms: the normal law in
 * the signed root of the deviance, with Temme's first two corrections (DLMF 8.12.3 to 8.12.10). Their error is
 * of order shape^-2.5.
 */
function largeShape(shape: number, x: number, upper: boolean): number {
  const excess = x / shape - 1;
  const half = Math.max(0, deviance(shape, x));
  const eta = Math.sign(excess) * Math.sqrt((2 * half) / shape);
  const near = Math.abs(eta) < 0.02;
  const first = near ? -1 / 3 + eta * (1 / 12 - eta * (2 / 135 - eta / 864)) : 1 / excess - 1 / eta;
  const second = near ? -1 / 540 - eta / 288 : eta ** -3 - excess ** -3 - excess ** -2 - 1 / (12 * excess);
  const correction = Math.exp(-half - LOG_SQRT_2_PI) * Math.sqrt(1 / shape) * (first + second / shape);
  const z = eta * Math.sqrt(shape);
  return upper ? normalCdf(-z) + correction : normalCdf(z) - correction;
}

function isLargeShape(shape: number, x: number): boolean {
  return shape > 1e6 && Math.abs(x - shape) < 0.3 * shape;
}

/** ln P and ln Q, whichever is asked, from ln x: x itself may underflow at small shapes. */
function logTail(shape: number, logX: number, upper: boolean): number {
  const x = Math.exp(logX);
  if (isLargeShape(shape, x)) return Math.log(largeShape(shape, x, upper));
  const fromBelow = x < shape + 1;
  const direct = fromBelow ? logLowerSeries(shape, x, logX) : logUpperFraction(shape, x);
  return fromBelow === upper ? Math.log(-Math.expm1(direct)) : direct;
}

/** P or Q, without a detour over the logarithm of the complement. */
function tail(shape: number, x: number, upper: boolean): number {
  if (isLargeShape(shape, x)) return largeShape(shape, x, upper);
  const fromBelow = x < shape + 1;
  const direct = fromBelow ? logLowerSeries(shape, x, Math.log(x)) : logUpperFraction(shape, x);
  return fromBelow === upper ? -Math.expm1(direct) : Math.exp(direct);
}

function requireGammaArguments(name: string, shape: number, x: number): void {
  if (!(shape > 0) || shape === Infinity)
    throw new RangeError(`${name} requires a finite shape > 0, got ${shape}`);
  if (!(x >= 0)) throw new RangeError(`${name} requires x >= 0, got ${x}`);
}

/**
 * Regularised lower incomplete gamma function P(shape, x): the probability that a gamma variable of this
 * shape and scale 1 is at most x.
 *
 * @param shape > 0
 * @param x >= 0, may be infinite
 * @throws {RangeError} if `shape` or `x` is outside its range
 */
export function gammaP(shape: number, x: number): number {
  requireGammaArguments("gammaP", shape, x);
  if (x === 0) return 0;
  if (x === Infinity) return 1;
  return tail(shape, x, false);
}

/**
 * Regularised upper incomplete gamma function Q(shape, x) = 1 - P(shape, x), accurate in the upper tail.
 *
 * @param shape > 0
 * @param x >= 0, may be infinite
 * @throws {RangeError} if `shape` or `x` is outside its range
 */
export function gammaQ(shape: number, x: number): number {
  requireGammaArguments("gammaQ", shape, x);
  if (x === 0) return 1;
  if (x === Infinity) return 0;
  return tail(shape, x, true);
}

/**
 * Quantile of the gamma distribution: the x with P(shape, x / scale) = p.
 *
 * Newton's method on ln P (on ln Q above the median) as a function of ln x. Both are concave there, because
 * the density of ln x is log-concave, so the steps approach from one side and need no bracket.
 *
 * @param p probability, in [0, 1]
 * @returns the quantile in the unit of `scale`; 0 where it lies below the smallest number, Infinity at p = 1
 * @throws {RangeError} if `p`, `shape` or `scale` is outside its range
 */
export function gammaQuantile(p: number, { shape, scale }: GammaParameters): number {
  if (!(p >= 0 && p <= 1)) throw new RangeError(`gammaQuantile requires p in [0, 1], got ${p}`);
  if (!(scale > 0)) throw new RangeError(`gammaQuantile requires scale > 0, got ${scale}`);
  requireGammaArguments("gammaQuantile", shape, 0);
  if (p === 0) return 0;
  if (p === 1) return Infinity;
  const lower = p <= 0.5;
  const target = lower ? Math.log(p) : Math.log1p(-p);
  let u = lower ? (target + logGamma(shape + 1)) / shape : Math.log(shape + 1);
  for (let step = 0; step < NEWTON_STEPS; step += 1) {
    const value = logTail(shape, u, !lower);
    const move = (target - value) / Math.exp(logGammaTerm(shape, Math.exp(u), u) - value);
    u += lower ? move : -move;
    if (Math.abs(move) <= 2e-16 * Math.max(1, Math.abs(u))) break;
  }
  return scale * Math.exp(u);
}

/**
 * Quantile of the chi-square distribution: twice the gamma quantile of shape degrees / 2.
 *
 * @param p probability, in [0, 1]
 * @param degrees degrees of freedom, > 0
 * @throws {RangeError} if `p` or `degrees` is outside its range
 */
export function chiSquareQuantile(p: number, degrees: number): number {
  return gammaQuantile(p, { shape: degrees / 2, scale: 2 });
}
