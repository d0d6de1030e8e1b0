/**
 * Scores of a probability forecast against what happened; smaller is better. Continuous ranked probability score
 * (CRPS, in the unit of the outcome) in closed form for the usual laws, for samples and for any distribution
 * function; interval, quantile, logarithmic and Brier scores (Gneiting & Raftery, 2007).
 */
import { type GammaParameters, gammaP, logGamma } from "./gamma.ts";
import { integrate } from "./integrate.ts";
import type { LifeDistribution } from "./life-distribution.ts";
import { normalCdf, normalPdf } from "./normal.ts";

const INV_SQRT_PI = 1 / Math.sqrt(Math.PI);

/** @throws {RangeError} if a value is not a finite number > 0 */
function requirePositive(name: string, values: Record<string, number>): void {
  for (const [field, value] of Object.entries(values)) {
    if (!(value > 0 && value < Infinity))
      throw new RangeError(`${name} requires a finite ${field} > 0, got ${value}`);
  }
}

function requireOutcome(name: string, y: number, least = -Infinity): void {
  if (!(Number.isFinite(y) && y >= least)) {
    throw new RangeError(`${name} requires a finite outcome${least === 0 ? " >= 0" : ""}, got ${y}`);
  }
}

/**
 * CRPS of a normal forecast.
 *
 * @throws {RangeError} if sd is not > 0 or an argument is not finite
 */
export function crpsNormal(y: number, { mean, sd }: { mean: number; sd: number }): number {
  requirePositive("crpsNormal", { sd });
  requireOutcome("crpsNormal", y - mean);
  const z = (y - mean) / sd;
  return sd * (z * (2 * normalCdf(z) - 1) + 2 * normalPdf(z) - INV_SQRT_PI);
}

/** Mean absolute value of a normal variable. */
function meanAbsolute(mean: number, sd: number): number {
  return sd === 0 ? Math.abs(mean) : 2 * sd * normalPdf(mean / sd) + mean * (2 * normalCdf(mean / sd) - 1);
}

/**
 * CRPS of a mixture of normal laws, as when a forecast is averaged over parameters (Grimit et al., 2006).
 *
 * @param parts weights >= 0 that sum to 1, means, and standard deviations > 0
 * @throws {RangeError} if a part is outside its range, the weights do not sum to 1 or `y` is not finite
 */
export function crpsNormalMixture(
  y: number,
  parts: readonly { weight: number; mean: number; sd: number }[],
): number {
  requireOutcome("crpsNormalMixture", y);
  for (const { sd } of parts) requirePositive("crpsNormalMixture", { sd });
  const total = parts.reduce((sum, { weight }) => sum + weight, 0);
  if (!(Math.abs(total - 1) < 1e-9 && parts.every(({ weight }) => weight >= 0))) {
    throw new RangeError("crpsNormalMixture requires weights >= 0 that sum to 1");
  }
  let score = 0;
  for (const a of parts) {
    score += a.weight * meanAbsolute(y - a.mean, a.sd);
    for (const b of parts)
      score -= 0.5 * a.weight * b.weight * meanAbsolute(a.mean - b.mean, Math.hypot(a.sd, b.sd));
  }
  return score;
}

/**
 * CRPS of an exponential forecast.
 *
 * @param y outcome, >= 0
 * @throws {RangeError} if `y` or the rate is outside its range
 */
export function crpsExponential(y: number, rate: number): number {
  requirePositive("crpsExponential", { rate });
  requireOutcome("crpsExponential", y, 0);
  return y + (2 * Math.expm1(-rate * y)) / rate + 0.5 / rate;
}

/**
 * CRPS of a gamma forecast.
 *
 * @param y outcome, >= 0
 * @throws {RangeError} if `y` or a parameter is outside its range
 */
export function crpsGamma(y: number, { shape, scale }: GammaParameters): number {
  requirePositive("crpsGamma", { shape, scale });
  requireOutcome("crpsGamma", y, 0);
  const p = gammaP(shape, y / scale);
  const partial = gammaP(shape + 1, y / scale);
  const spread = Math.exp(logGamma(shape + 0.5) - logGamma(shape + 1)) * INV_SQRT_PI;
  return y * (2 * p - 1) - scale * shape * (2 * partial - 1 + spread);
}

/**
 * CRPS of a forecast of a life by a Weibull or log-normal law.
 *
 * @param y outcome, >= 0
 * @throws {RangeError} if `y` or a parameter is outside its range
 */
export function crpsLife(y: number, life: LifeDistribution): number {
  requireOutcome("crpsLife", y, 0);
  if (life.distribution === "weibull") {
    const { shape, scale } = life;
    requirePositive("crpsLife", { shape, scale });
    const hazard = (y / scale) ** shape;
    const mean = scale * Math.exp(logGamma(1 + 1 / shape));
    const certain = -2 * Math.expm1(-hazard) - 1;
    return y * certain - mean * (2 * gammaP(1 + 1 / shape, hazard) - 1 + 1 - 2 ** (-1 / shape));
  }
  const { meanLog, sdLog } = life;
  requirePositive("crpsLife", { sdLog });
  requireOutcome("crpsLife", meanLog);
  const mean = Math.exp(meanLog + (sdLog * sdLog) / 2);
  const spread = normalCdf(sdLog * Math.SQRT1_2) - 1;
  if (y === 0) return -2 * mean * spread;
  const z = (Math.log(y) - meanLog) / sdLog;
  return y * (2 * normalCdf(z) - 1) - 2 * mean * (normalCdf(z - sdLog) + spread);
}

/**
 * CRPS of a sample of equally likely outcomes: mean |x - y| less half the mean distance of two members.
 *
 * `fair` divides the distances by n (n - 1), so that the score of a small sample estimates that of the law it
 * was drawn from.
 *
 * @throws {RangeError} if there are too few members or anything is not finite
 */
export function crpsSample(y: number, members: readonly number[], { fair = false } = {}): number {
  const n = members.length;
  if (n < (fair ? 2 : 1) || !members.every(Number.isFinite)) {
    throw new RangeError(`crpsSample requires at least ${fair ? 2 : 1} finite members`);
  }
  requireOutcome("crpsSample", y);
  const sorted = [...members].sort((a, b) => a - b);
  // Σ_ij |x_i - x_j| = 2 Σ_i (2 i - n + 1) x_(i), members in order, i from 0.
  let distances = 0;
  let errors = 0;
  sorted.forEach((x, i) => {
    distances += 2 * (2 * i - n + 1) * x;
    errors += Math.abs(x - y);
  });
  return errors / n - distances / (2 * n * (fair ? n - 1 : n));
}

/**
 * CRPS of any forecast of an age, cut at a horizon: ∫ (F(x) - 1{x >= y})² dx from 0 to `horizon`, the outcome
 * cut there too. For laws that may never end, whose uncut score is infinite; keep the horizon the same when
 * comparing.
 *
 * @param y outcome, >= 0, may be Infinity (not ended)
 * @param cdf distribution function, between 0 and 1, never falling
 * @param horizon > 0
 * @throws {RangeError} if `y` or `horizon` is outside its range
 */
export function crpsToHorizon(y: number, cdf: (x: number) => number, horizon: number): number {
  requirePositive("crpsToHorizon", { horizon });
  if (!(y >= 0)) throw new RangeError(`crpsToHorizon requires an outcome >= 0, got ${y}`);
  const cut = Math.min(y, horizon);
  // In units of the horizon, so that the tolerance is a share of it.
  const before = integrate((u) => cdf(u * horizon) ** 2, 0, cut / horizon, 1e-9);
  const after = integrate((u) => (1 - cdf(u * horizon)) ** 2, cut / horizon, 1, 1e-9);
  return horizon * (before + after);
}

/**
 * CRPS of a forecast of a count, from the probabilities of 0, 1, 2, ...
 *
 * @param y outcome, a whole number >= 0
 * @param probabilities sum to 1
 * @throws {RangeError} if `y` or the probabilities are outside their range
 */
export function crpsCount(y: number, probabilities: readonly number[]): number {
  if (!(Number.isInteger(y) && y >= 0))
    throw new RangeError(`crpsCount requires a whole outcome >= 0, got ${y}`);
  const total = probabilities.reduce((sum, p) => sum + p, 0);
  if (!(Math.abs(total - 1) < 1e-6 && probabilities.every((p) => p >= 0))) {
    throw new RangeError("crpsCount requires probabilities >= 0 that sum to 1");
  }
  let cumulative = 0;
  let score = 0;
  for (let k = 0; k < Math.max(probabilities.length, y); k += 1) {
    cumulative = Math.min(1, cumulative + (probabilities[k] ?? 0));
    score += (cumulative - (k >= y ? 1 : 0)) ** 2;
  }
  return score;
}

/**
 * Interval score of a central interval: its width, plus 2 / (1 - level) times the distance by which it was missed.
 *
 * @param level in (0, 1)
 * @throws {RangeError} if `level` is outside its range, low > high, or anything is not finite
 */
export function intervalScore(
  y: number,
  { low, high }: { low: number; high: number },
  level: number,
): number {
  requireOutcome("intervalScore", y);
  if (!(level > 0 && level < 1)) throw new RangeError(`intervalScore requires level in (0, 1), got ${level}`);
  if (!(Number.isFinite(low) && Number.isFinite(high) && low <= high)) {
    throw new RangeError(`intervalScore requires finite low <= high, got ${low} and ${high}`);
  }
  return high - low + (2 / (1 - level)) * (Math.max(0, low - y) + Math.max(0, y - high));
}

/**
 * Quantile (pinball) score: p times the shortfall of the quantile, or 1 - p times its excess.
 *
 * @param p level of the quantile, in (0, 1)
 * @throws {RangeError} if `p` is outside its range or anything is not finite
 */
export function quantileScore(y: number, quantile: number, p: number): number {
  requireOutcome("quantileScore", y - quantile);
  if (!(p > 0 && p < 1)) throw new RangeError(`quantileScore requires p in (0, 1), got ${p}`);
  return y >= quantile ? p * (y - quantile) : (1 - p) * (quantile - y);
}

/**
 * Brier score of the probability of an event: (p - 1)² if it happened, p² if not.
 *
 * @param p in [0, 1]
 * @throws {RangeError} if `p` is outside its range
 */
export function brierScore(p: number, happened: boolean): number {
  if (!(p >= 0 && p <= 1)) throw new RangeError(`brierScore requires p in [0, 1], got ${p}`);
  return (p - (happened ? 1 : 0)) ** 2;
}
