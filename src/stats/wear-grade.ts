/** Grades by eye: ordinal, each a range of wear in shares of the limit, given with a normal error. */
import { tailCdf } from "./wear-tail.ts";

const INV_SQRT_2PI = 1 / Math.sqrt(2 * Math.PI);

/** Lower bounds of the grades, in shares of the limit; the outer two are unbounded. */
const GRADE_FROM = [-Infinity, 0.1, 0.4, 0.75, 1];
const GRADE_TO = [0.1, 0.4, 0.75, 1, Infinity];
/** Normal stand-ins for the grades, used only to find where b lies and which readings are off the trend. */
export const GRADE_MIDDLE = [0.04, 0.25, 0.575, 0.875, 1.2];
export const GRADE_WIDTH = [0.05, 0.09, 0.1, 0.075, 0.25];
/** Share of grades given without regard to the wear. */
const GRADE_SLIP = 0.02;

/**
 * A normal level seen through a grade: probability of the grade, and the first two moments of the level after it
 * (truncated normal moments; the posterior is replaced by the normal law that has them).
 */
export function seeGrade(
  level: number,
  variance: number,
  grade: number,
  sd: number,
  limit: number,
): { log: number; level: number; variance: number } {
  const total = Math.sqrt(variance + sd * sd);
  const from = (GRADE_FROM[grade]! * limit - level) / total;
  const to = (GRADE_TO[grade]! * limit - level) / total;
  // Differences of tail probabilities are taken in the tail that is smaller.
  const inside = from > 0 ? tailCdf(-from) - tailCdf(-to) : tailCdf(to) - tailCdf(from);
  const chance = (1 - GRADE_SLIP) * inside + GRADE_SLIP / 5;
  if (!(inside > 1e-14)) return { log: Math.log(chance), level, variance };
  const heightFrom = from === -Infinity ? 0 : INV_SQRT_2PI * Math.exp(-0.5 * from * from);
  const heightTo = to === Infinity ? 0 : INV_SQRT_2PI * Math.exp(-0.5 * to * to);
  const lean = (heightFrom - heightTo) / inside;
  const bend =
    ((to === Infinity ? 0 : to * heightTo) - (from === -Infinity ? 0 : from * heightFrom)) / inside;
  const pull = (variance / total) * lean;
  const seenVariance = Math.max(0, variance - (variance / total) ** 2 * (bend + lean * lean));
  const trust = ((1 - GRADE_SLIP) * inside) / chance;
  return {
    log: Math.log(chance),
    level: level + trust * pull,
    variance: trust * seenVariance + (1 - trust) * variance + trust * (1 - trust) * pull * pull,
  };
}
