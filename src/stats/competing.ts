/**
 * Several causes that end a life, whichever comes first, taken as independent of each other: wear-out beside
 * accidental breakage, or failure modes with a law each.
 */
import { type RateBelief, unbrokenProbability } from "./breakage.ts";
import {
  type LifeDistribution,
  lifeQuantile,
  lifeSurvival,
  requireAge,
  requireProbability,
} from "./life-distribution.ts";
import { integrate } from "./integrate.ts";

/** Probability that wear alone has not ended the item after a further exposure: 1 at 0, never rising. */
export type WearSurvival = (ahead: number) => number;

/**
 * Probability that neither wear nor breakage ends the item within `ahead`.
 *
 * @param ahead exposure, >= 0, in the unit of the rate belief
 * @throws {RangeError} if `ahead` is negative or not a number, or the belief is outside its range
 */
export function combinedSurvival(wear: WearSurvival, breakage: RateBelief, ahead: number): number {
  requireAge("combinedSurvival", ahead);
  return wear(ahead) * unbrokenProbability(breakage, ahead);
}

/**
 * Exposure within which the item ends, from either cause, with probability `p`.
 *
 * @param p in [0, 1)
 * @throws {RangeError} if `p` is outside its range or the belief is
 */
export function combinedQuantile(wear: WearSurvival, breakage: RateBelief, p: number): number {
  requireProbability("combinedQuantile", p);
  if (p === 1) throw new RangeError("combinedQuantile requires p below 1");
  if (p === 0) return 0;
  // Breakage alone reaches p at this exposure; wear can only make it sooner.
  let high = breakage.exposure * Math.expm1(-Math.log1p(-p) / breakage.events);
  let low = 0;
  if (!(combinedSurvival(wear, breakage, high) <= 1 - p + 1e-12)) {
    throw new RangeError("combinedQuantile requires a wear survival between 0 and 1 that never rises");
  }
  for (let halving = 0; halving < 200 && high - low > 1e-13 * high; halving += 1) {
    const middle = low + (high - low) / 2;
    if (combinedSurvival(wear, breakage, middle) > 1 - p) low = middle;
    else high = middle;
  }
  return high;
}

/**
 * Probability that the item ends within `ahead`, and by breakage: ∫ wear(u) dP(broken by u).
 *
 * Taken over the probability of breakage instead of the exposure, where the integrand lies between 0 and 1.
 *
 * @param ahead exposure, >= 0, may be infinite
 * @throws {RangeError} if `ahead` or the belief is outside its range
 */
export function endsByBreakage(wear: WearSurvival, breakage: RateBelief, ahead: number): number {
  const broken = 1 - unbrokenProbability(breakage, ahead);
  const exposureAt = (v: number) => breakage.exposure * Math.expm1(-Math.log1p(-v) / breakage.events);
  return integrate((v) => wear(exposureAt(v)), 0, broken, 1e-11);
}

/**
 * Probability that a new item fails by age `t` from each of several independent causes, each with its own life
 * distribution; the causes' incidences and the joint survival sum to one.
 *
 * @param causes one law per cause, at least one
 * @param t age, >= 0
 * @throws {RangeError} if there is no cause, or an age or parameter is outside its range
 */
export function causeIncidences(causes: readonly LifeDistribution[], t: number): number[] {
  if (causes.length === 0) throw new RangeError("causeIncidences requires at least one cause");
  requireAge("causeIncidences", t);
  return causes.map((law, k) => {
    const others = causes.filter((_, j) => j !== k);
    return integrate(
      (v) => {
        const age = lifeQuantile(law, v);
        return others.reduce((product, other) => product * lifeSurvival(other, age), 1);
      },
      0,
      1 - lifeSurvival(law, t),
      1e-11,
    );
  });
}
