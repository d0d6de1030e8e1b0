/** Whole laws of demand as lists: Poisson, negative binomial, batches at Poisson moments. */
import { convolve, requireLaw, trimTail } from "./discrete.ts";

/** Terms smaller than this, relative to the largest, are left out on both sides. */
const SMALLEST_TERM = 1e-20;
const MOST_TERMS = 2_000_000;

/** Panjer's recursion starts from exp(-rate), which leaves the range of a double near 745; rates are split below. */
const LARGEST_RATE = 500;

/**
 * Law with given ratios p(k + 1) / p(k) that fall through 1 near `mode`: terms are found from the mode outwards,
 * so that nothing underflows, and divided by their sum.
 */
function lawFromRatios(caller: string, mode: number, ratio: (k: number) => number): number[] {
  const down: number[] = [];
  for (let k = mode - 1, term = 1; k >= 0 && term > SMALLEST_TERM; k--) {
    term /= ratio(k);
    down.push(term);
  }
  const terms = new Array<number>(mode - down.length).fill(0).concat(down.reverse(), 1);
  for (let k = mode, term = 1; term > SMALLEST_TERM; k++) {
    if (terms.length > MOST_TERMS)
      throw new RangeError(`${caller} requires a demand below ${MOST_TERMS} units`);
    term *= ratio(k);
    terms.push(term);
  }
  const sum = terms.reduce((total, term) => total + term, 0);
  return trimTail(terms.map((term) => term / sum));
}

/**
 * Poisson law with the given mean.
 *
 * @param mean of at least 0 and at most 1e6
 * @returns element k is the chance of exactly k; what is left out at the far end is below 1e-15
 * @throws {RangeError} if the mean is out of range
 */
export function poissonLaw(mean: number): number[] {
  if (!(mean >= 0 && mean <= 1e6))
    throw new RangeError(`poissonLaw requires a mean in [0, 1e6], got ${mean}`);
  if (mean === 0) return [1];
  return lawFromRatios("poissonLaw", Math.floor(mean), (k) => mean / (k + 1));
}

/**
 * Negative binomial law of the failures before success number `size`:
 * p(k) = Γ(k + size) / (Γ(size) k!) probability^size (1 - probability)^k; mean size (1 - probability) / probability.
 *
 * @param input.size above 0, need not be whole
 * @param input.probability in (0, 1]
 * @throws {RangeError} if a parameter is out of range, or demand would exceed two million units
 */
export function negativeBinomialLaw(input: { size: number; probability: number }): number[] {
  const { size, probability } = input;
  if (!(size > 0 && size < Infinity))
    throw new RangeError("negativeBinomialLaw requires a finite size above 0");
  if (!(probability > 0 && probability <= 1)) {
    throw new RangeError(`negativeBinomialLaw requires a probability in (0, 1], got ${probability}`);
  }
  if (probability === 1) return [1];
  const mode = Math.max(0, Math.floor(((size - 1) * (1 - probability)) / probability));
  if (!(mode <= MOST_TERMS)) {
    throw new RangeError(`negativeBinomialLaw requires a demand below ${MOST_TERMS} units`);
  }
  return lawFromRatios("negativeBinomialLaw", mode, (k) => ((k + size) / (k + 1)) * (1 - probability));
}

/**
 * Size and probability of the negative binomial law with given mean and variance.
 *
 * @param input.variance above the mean
 * @throws {RangeError} if the mean is not above 0 or the variance not above the mean
 * @example
 * ```ts
 * negativeBinomialFromMoments({ mean: 12, variance: 48 }); // => { size: 4, probability: 0.25 }
 * ```
 */
export function negativeBinomialFromMoments(input: { mean: number; variance: number }) {
  const { mean, variance } = input;
  if (!(mean > 0 && mean < Infinity)) {
    throw new RangeError("negativeBinomialFromMoments requires a finite mean above 0");
  }
  if (!(variance > mean && variance < Infinity)) {
    throw new RangeError("negativeBinomialFromMoments requires a finite variance above the mean");
  }
  return { size: mean ** 2 / (variance - mean), probability: mean / variance };
}

/**
 * Law of the units demanded when customers come as a Poisson process and each takes a batch
 * (Panjer 1981: g_k = rate / k Σ j batch_j g_(k-j)).
 *
 * @param input.rate expected number of customers in the horizon, of at least 0
 * @param input.batch element j is the chance that a customer takes j units
 * @param input.tail far end that may be left out, default 1e-15; its chance goes to the last element
 * @throws {RangeError} if the rate is negative or above 1e5, or `batch` is not a law
 */
export function compoundPoissonLaw(input: {
  rate: number;
  batch: readonly number[];
  tail?: number;
}): number[] {
  const { rate, batch, tail = 1e-15 } = input;
  if (!(rate >= 0 && rate <= 1e5)) {
    throw new RangeError(`compoundPoissonLaw requires a rate in [0, 1e5], got ${rate}`);
  }
  requireLaw("compoundPoissonLaw", batch);
  if (rate > LARGEST_RATE) {
    const half = compoundPoissonLaw({ rate: rate / 2, batch, tail: tail / 4 });
    return trimTail(convolve(half, half), tail);
  }
  const law = [Math.exp(-rate * (1 - batch[0]!))];
  const sizes = batch.flatMap((chance, size) =>
    size > 0 && chance > 0 ? [{ size, weight: size * chance }] : [],
  );
  if (sizes.length === 0) return [1];
  const mean = rate * sizes.reduce((sum, { weight }) => sum + weight, 0);
  const largest = sizes[sizes.length - 1]!.size;
  let sum = law[0]!;
  // Past the mean, the law is given up when a stretch as long as the largest batch adds less than the tail.
  for (let k = 1, quiet = 0; quiet < largest && k < MOST_TERMS; k++) {
    let term = 0;
    for (const { size, weight } of sizes) {
      if (size > k) break;
      term += weight * law[k - size]!;
    }
    term *= rate / k;
    law.push(term);
    sum += term;
    quiet = k > mean && term * largest < tail ? quiet + 1 : 0;
  }
  return trimTail(
    law.map((term) => term / sum),
    tail,
  );
}

/**
 * Logarithmic law of batch sizes 1, 2, …: p(j) = -p^j / (j ln(1 - p)). Batches of this law at Poisson moments give
 * a negative binomial demand of size -rate / ln(1 - p) and probability 1 - p.
 *
 * @param p in (0, 1)
 * @throws {RangeError} if p is outside (0, 1)
 */
export function logarithmicLaw(p: number): number[] {
  if (!(p > 0 && p < 1)) throw new RangeError(`logarithmicLaw requires p in (0, 1), got ${p}`);
  const law = [0];
  const scale = -1 / Math.log1p(-p);
  for (let j = 1, power = p; power > 1e-18 * (1 - p) && j < MOST_TERMS; j++, power *= p) {
    law.push((scale * power) / j);
  }
  const sum = law.reduce((total, term) => total + term, 0);
  return trimTail(law.map((term) => term / sum));
}
