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

/** Up to this in size, five terms of the exponential series are exact to 4e-10. */
const SMALL_TURN = 0.08;

/** `speed` times exp(turned). */
function turnedBy(speed: number, turned: number): number {
  if (Math.abs(turned) > SMALL_TURN) return speed * Math.exp(turned);
  return speed * (1 + turned * (1 + turned * (0.5 + turned * (1 / 6 + turned * (1 / 24 + turned / 120)))));
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
  // Readings that say much leave the mode so near B/A that no exponential is needed.
  const pulled = spread * (z - best);
  let speed = Math.abs(pulled) < SMALL_TURN ? turnedBy(b / a, pulled) : rate * Math.exp(spread * z);
  let curvature = 1;
  for (let k = 0; k < 60; k++) {
    const pull = b * speed - a * speed * speed;
    const slope = spread * pull - z;
    curvature = Math.max(0.25, 1 - spread * spread * (b * speed - 2 * a * speed * speed));
    if (slope > 0) low = z;
    else high = z;
    let next = z + slope / curvature;
    if (!(next >= low && next <= high)) next = 0.5 * (low + high);
    const moved = next - z;
    z = next;
    speed = turnedBy(speed, spread * moved);
    if (moved * moved * curvature < 1e-6 || high - low < 1e-12) break;
  }
  mode.z = z;
  mode.sd = 1 / Math.sqrt(curvature);
  return speed;
}

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
    speed = turnedBy(speed, turned);
    if (moved * moved * curvature < 1e-6) {
      mode.z = z;
      mode.sd = 1 / Math.sqrt(curvature);
      return speed;
    }
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
 * Rates known so closely (standard deviation of their logarithm) are integrated over by a series. Measured with modes up to
 * four standard deviations from that of the prior: it is then off by at most 3e-4, and where that is more than 1e-5 it is
 * nearer to the integral than the rule is, by a factor of 2 or more.
 */
const CLOSE_SQUARED = 0.15 ** 2;

/**
 * The integral where the rate is known closely: Laplace's approximation at the mode with the terms of the two orders after it
 * (Shun & McCullagh 1995, Journal of the Royal Statistical Society B 57, 749-760), and its derivatives.
 *
 * With P = B b and Q = A b² at the mode, the k-th derivative of the exponent by z is spread^k u, u = P - 2^(k-1) Q, but for
 * the -1 of the second, and all is a polynomial in w = spread² / curvature.
 */
function integrateClose(
  p: number,
  q: number,
  middle: number,
  z: number,
  spread: number,
  out: RateIntegral,
  means: boolean,
): void {
  const spread2 = spread * spread;
  const curvature = 1 - spread2 * (p - 2 * q);
  const w = spread2 / curvature;
  const w2 = w * w;
  const w3 = w2 * w;
  const u3 = p - 4 * q;
  const u4 = p - 8 * q;
  const u5 = p - 16 * q;
  const u6 = p - 32 * q;
  const squared = u3 * u3 * w3;
  const fourth = u4 * w2;
  const sixth = u6 * w3;
  const odd = u3 * u5 * w2 * w2;
  const first = fourth / 8 + (5 / 24) * squared;
  const second =
    (sixth + 7 * odd) / 48 + (fourth * fourth) / 12 + squared * ((25 / 48) * fourth + (5 / 16) * squared);
  out.log = p - 0.5 * (q + z * z + Math.log(curvature)) + first + second;
  if (!means) return;
  // Derivatives of the two orders by each u, by P and Q through them, and w times that by w.
  const by3 = w3 * ((5 / 12) * u3 + (7 / 48) * u5 * w + u3 * ((25 / 24) * fourth + (5 / 4) * squared));
  const by4 = w2 * (1 / 8 + fourth / 6 + (25 / 48) * squared);
  const by5 = (7 / 48) * u3 * w2 * w2;
  const by6 = w3 / 48;
  const byW =
    fourth / 4 +
    (5 / 8) * squared +
    (3 * sixth + 28 * odd) / 48 +
    (fourth * fourth) / 3 +
    squared * ((125 / 48) * fourth + (15 / 8) * squared);
  // What is not the exponent itself moves with P, Q and the spread, and with the mode.
  const byCurvature = (0.5 + byW) / curvature;
  const byP = by3 + by4 + by5 + by6 + spread2 * byCurvature;
  const byQ = -4 * by3 - 8 * by4 - 16 * by5 - 32 * by6 - 2 * spread2 * byCurvature;
  const pull = w * (p * byP + 2 * q * byQ);
  out.rate = middle * (1 + byP + pull);
  out.square = middle * middle * (1 - 2 * byQ + 2 * pull);
  // At the mode P - Q is z over the spread; as a difference of large numbers it would lose digits.
  out.byRate = z / spread + pull / spread2;
  out.bySpread = z * (z + (2 * pull) / spread) + 2 * (spread2 * byCurvature * (p - 2 * q) + byW);
}

/**
 * Integrates over the rate by the trapezoidal rule in z around its mode, or by a series where the rate is known closely.
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
  const p = b * middle;
  const q = a * middle * middle;
  if (spread * spread < CLOSE_SQUARED * (1 - spread * spread * (p - 2 * q))) {
    integrateClose(p, q, middle, z, spread, out, means);
    return;
  }
  const top = p - 0.5 * (q + z * z);
  const step = NODE_STEP * sd;
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
