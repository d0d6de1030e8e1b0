/** Grades by eye: ordinal, each a range of wear in shares of the limit, given with a normal error. */
import { tailErfcx } from "./wear-tail.ts";

const INV_SQRT_2PI = 1 / Math.sqrt(2 * Math.PI);

/** Lower bounds of the grades, in shares of the limit; the outer two are unbounded. */
const GRADE_FROM = [-Infinity, 0.1, 0.4, 0.75, 1];
const GRADE_TO = [0.1, 0.4, 0.75, 1, Infinity];
/** Normal stand-ins for the grades, used only to find where b lies and which readings are off the trend. */
export const GRADE_MIDDLE = [0.04, 0.25, 0.575, 0.875, 1.2];
export const GRADE_WIDTH = [0.05, 0.09, 0.1, 0.075, 0.25];
/** Share of grades given without regard to the wear. */
const GRADE_SLIP = 0.02;

/** A normal level on its way through a filter, changed in place: the filters of a fit run some ten thousand times. */
export interface RunningLevel {
  log: number;
  level: number;
  variance: number;
}

/**
 * A normal level seen through a grade: adds the log-probability of the grade and gives the level the first two moments
 * that it has after it (moments of a truncated normal law; the law itself is taken as normal again).
 *
 * @param sd standard deviation of the grading error, wear units
 */
export function seeGrade(state: RunningLevel, grade: number, sd: number, limit: number): void {
  const { level, variance } = state;
  const total = Math.sqrt(variance + sd * sd);
  const from = (GRADE_FROM[grade]! * limit - level) / total;
  const to = (GRADE_TO[grade]! * limit - level) / total;
  const bumpFrom = grade === 0 ? 0 : Math.exp(-0.5 * from * from);
  const bumpTo = grade === 4 ? 0 : Math.exp(-0.5 * to * to);
  // Tail probabilities beyond each bound, on the side where they are small: their difference keeps its digits.
  const tailFrom = grade === 0 ? 0 : 0.5 * bumpFrom * tailErfcx(Math.abs(from) * Math.SQRT1_2);
  const tailTo = grade === 4 ? 0 : 0.5 * bumpTo * tailErfcx(Math.abs(to) * Math.SQRT1_2);
  let inside: number;
  if (from > 0) inside = tailFrom - tailTo;
  else if (to < 0) inside = tailTo - tailFrom;
  else inside = 1 - tailFrom - tailTo;
  const chance = (1 - GRADE_SLIP) * inside + GRADE_SLIP / 5;
  state.log += Math.log(chance);
  if (!(inside > 1e-14)) return;
  const lean = (INV_SQRT_2PI * (bumpFrom - bumpTo)) / inside;
  const bend =
    (INV_SQRT_2PI * ((grade === 4 ? 0 : to * bumpTo) - (grade === 0 ? 0 : from * bumpFrom))) / inside;
  const pull = (variance / total) * lean;
  const seenVariance = Math.max(0, variance - (variance / total) ** 2 * (bend + lean * lean));
  const trust = ((1 - GRADE_SLIP) * inside) / chance;
  state.level = level + trust * pull;
  state.variance = trust * seenVariance + (1 - trust) * variance + trust * (1 - trust) * pull * pull;
}
