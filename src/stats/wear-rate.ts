/**
 * The wear rate of one piece, given what its readings say of it: mode, and integral over its law.
 *
 * The log-likelihood of the readings is a parabola in the rate, B b - A b²/2, and the log of the rate is normal over
 * pieces: b = rate exp(spread z), z standard normal.
 */
import type { WearHyper } from "./wear-types.ts";

export const INV_SQRT_2PI = 1 / Math.sqrt(2 * Math.PI);

/**
 * Nodes of the rule over z: four on each side of the mode, in steps of the standard deviation there. Steps of 0.9 cut
 * off more of the tails, steps of 1.2 are too coarse for skewed ones; the mean error of the log is 1.5e-4.
 */
const NODE_STEP = 1.1;
const NODE_REACH = 4;

/** Where the mass of z lies: its mode, and the standard deviation there. */
export interface RateMode {
  z: number;
  sd: number;
}

/**
 * Mode of z in B b - A b²/2 - z²/2, b = rate exp(spread z), and the standard deviation there, written into `mode`.
 * The mode lies between 0 (the prior) and the z of b = B/A, where a bracketed Newton search finds it.
 *
 * @returns the rate at the mode
 */
export function findMode(a: number, b: number, rate: number, spread: number, mode: RateMode): number {
  const best = b > 0 && a > 0 ? Math.log(b / (a * rate)) / spread : -Infinity;
  let low = Math.min(0, Math.max(best, -60 / spread));
  let high = Math.max(0, Math.min(best, 60 / spread));
  // The likelihood alone has its mode at `best` and curvature spread² A rate²; the prior pulls it towards 0.
  const sharp = best === -Infinity ? 0 : (spread * b) ** 2 / a;
  let z = best === -Infinity ? 0 : Math.min(high, Math.max(low, (best * sharp) / (1 + sharp)));
  if (!Number.isFinite(z)) z = 0;
  let curvature = 1;
  let speed = rate;
  let turned = 0;
  for (let k = 0; k < 60; k++) {
    speed = rate * Math.exp(spread * z);
    const pull = b * speed - a * speed * speed;
    const slope = spread * pull - z;
    curvature = Math.max(0.25, 1 - spread * spread * (b * speed - 2 * a * speed * speed));
    if (slope > 0) low = z;
    else high = z;
    let next = z + slope / curvature;
    if (!(next > low && next < high)) next = 0.5 * (low + high);
    const moved = next - z;
    z = next;
    turned = spread * moved;
    if (moved * moved * curvature < 1e-6 || high - low < 1e-12) break;
  }
  mode.z = z;
  mode.sd = 1 / Math.sqrt(curvature);
  return Math.abs(turned) < SMALL_TURN ? turnedBy(speed, turned) : rate * Math.exp(spread * z);
}

/** Below this, four terms of the exponential series are exact to 1e-12. */
const SMALL_TURN = 2e-3;
const turnedBy = (speed: number, turned: number): number =>
  speed * (1 + turned * (1 + turned * (0.5 + turned / 6)));

/** Where a mode is so near another that Newton's method finds it without a bracket: in the log of the rate. */
const NEAR = 0.3;

/**
 * The same from the mode of nearly the same readings, and the rate there.
 *
 * @param z that mode
 * @param speed rate exp(spread z)
 * @returns the rate at the mode
 */
export function findModeNear(
  a: number,
  b: number,
  { rate, spread }: WearHyper,
  z: number,
  speed: number,
  mode: RateMode,
): number {
  for (let k = 0; k < 8; k++) {
    const curvature = 1 - spread * spread * (b * speed - 2 * a * speed * speed);
    const moved = (spread * (b * speed - a * speed * speed) - z) / curvature;
    const turned = spread * moved;
    if (!(curvature > 0.25 && Math.abs(turned) < NEAR)) break;
    z += moved;
    if (moved * moved * curvature < 1e-6) {
      mode.z = z;
      mode.sd = 1 / Math.sqrt(curvature);
      return Math.abs(turned) < SMALL_TURN ? turnedBy(speed, turned) : speed * Math.exp(turned);
    }
    speed *= Math.exp(turned);
  }
  return findMode(a, b, rate, spread, mode);
}

/** Integral over the rate of a piece, with means over the rate given its readings. */
export interface RateIntegral {
  /** log of the integral of exp(B b - A b²/2) over the normal law of z */
  log: number;
  /** means of b and of b² */
  rate: number;
  square: number;
  /** derivatives of `log` by the log of the median rate and by that of the spread */
  byRate: number;
  bySpread: number;
}

const located: RateMode = { z: 0, sd: 1 };

/**
 * Integrates over the rate by the trapezoidal rule in z around its mode.
 *
 * @param means whether the means and derivatives are wanted, too
 */
export function integrateRate(
  a: number,
  b: number,
  hyper: WearHyper,
  out: RateIntegral,
  means: boolean,
): void {
  const { rate, spread } = hyper;
  const middle = findMode(a, b, rate, spread, located);
  const { z, sd } = located;
  const step = NODE_STEP * sd;
  const top = middle * (b - 0.5 * a * middle) - 0.5 * z * z;
  // The rates of the nodes are a geometric series.
  const factor = Math.exp(spread * step);
  const shrink = 1 / factor;
  let sum = 1;
  let first = middle;
  let second = middle * middle;
  let leaning = z * middle * (b - a * middle);
  let up = middle;
  let down = middle;
  for (let k = 1; k <= NODE_REACH; k++) {
    up *= factor;
    down *= shrink;
    const above = z + k * step;
    const below = z - k * step;
    const wUp = Math.exp(up * (b - 0.5 * a * up) - 0.5 * above * above - top);
    const wDown = Math.exp(down * (b - 0.5 * a * down) - 0.5 * below * below - top);
    sum += wUp + wDown;
    if (means) {
      first += wUp * up + wDown * down;
      second += wUp * up * up + wDown * down * down;
      leaning += wUp * above * up * (b - a * up) + wDown * below * down * (b - a * down);
    }
  }
  out.log = top + Math.log(sum * step * INV_SQRT_2PI);
  if (!means) return;
  out.rate = first / sum;
  out.square = second / sum;
  out.byRate = (b * first - a * second) / sum;
  out.bySpread = (spread * leaning) / sum;
}
