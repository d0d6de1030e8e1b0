/** Grades by eye: ordinal, each a range of wear in shares of the limit, given with a normal error. */
import { straightened, straightenedSlope } from "./wear-bend.ts";
import { tailErfcx } from "./wear-tail.ts";

const INV_SQRT_2PI = 1 / Math.sqrt(2 * Math.PI);

/** Where one grade ends and the next begins, in shares of the limit; the outer two are unbounded. */
const BOUNDS = [0.1, 0.4, 0.75, 1];
/** Normal stand-ins for the grades, used only to find where b lies and which readings are off the trend. */
export const GRADE_MIDDLE = [0.04, 0.25, 0.575, 0.875, 1.2];
export const GRADE_WIDTH = [0.05, 0.09, 0.1, 0.075, 0.25];
/** Share of grades given without regard to the wear. */
const GRADE_SLIP = 0.02;

/** The grades on the straightened scale: grade k lies between bounds k and k + 1; `slope` is that of the scale there. */
export interface GradeBounds {
  bound: number[];
  slope: number[];
}

export function gradeBounds(limit: number, bend: number): GradeBounds {
  const wear = BOUNDS.map((share) => share * limit);
  return {
    bound: [-Infinity, ...wear.map((x) => straightened(x, bend)), Infinity],
    slope: [1, ...wear.map((x) => straightenedSlope(x, bend)), 1],
  };
}

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
export function seeGrade(
  state: RunningLevel,
  grade: number,
  sd: number,
  { bound, slope }: GradeBounds,
): void {
  const { level, variance } = state;
  // The error is one of the wear; whether it carries the wear past a bound is decided at that bound.
  const totalFrom = Math.sqrt(variance + (sd * slope[grade]!) ** 2);
  const totalTo = Math.sqrt(variance + (sd * slope[grade + 1]!) ** 2);
  const from = (bound[grade]! - level) / totalFrom;
  const to = (bound[grade + 1]! - level) / totalTo;
  const bumpFrom = grade === 0 ? 0 : Math.exp(-0.5 * from * from);
  const bumpTo = grade === 4 ? 0 : Math.exp(-0.5 * to * to);
  // Tail probabilities beyond each bound, on the side where they are small: their difference keeps its digits.
  const tailFrom = grade === 0 ? 0 : 0.5 * bumpFrom * tailErfcx(Math.abs(from) * Math.SQRT1_2);
  const tailTo = grade === 4 ? 0 : 0.5 * bumpTo * tailErfcx(Math.abs(to) * Math.SQRT1_2);
  let inside: number;
  if (from > 0) inside = tailFrom - tailTo;
  else if (to < 0) inside = tailTo - tailFrom;
  else inside = 1 - tailFrom - tailTo;
  inside = Math.max(0, inside);
  const chance = (1 - GRADE_SLIP) * inside + GRADE_SLIP / 5;
  state.log += Math.log(chance);
  if (!(inside > 1e-14)) return;
  const densityFrom = (INV_SQRT_2PI * bumpFrom) / (totalFrom * inside);
  const densityTo = (INV_SQRT_2PI * bumpTo) / (totalTo * inside);
  const lean = densityFrom - densityTo;
  const curve =
    (grade === 4 ? 0 : (to / totalTo) * densityTo) - (grade === 0 ? 0 : (from / totalFrom) * densityFrom);
  const pull = variance * lean;
  const seenVariance = Math.max(0, variance - variance * variance * (curve + lean * lean));
  const trust = ((1 - GRADE_SLIP) * inside) / chance;
  state.level = level + trust * pull;
  state.variance = trust * seenVariance + (1 - trust) * variance + trust * (1 - trust) * pull * pull;
}
