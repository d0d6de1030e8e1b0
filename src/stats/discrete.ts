/**
 * Tools for probability laws on 0, 1, 2, …, held as a list: element k is the chance of exactly k.
 *
 * Every list given to a function here has to be a law: no element below 0, sum 1 (to 1e-9).
 */

/**
 * A cumulative chance may fall short of a level by this much and still count as reaching it. Sums of
 * chances carry rounding of the order of 1e-16 per term; without the guard 0.1 + 0.2 + … misses 0.9.
 */
export const LEVEL_GUARD = 1e-12;

const SUM_TOLERANCE = 1e-9;

/** @throws {RangeError} if `probabilities` is not a law; `caller` opens the message */
export function requireLaw(caller: string, probabilities: readonly number[]): void {
  let sum = 0;
  for (const probability of probabilities) {
    if (!(probability >= 0)) throw new RangeError(`${caller} requires probabilities that are not below 0`);
    sum += probability;
  }
  if (!(Math.abs(sum - 1) <= SUM_TOLERANCE)) {
    throw new RangeError(`${caller} requires probabilities that sum to 1, got ${sum}`);
  }
}

/** @throws {RangeError} if `value` is not a whole number of at least `least`; `caller` opens the message */
export function requireWhole(caller: string, name: string, value: number, least: number): void {
  if (!Number.isSafeInteger(value) || value < least) {
    throw new RangeError(
      `${caller} requires ${name} to be a whole number of at least ${least}, got ${value}`,
    );
  }
}

/**
 * Law of the sum of two independent counts.
 *
 * @returns list of length a.length + b.length - 1
 * @throws {RangeError} if an argument is not a law
 * @example
 * ```ts
 * convolve([0.5, 0.5], [0.5, 0.5]); // => [0.25, 0.5, 0.25]
 * ```
 */
export function convolve(a: readonly number[], b: readonly number[]): number[] {
  requireLaw("convolve", a);
  requireLaw("convolve", b);
  const sum = new Array<number>(a.length + b.length - 1).fill(0);
  for (let i = 0; i < a.length; i++) {
    const weight = a[i]!;
    if (weight === 0) continue;
    for (let j = 0; j < b.length; j++) sum[i + j]! += weight * b[j]!;
  }
  return sum;
}

/**
 * Law of the sum of independent counts; no parts give the law of a sure 0.
 *
 * @throws {RangeError} if a part is not a law
 */
export function convolveAll(parts: readonly (readonly number[])[]): number[] {
  return parts.reduce<number[]>((sum, part) => trimTail(convolve(sum, part)), [1]);
}

/**
 * Law of a count whose own law is first drawn among the parts.
 *
 * Weights need not sum to 1; they are divided by their sum.
 *
 * @throws {RangeError} if there is no part, a weight is below 0, no weight is above 0, or a part is not a law
 */
export function mixture(parts: readonly { weight: number; probabilities: readonly number[] }[]): number[] {
  let total = 0;
  let length = 0;
  for (const part of parts) {
    if (!(part.weight >= 0 && part.weight < Infinity)) {
      throw new RangeError("mixture requires weights that are finite and not below 0");
    }
    requireLaw("mixture", part.probabilities);
    total += part.weight;
    length = Math.max(length, part.probabilities.length);
  }
  if (!(total > 0)) throw new RangeError("mixture requires at least one part of weight above 0");
  const mixed = new Array<number>(length).fill(0);
  for (const part of parts) {
    const weight = part.weight / total;
    for (let k = 0; k < part.probabilities.length; k++) mixed[k]! += weight * part.probabilities[k]!;
  }
  return mixed;
}

/**
 * Law of `batch` times a count: one event takes `batch` units at once.
 *
 * @throws {RangeError} if `probabilities` is not a law or batch is not a whole number of at least 1
 */
export function scaleToBatches(probabilities: readonly number[], batch: number): number[] {
  requireLaw("scaleToBatches", probabilities);
  requireWhole("scaleToBatches", "batch", batch, 1);
  const scaled = new Array<number>((probabilities.length - 1) * batch + 1).fill(0);
  for (let k = 0; k < probabilities.length; k++) scaled[k * batch] = probabilities[k]!;
  return scaled;
}

/** Expected count. @throws {RangeError} if `probabilities` is not a law */
export function pmfMean(probabilities: readonly number[]): number {
  requireLaw("pmfMean", probabilities);
  return probabilities.reduce((sum, probability, k) => sum + k * probability, 0);
}

/** Variance of the count, about its mean. @throws {RangeError} if `probabilities` is not a law */
export function pmfVariance(probabilities: readonly number[]): number {
  const mean = pmfMean(probabilities);
  return probabilities.reduce((sum, probability, k) => sum + (k - mean) ** 2 * probability, 0);
}

/**
 * Chance that the count is at most `k`, in [0, 1]; `k` may be any number that is not NaN.
 *
 * @throws {RangeError} if `probabilities` is not a law or k is NaN
 */
export function pmfCdf(probabilities: readonly number[], k: number): number {
  requireLaw("pmfCdf", probabilities);
  if (Number.isNaN(k)) throw new RangeError("pmfCdf requires k to be a number");
  let sum = 0;
  for (let i = 0; i < probabilities.length && i <= k; i++) sum += probabilities[i]!;
  return Math.min(1, sum);
}

/**
 * Smallest k whose cumulative chance reaches `level`, with a guard of 1e-12 for rounding.
 *
 * @param level in [0, 1]
 * @throws {RangeError} if `probabilities` is not a law or level is outside [0, 1]
 * @example
 * ```ts
 * pmfQuantile([0.1, 0.2, 0.7], 0.3); // => 1
 * ```
 */
export function pmfQuantile(probabilities: readonly number[], level: number): number {
  requireLaw("pmfQuantile", probabilities);
  if (!(level >= 0 && level <= 1))
    throw new RangeError(`pmfQuantile requires a level in [0, 1], got ${level}`);
  let sum = 0;
  for (let k = 0; k < probabilities.length; k++) {
    sum += probabilities[k]!;
    if (sum >= level - LEVEL_GUARD) return k;
  }
  return probabilities.length - 1;
}

/**
 * Expected number short: E[(D - stock)+] for a demand D. Also called expected backorders, or the loss.
 *
 * @param stock whole number; below 0 it counts demand already waiting
 * @returns units, never below 0
 * @throws {RangeError} if `demand` is not a law or stock is not a whole number
 */
export function expectedShort(demand: readonly number[], stock: number): number {
  requireLaw("expectedShort", demand);
  requireWhole("expectedShort", "stock", stock, -Number.MAX_SAFE_INTEGER);
  let short = 0;
  for (let k = Math.max(0, stock + 1); k < demand.length; k++) short += (k - stock) * demand[k]!;
  return short;
}

/**
 * Expected number left over: E[(stock - D)+].
 *
 * @throws {RangeError} if `demand` is not a law or stock is not a whole number
 */
export function expectedLeft(demand: readonly number[], stock: number): number {
  requireLaw("expectedLeft", demand);
  requireWhole("expectedLeft", "stock", stock, -Number.MAX_SAFE_INTEGER);
  let left = 0;
  for (let k = 0; k < demand.length && k < stock; k++) left += (stock - k) * demand[k]!;
  return left;
}

/**
 * Expected number short for every stock from 0 to the largest demand, in one backward pass:
 * E[(D - s)+] is the sum over k >= s of P(D > k), so that no difference of near-equal numbers is taken.
 *
 * @returns element s is the expected number short with stock s; the last element is 0
 * @throws {RangeError} if `demand` is not a law
 */
export function expectedShortByStock(demand: readonly number[]): number[] {
  requireLaw("expectedShortByStock", demand);
  const short = new Array<number>(demand.length).fill(0);
  let above = 0;
  for (let s = demand.length - 2; s >= 0; s--) {
    above += demand[s + 1]!;
    short[s] = short[s + 1]! + above;
  }
  return short;
}

/**
 * The same law without its far tail, as long as what is cut stays below `tail` in all; the cut chance goes
 * to the last element kept, so that the sum is unchanged.
 *
 * @param tail largest chance that may be cut, default 1e-15
 */
export function trimTail(probabilities: readonly number[], tail = 1e-15): number[] {
  let cut = 0;
  let last = probabilities.length - 1;
  while (last > 0 && cut + probabilities[last]! < tail) {
    cut += probabilities[last]!;
    last--;
  }
  const kept = probabilities.slice(0, last + 1);
  kept[last]! += cut;
  return kept;
}
