/** Seeded streams of random numbers: the same seed gives the same numbers on every machine. */
import { uniformFloat64 } from "pure-rand/distribution/uniformFloat64";
import { xoroshiro128plus } from "pure-rand/generator/xoroshiro128plus";
import { logGamma } from "./gamma.ts";

/** A stream of random numbers. Each call takes the next ones. */
export type Random = {
  /** uniform on [0, 1), 53 bits */
  uniform(): number;
  /** fills the first `count` elements with uniform numbers on (0, 1), 32 bits: half the cost, logarithms are finite */
  fill(target: Float64Array, count: number): void;
  /** exponential with mean 1 */
  exponential(): number;
  /** normal with mean 0 and variance 1 */
  normal(): number;
  /** gamma with the given shape above 0 and scale 1 */
  gamma(shape: number): number;
  /** Poisson with the given mean of at least 0 */
  poisson(mean: number): number;
};

/** The generator starts from a state with few bits set; so many numbers are passed over. */
const PASSED_OVER = 32;
const MOST_REJECTIONS = 10_000;

/**
 * A stream for a seed. Streams of one seed with different numbers never overlap (2^64 numbers apart).
 *
 * @param seed whole number, -2^31 to 2^32 - 1
 * @param stream whole number of at least 0, at most 10,000, default 0
 * @throws {RangeError} if seed or stream is out of range; the methods throw it for a parameter out of range
 */
export function createRandom(seed: number, stream = 0): Random {
  if (!Number.isInteger(seed) || seed < -(2 ** 31) || seed >= 2 ** 32) {
    throw new RangeError(`createRandom requires a whole seed of 32 bits, got ${seed}`);
  }
  if (!Number.isInteger(stream) || stream < 0 || stream > 10_000) {
    throw new RangeError(`createRandom requires a stream from 0 to 10000, got ${stream}`);
  }
  const generator = xoroshiro128plus(mixed(seed | 0));
  for (let i = 0; i < PASSED_OVER; i++) generator.next();
  for (let i = 0; i < stream; i++) generator.jump();
  let spare: number | undefined;
  let block: ((target: Float64Array, count: number) => void) | undefined;

  const uniform = () => uniformFloat64(generator);
  const normal = () => {
    if (spare !== undefined) {
      const kept = spare;
      spare = undefined;
      return kept;
    }
    // Marsaglia's polar method (Marsaglia & Bray 1964).
    for (let i = 0; i < MOST_REJECTIONS; i++) {
      const x = 2 * uniform() - 1;
      const y = 2 * uniform() - 1;
      const square = x * x + y * y;
      if (square >= 1 || square === 0) continue;
      const factor = Math.sqrt((-2 * Math.log(square)) / square);
      spare = y * factor;
      return x * factor;
    }
    throw new RangeError("normal requires a working generator");
  };
  const draws = { uniform, normal };
  return {
    uniform,
    fill: (target, count) => {
      block ??= blocks([generator.next(), generator.next(), generator.next(), generator.next()]);
      block(target, count);
    },
    exponential: () => -Math.log1p(-uniform()),
    normal,
    gamma: (shape) => drawGamma(draws, shape),
    poisson: (mean) => drawPoisson(draws, mean),
  };
}

/**
 * Many uniform numbers at a time by xoshiro128+ (Blackman & Vigna 2021), whose state stays in registers meanwhile: 3 ns a
 * number, where a call of the stream's own generator takes 9. Its state is four numbers of the stream; never all 0.
 */
function blocks(state: [number, number, number, number]): (target: Float64Array, count: number) => void {
  let [s0, s1, s2, s3] = state;
  if ((s0 | s1 | s2 | s3) === 0) s0 = 1;
  return (target, count) => {
    let [a, b, c, d] = [s0, s1, s2, s3];
    for (let i = 0; i < count; i++) {
      target[i] = (((a + d) >>> 0) + 0.5) * 2 ** -32;
      const shifted = b << 9;
      c ^= a;
      d ^= b;
      b ^= c;
      a ^= d;
      c ^= shifted;
      d = (d << 11) | (d >>> 21);
    }
    [s0, s1, s2, s3] = [a, b, c, d];
  };
}

/**
 * Spreads a seed over all 32 bits, one to one (finaliser of MurmurHash3, Appleby 2011). The generator is linear: without this,
 * the first numbers of neighbouring seeds correlate by 0.13.
 */
function mixed(seed: number): number {
  let bits = (seed + 0x9e3779b9) | 0;
  bits = Math.imul(bits ^ (bits >>> 16), 0x85ebca6b);
  bits = Math.imul(bits ^ (bits >>> 13), 0xc2b2ae35);
  return bits ^ (bits >>> 16);
}

type Draws = { uniform: () => number; normal: () => number };

/** Marsaglia & Tsang (2000); shapes below 1 by one shape higher and a power of a uniform number. */
function drawGamma(draws: Draws, shape: number): number {
  if (!(shape > 0 && shape < Infinity)) throw new RangeError("gamma requires a finite shape above 0");
  if (shape < 1) return drawGamma(draws, shape + 1) * (1 - draws.uniform()) ** (1 / shape);
  const d = shape - 1 / 3;
  const c = 1 / Math.sqrt(9 * d);
  for (let i = 0; i < MOST_REJECTIONS; i++) {
    const x = draws.normal();
    const v = (1 + c * x) ** 3;
    if (v <= 0) continue;
    const u = 1 - draws.uniform();
    if (Math.log(u) < 0.5 * x * x + d * (1 - v + Math.log(v))) return d * v;
  }
  throw new RangeError("gamma requires a working generator");
}

function drawPoisson(draws: Draws, mean: number): number {
  if (!(mean >= 0 && mean <= 1e9)) throw new RangeError("poisson requires a mean in [0, 1e9]");
  return mean < 12 ? poissonByProduct(draws, mean) : poissonByRejection(draws, mean);
}

function poissonByProduct(draws: Draws, mean: number): number {
  const floor = Math.exp(-mean);
  let count = -1;
  let product = 1;
  do {
    product *= 1 - draws.uniform();
    count++;
  } while (product > floor);
  return count;
}

/** Transformed rejection with squeeze (Hörmann 1993, algorithm PTRS). */
function poissonByRejection(draws: Draws, mean: number): number {
  const b = 0.931 + 2.53 * Math.sqrt(mean);
  const a = -0.059 + 0.02483 * b;
  const inverse = 1.1239 + 1.1328 / (b - 3.4);
  const squeeze = 0.9277 - 3.6224 / (b - 2);
  const logMean = Math.log(mean);
  for (let i = 0; i < MOST_REJECTIONS; i++) {
    const u = draws.uniform() - 0.5;
    const v = 1 - draws.uniform();
    const us = 0.5 - Math.abs(u);
    const count = Math.floor(((2 * a) / us + b) * u + mean + 0.43);
    if (us >= 0.07 && v <= squeeze) return count;
    if (count < 0 || (us < 0.013 && v > us)) continue;
    const accepted = Math.log((v * inverse) / (a / (us * us) + b));
    if (accepted <= count * logMean - mean - logGamma(count + 1)) return count;
  }
  throw new RangeError("poisson requires a working generator");
}
