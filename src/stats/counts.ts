/** Laws of counts: Poisson, and negative binomial (a Poisson count whose mean has a gamma distribution). */
import { betaCdf } from "./beta.ts";
import { gammaQ, logBinomialTerm, logPoissonTerm } from "./gamma.ts";

/**
 * Negative binomial: failures before the `size`-th success, each trial a success with `probability`.
 * The mean is size * (1 - probability) / probability. A Poisson count over exposure e, whose rate is
 * Gamma(shape a, rate c), has size a and probability c / (c + e).
 */
export type NegativeBinomialParameters = { size: number; probability: number };

function requireMean(name: string, mean: number): void {
  if (!(mean >= 0 && mean < Infinity))
    throw new RangeError(`${name} requires a finite mean >= 0, got ${mean}`);
}

function requireNegativeBinomial(name: string, { size, probability }: NegativeBinomialParameters): void {
  if (!(size > 0 && size < Infinity)) throw new RangeError(`${name} requires a finite size > 0, got ${size}`);
  if (!(probability > 0 && probability <= 1)) {
    throw new RangeError(`${name} requires probability in (0, 1], got ${probability}`);
  }
}

/** Smallest count whose distribution function reaches p: doubling, then bisection. */
function countQuantile(name: string, p: number, cdf: (count: number) => number): number {
  if (!(p >= 0 && p <= 1)) throw new RangeError(`${name} requires p in [0, 1], got ${p}`);
  if (p === 0 || cdf(0) >= p) return 0;
  if (p === 1) return Infinity;
  let below = 0;
  let reached = 1;
  while (cdf(reached) < p) {
    below = reached;
    reached *= 2;
  }
  while (reached - below > 1) {
    const middle = Math.floor((below + reached) / 2);
    if (cdf(middle) < p) below = middle;
    else reached = middle;
  }
  return reached;
}

/**
 * Poisson probability of exactly `count`.
 *
 * @param count any number; the probability is 0 unless it is a whole number >= 0
 * @param mean >= 0
 * @throws {RangeError} if `mean` is outside its range
 */
export function poissonPmf(count: number, mean: number): number {
  requireMean("poissonPmf", mean);
  if (!(Number.isInteger(count) && count >= 0)) return 0;
  if (mean === 0) return count === 0 ? 1 : 0;
  return Math.exp(logPoissonTerm(count, mean));
}

/**
 * Poisson probability of at most `count`.
 *
 * @param count any number
 * @param mean >= 0
 * @throws {RangeError} if `count` is not a number or `mean` is outside its range
 */
export function poissonCdf(count: number, mean: number): number {
  requireMean("poissonCdf", mean);
  if (Number.isNaN(count)) throw new RangeError("poissonCdf requires a number count");
  if (count < 0) return 0;
  return count === Infinity ? 1 : gammaQ(Math.floor(count) + 1, mean);
}

/**
 * Poisson quantile: the smallest count whose probability of not being exceeded is at least `p`.
 *
 * @param p probability, in [0, 1]
 * @param mean >= 0
 * @throws {RangeError} if `p` or `mean` is outside its range
 */
export function poissonQuantile(p: number, mean: number): number {
  requireMean("poissonQuantile", mean);
  return countQuantile("poissonQuantile", p, (count) => poissonCdf(count, mean));
}

/**
 * Negative binomial probability of exactly `count`.
 *
 * @param count any number; the probability is 0 unless it is a whole number >= 0
 * @throws {RangeError} if `size` or `probability` is outside its range
 */
export function negativeBinomialPmf(count: number, parameters: NegativeBinomialParameters): number {
  requireNegativeBinomial("negativeBinomialPmf", parameters);
  const { size, probability } = parameters;
  if (!(Number.isInteger(count) && count >= 0)) return 0;
  if (count === 0) return probability ** size;
  if (probability === 1) return 0;
  const share = size / (size + count);
  return share * Math.exp(logBinomialTerm(size, size + count, probability, 1 - probability));
}

/**
 * Negative binomial probability of at most `count`.
 *
 * @param count any number
 * @throws {RangeError} if `count` is not a number, or `size` or `probability` is outside its range
 */
export function negativeBinomialCdf(count: number, parameters: NegativeBinomialParameters): number {
  requireNegativeBinomial("negativeBinomialCdf", parameters);
  if (Number.isNaN(count)) throw new RangeError("negativeBinomialCdf requires a number count");
  if (count < 0) return 0;
  if (count === Infinity) return 1;
  return betaCdf(parameters.probability, { alpha: parameters.size, beta: Math.floor(count) + 1 });
}

/**
 * Negative binomial quantile: the smallest count whose probability of not being exceeded is at least `p`.
 *
 * @param p probability, in [0, 1]
 * @throws {RangeError} if `p`, `size` or `probability` is outside its range
 */
export function negativeBinomialQuantile(p: number, parameters: NegativeBinomialParameters): number {
  requireNegativeBinomial("negativeBinomialQuantile", parameters);
  return countQuantile("negativeBinomialQuantile", p, (count) => negativeBinomialCdf(count, parameters));
}
