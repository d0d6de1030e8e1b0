/**
 * Accidental breakage at a constant but unknown rate: a gamma belief about the rate, updated by counts over
 * exposure (the conjugate gamma-Poisson model). Exposure is in any one unit, such as runs or knocks; the rate
 * is per unit of exposure.
 */
import type { NegativeBinomialParameters } from "./counts.ts";
import { gammaQuantile } from "./gamma.ts";

/** Gamma law of the rate: as if `events` had been seen over `exposure`. Its mean is events / exposure. */
export type RateBelief = { events: number; exposure: number };

function requireBelief(name: string, { events, exposure }: RateBelief): void {
  if (!(events > 0 && events < Infinity))
    throw new RangeError(`${name} requires finite events > 0, got ${events}`);
  if (!(exposure > 0 && exposure < Infinity)) {
    throw new RangeError(`${name} requires a finite exposure > 0, got ${exposure}`);
  }
}

function requireExposure(name: string, exposure: number): void {
  if (!(exposure >= 0)) throw new RangeError(`${name} requires an exposure >= 0, got ${exposure}`);
}

/**
 * Belief with a given mean rate, worth `events` observed events: 1 is weak, 10 firm.
 *
 * @param mean rate per unit of exposure, > 0
 * @param events > 0
 * @throws {RangeError} if `mean` or `events` is outside its range
 */
export function rateBelief({ mean, events }: { mean: number; events: number }): RateBelief {
  if (!(mean > 0 && mean < Infinity))
    throw new RangeError(`rateBelief requires a finite mean > 0, got ${mean}`);
  const belief = { events, exposure: events / mean };
  requireBelief("rateBelief", belief);
  return belief;
}

/**
 * Belief after `breakages` seen over `exposure`.
 *
 * @param seen breakages >= 0 and exposure >= 0, finite
 * @throws {RangeError} if an argument is outside its range
 */
export function updateRate(belief: RateBelief, seen: { breakages: number; exposure: number }): RateBelief {
  requireBelief("updateRate", belief);
  const { breakages, exposure } = seen;
  if (!(breakages >= 0 && breakages < Infinity && exposure >= 0 && exposure < Infinity)) {
    throw new RangeError("updateRate requires finite breakages >= 0 and exposure >= 0");
  }
  return { events: belief.events + breakages, exposure: belief.exposure + exposure };
}

/**
 * Quantile of the rate.
 *
 * @param p in [0, 1]
 * @throws {RangeError} if `p` or the belief is outside its range
 */
export function rateQuantile(belief: RateBelief, p: number): number {
  requireBelief("rateQuantile", belief);
  return gammaQuantile(p, { shape: belief.events, scale: 1 / belief.exposure });
}

/**
 * Probability of no breakage over a further exposure, averaged over the rate:
 * (c / (c + l))^a for a events over c. Longer survival makes the rate likelier to be low, so this falls more
 * slowly than an exponential.
 *
 * @param ahead exposure, >= 0, may be infinite
 * @throws {RangeError} if `ahead` or the belief is outside its range
 */
export function unbrokenProbability(belief: RateBelief, ahead: number): number {
  requireBelief("unbrokenProbability", belief);
  requireExposure("unbrokenProbability", ahead);
  return Math.exp(-belief.events * Math.log1p(ahead / belief.exposure));
}

/**
 * Law of the number of breakages over a total exposure (all items together): negative binomial with size
 * events and probability c / (c + exposure).
 *
 * @param exposure >= 0, finite
 * @throws {RangeError} if `exposure` or the belief is outside its range
 */
export function breakageCount(belief: RateBelief, exposure: number): NegativeBinomialParameters {
  requireBelief("breakageCount", belief);
  if (!(exposure >= 0 && exposure < Infinity)) {
    throw new RangeError(`breakageCount requires a finite exposure >= 0, got ${exposure}`);
  }
  return { size: belief.events, probability: belief.exposure / (belief.exposure + exposure) };
}
