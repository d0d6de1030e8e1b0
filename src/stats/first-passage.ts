/**
 * First passage of a drifting Brownian motion: when does a wear path with scatter reach its limit?
 *
 * The path starts `distance` below the limit and moves with drift and diffusion variance per unit of usage. The
 * drift may itself be uncertain (normal), and so may the level it starts from.
 */
import { erfcx, normalCdf, normalPdf } from "./normal.ts";

export interface PassagePath {
  /** distance from the present level to the limit, > 0 */
  distance: number;
  /** mean drift per unit of usage */
  drift: number;
  /** variance of the drift, >= 0 */
  driftVariance: number;
  /** variance that the path gains per unit of usage, > 0 */
  diffusionVariance: number;
}

/** Joint normal law of the present level and the drift. */
export interface LevelAndDrift {
  level: number;
  drift: number;
  levelVariance: number;
  covariance: number;
  driftVariance: number;
}

function requirePath(name: string, path: PassagePath, usage: number): void {
  const { distance, drift, driftVariance, diffusionVariance } = path;
  if (!(distance > 0 && distance < Infinity)) throw new RangeError(`${name} requires a distance > 0`);
  if (!Number.isFinite(drift)) throw new RangeError(`${name} requires a finite drift`);
  if (!(driftVariance >= 0 && driftVariance < Infinity))
    throw new RangeError(`${name} requires a drift variance >= 0`);
  if (!(diffusionVariance > 0 && diffusionVariance < Infinity))
    throw new RangeError(`${name} requires a diffusion variance > 0`);
  if (!(usage >= 0)) throw new RangeError(`${name} requires a usage >= 0`);
}

/** a b / c in an order that neither overflows nor underflows when the result does not. */
function ratio(a: number, b: number, c: number): number {
  for (const value of [(a / c) * b, a * (b / c), (a * b) / c])
    if (Math.abs(value) < Infinity && (value !== 0 || a === 0)) return value;
  const value = (a / c) * b;
  return Number.isNaN(value) ? 0 : Math.max(-LARGEST, Math.min(LARGEST, value));
}

const LARGEST = 1e300;

/** The path in units of its distance and of the usage asked for: drift, drift variance, diffusion variance. */
function inUnits(
  distance: number,
  drift: number,
  v: number,
  s2: number,
  usage: number,
): [number, number, number] {
  const root = ratio(Math.sqrt(v), usage, distance);
  return [
    ratio(drift, usage, distance),
    Math.min(LARGEST, root * root),
    Math.min(LARGEST, ratio(s2 / distance, usage, distance)),
  ];
}

/**
 * Φ(z) + exp((w² - z²) / 2) Φ(-w): the exponent 2 m d / s² + 2 v d² / s⁴ of the closed form is (w² - z²) / 2 exactly,
 * so that erfcx takes the place of an exponential that may overflow.
 */
function withReflection(z: number, w: number): number {
  if (Number.isNaN(w) || w === Infinity) return normalCdf(z);
  const reflected =
    w >= 0
      ? 0.5 * Math.exp(-0.5 * z * z) * erfcx(w * Math.SQRT1_2)
      : Math.exp(Math.min(0, 0.5 * (w - z) * (w + z))) * normalCdf(-w);
  return Math.min(1, normalCdf(z) + (Number.isNaN(reflected) ? 0 : reflected));
}

/** The distribution function itself; `usage` > 0 and finite. */
function passageCdf(distance: number, drift: number, v: number, s2: number, usage: number): number {
  const [m, variance, diffusion] = inUnits(distance, drift, v, s2, usage);
  const spread = Math.sqrt(diffusion + variance);
  if (!(spread > 0)) return m >= 1 ? 1 : 0;
  const tilt = variance === 0 ? 0 : (2 * variance) / diffusion;
  return withReflection((m - 1) / spread, (m + 1 + tilt) / spread);
}

/**
 * Probability that the path has reached the limit within `usage`.
 *
 * F(l) = Φ((m l - d) / S) + exp(2 m d / s² + 2 v d² / s⁴) Φ(-(m l + d + 2 v d l / s²) / S), S² = s² l + v l²
 * (Peng & Tseng 2009), the second term formed with erfcx.
 *
 * @param usage further usage, >= 0; Infinity gives the probability of ever reaching the limit
 * @throws {RangeError} if an argument is outside its range
 * @example  firstPassageCdf({ distance: 10, drift: 2, driftVariance: 0, diffusionVariance: 0.5 }, 5); // => 0.5313
 */
export function firstPassageCdf(path: PassagePath, usage: number): number {
  requirePath("firstPassageCdf", path, usage);
  if (usage === 0) return 0;
  const { distance, drift, driftVariance: v, diffusionVariance: s2 } = path;
  if (usage < Infinity) return passageCdf(distance, drift, v, s2, usage);
  if (v === 0) return drift >= 0 ? 1 : Math.exp(2 * ratio(drift, distance, s2));
  const z = drift / Math.sqrt(v);
  return withReflection(z, z + 2 * ratio(Math.sqrt(v), distance, s2));
}

/**
 * Density of the usage at which the limit is reached.
 *
 * f(l) = d / sqrt(2 π l³ (s² + v l)) exp(-(d - m l)² / (2 l (s² + v l)))
 *
 * @param usage further usage, >= 0 and finite
 * @throws {RangeError} if an argument is outside its range
 */
export function firstPassageDensity(path: PassagePath, usage: number): number {
  requirePath("firstPassageDensity", path, usage);
  if (usage === 0 || usage === Infinity) return 0;
  const { distance, drift, driftVariance, diffusionVariance } = path;
  const [m, variance, diffusion] = inUnits(distance, drift, driftVariance, diffusionVariance, usage);
  const spread = Math.sqrt(diffusion + variance);
  return spread > 0 ? Math.min(Number.MAX_VALUE, normalPdf((m - 1) / spread) / spread / usage) : 0;
}

// Gauss-Legendre nodes and weights on (-1, 1), 20 points, found once by Newton's method on the Legendre polynomial.
const LEGENDRE = legendreRule(20);

function legendreRule(n: number): { node: number; weight: number }[] {
  return Array.from({ length: n }, (_, i) => {
    let x = Math.cos((Math.PI * (i + 0.75)) / (n + 0.5));
    let slope = 1;
    for (let k = 0; k < 20; k++) {
      let previous = 1;
      let value = x;
      for (let j = 2; j <= n; j++)
        [previous, value] = [value, ((2 * j - 1) * x * value - (j - 1) * previous) / j];
      slope = (n * (x * value - previous)) / (x * x - 1);
      x -= value / slope;
    }
    return { node: x, weight: 2 / ((1 - x * x) * slope * slope) };
  });
}

function requireState(name: string, state: LevelAndDrift, limit: number, s2: number, usage: number): void {
  if (![state.level, state.drift, state.covariance, limit].every(Number.isFinite))
    throw new RangeError(`${name} requires finite numbers`);
  if (!(state.levelVariance >= 0 && state.driftVariance >= 0))
    throw new RangeError(`${name} requires variances >= 0`);
  if (!(s2 >= 0 && s2 < Infinity)) throw new RangeError(`${name} requires a diffusion variance >= 0`);
  if (!(usage >= 0 && usage < Infinity)) throw new RangeError(`${name} requires a finite usage >= 0`);
}

/**
 * Probability that the limit has been reached within `usage`, when level and drift are known only as a joint
 * normal law (the state of a filter). A level already past the limit counts as reached.
 *
 * The level is integrated with 20-point Gauss-Legendre panels, split where the integrand switches from 0 to 1.
 *
 * @param state joint normal law of present level and drift
 * @param limit level that ends the life
 * @param diffusionVariance variance that the path gains per unit of usage, >= 0
 * @param usage further usage, >= 0
 * @returns `reached`: unconditional; `reachedGivenInUse`: given that the level is below the limit now
 * @throws {RangeError} if an argument is outside its range
 */
export function levelPassageCdf(
  state: LevelAndDrift,
  limit: number,
  diffusionVariance: number,
  usage: number,
): { reached: number; reachedGivenInUse: number } {
  requireState("levelPassageCdf", state, limit, diffusionVariance, usage);
  const sd = Math.sqrt(state.levelVariance);
  const off = limit - state.level;
  const unit = Math.max(Math.abs(off), sd);
  // A level known to the last digit of its distance is taken as known.
  const known = sd <= 1e-14 * Math.abs(off);
  const past = known || unit === 0 ? Number(off <= 0) : normalCdf(-off / sd);
  if (past === 1 || usage === 0) return { reached: past, reachedGivenInUse: past === 1 ? 1 : 0 };
  const driftSd = ratio(Math.sqrt(state.driftVariance), usage, unit);
  const levelSd = known ? 0 : sd / unit;
  const most = levelSd * driftSd;
  const reached = reachedWithin(
    off / unit,
    ratio(state.drift, usage, unit),
    levelSd,
    Math.max(-most, Math.min(most, ratio(state.covariance / unit, usage, unit))),
    Math.min(LARGEST, driftSd * driftSd),
    Math.min(LARGEST, ratio(diffusionVariance / unit, usage, unit)),
    past,
  );
  return {
    reached: Math.min(1, Math.max(past, reached)),
    reachedGivenInUse: Math.min(1, Math.max(0, (reached - past) / (1 - past))),
  };
}

/** The same with the level at 0, usage 1 and lengths in units of distance; `past` is the probability at usage 0. */
function reachedWithin(
  limit: number,
  drift: number,
  sd: number,
  covariance: number,
  driftVariance: number,
  s2: number,
  past: number,
): number {
  // Without diffusion the path is a straight line: it is past the limit exactly when its end is.
  if (s2 <= 1e-14 * Math.abs(drift)) {
    const variance = sd * sd + 2 * covariance + driftVariance;
    return variance > 0 ? normalCdf((drift - limit) / Math.sqrt(variance)) : Number(drift >= limit);
  }
  if (sd === 0) return passageCdf(limit, drift, driftVariance, s2, 1);
  const k = covariance / sd / sd;
  const v = Math.max(0, driftVariance - covariance * k);
  const inside = (x: number): number =>
    x < limit ? (normalPdf(x / sd) / sd) * passageCdf(limit - x, drift + k * x, v, s2, 1) : 0;
  const low = -8 * sd;
  const high = Math.min(limit, 8 * sd);
  if (!(low < high)) return past;
  const cuts = [low, -3 * sd, 0, 3 * sd, high];
  if (1 + k !== 0) {
    const centre = (limit - drift) / (1 + k);
    const width = Math.sqrt(s2 + v) / Math.abs(1 + k);
    cuts.push(centre, centre - 6 * width, centre + 6 * width);
  }
  const ends = cuts.map((x) => Math.min(high, Math.max(low, x))).sort((a, b) => a - b);
  let sum = past;
  for (let i = 1; i < ends.length; i++) {
    const half = (ends[i]! - ends[i - 1]!) / 2;
    const middle = (ends[i]! + ends[i - 1]!) / 2;
    if (half > 0)
      for (const { node, weight } of LEGENDRE) sum += weight * half * inside(middle + half * node);
  }
  return sum;
}

/**
 * Mean and variance of the first passage with a known positive drift (inverse Gaussian law, Chhikara & Folks 1989):
 * mean d / m, variance d s² / m³.
 *
 * @throws {RangeError} if the drift is not > 0 or the drift is uncertain (then no mean exists)
 */
export function firstPassageMoments(path: PassagePath): { mean: number; variance: number } {
  requirePath("firstPassageMoments", path, 0);
  if (!(path.drift > 0)) throw new RangeError("firstPassageMoments requires a drift > 0");
  if (path.driftVariance !== 0) throw new RangeError("firstPassageMoments requires a known drift");
  const mean = path.distance / path.drift;
  return { mean, variance: (mean / path.drift) * (path.diffusionVariance / path.drift) };
}

/**
 * Further usage by which the limit has been reached with probability `p`.
 *
 * @param p probability, in (0, 1)
 * @returns usage, or null when the limit is never reached with probability above 1 - p
 * @throws {RangeError} if an argument is outside its range
 */
export function firstPassageQuantile(p: number, path: PassagePath): number | null {
  if (!(p > 0 && p < 1)) throw new RangeError("firstPassageQuantile requires a probability in (0, 1)");
  if (firstPassageCdf(path, Infinity) <= p) return null;
  let low = path.drift > 0 ? path.distance / path.drift : path.distance ** 2 / path.diffusionVariance;
  if (!(low > 0 && low < Infinity)) low = 1;
  let high = low;
  for (let k = 0; k < 2100 && firstPassageCdf(path, low) > p; k++) low /= 2;
  for (let k = 0; k < 2100 && firstPassageCdf(path, high) < p; k++) high *= 2;
  if (!(high < Infinity)) return null;
  for (let k = 0; k < 200 && high - low > 1e-15 * high; k++) {
    const middle = low + (high - low) / 2;
    if (firstPassageCdf(path, middle) < p) low = middle;
    else high = middle;
  }
  return low + (high - low) / 2;
}
