/**
 * Wear that feeds on itself, or settles: how fast a piece wears goes with how worn it is.
 *
 * With x the wear in shares of the limit of the line, a piece at the limit wears exp(bend) times as fast as a new one. Where
 * the bend is above 0, each share of wear makes it faster by the same factor; where it is below, the rate falls in a straight
 * line with what has worn away, towards a wear at which it would end (relaxation):
 *
 *     feeds on itself    rate ~ exp(bend x)               s(x) = (1 - exp(-bend x)) / (1 - exp(-bend))
 *     settles            rate ~ 1 - (1 - exp(bend)) x     s(x) = ln(1 - (1 - exp(bend)) x) / bend
 *
 * On the straightened scale s(x), s(0) = 0 and s(1) = 1, the wear of a piece is straight whatever its own rate: a piece
 * that wears fast bends sooner, but at the same wear. Far from what the limit is about the scale goes on straight, so that
 * every number has its place on it: below a wear of -1, and above 3, in wear where wear feeds on itself, on the scale where it
 * settles: so the two laws, and their derivatives by the bend, are one where the bend is 0.
 */

/** Where the bent part of the scale begins, in wear, and where it ends. */
export const LEAST = -1;
export const MOST = 3;
/** Below this, four terms of a series leave less than 1e-12. */
const SMALL = 1e-3;
/** A bend closer to 0 than this is none. */
const NO_BEND = 1e-12;

/** Whether a line of this bend settles. */
export const settles = (bend: number): boolean => bend < -NO_BEND;

/** The wear at which the bent part of the scale ends. */
const mostBent = (bend: number): number =>
  settles(bend) ? Math.expm1(MOST * bend) / Math.expm1(bend) : MOST;

/** The wear that decides on the slope of the scale: the nearest within its bent part, which ends at `most`. */
export const within = (x: number, most: number): number => Math.min(most, Math.max(LEAST, x));

/** (1 - exp(-bend x)) / bend */
function arcOf(x: number, bend: number): number {
  const off = bend * x;
  if (Math.abs(off) < SMALL) return x * (1 - (off / 2) * (1 - (off / 3) * (1 - off / 4)));
  return -Math.expm1(-off) / bend;
}

/** Wear on the straightened scale. */
export function straightened(x: number, bend: number): number {
  const near = within(x, mostBent(bend));
  return placeAt(near, bend) + straightenedSlope(x, bend) * (x - near);
}

/** Place on the scale of a wear within its bent part. */
const placeAt = (near: number, bend: number): number =>
  settles(bend) ? Math.log1p(Math.expm1(bend) * near) / bend : slopeWhenNew(bend) * arcOf(near, bend);

/** Slope of the straightened scale. */
export function straightenedSlope(x: number, bend: number): number {
  const near = within(x, mostBent(bend));
  return slopeWhenNew(bend) * (settles(bend) ? 1 / (1 + Math.expm1(bend) * near) : Math.exp(-bend * near));
}

/** Wear from its place on the straightened scale. */
export function bentBack(s: number, bend: number): number {
  for (const edge of [LEAST, mostBent(bend)]) {
    const beyond = s - placeAt(edge, bend);
    if (edge * beyond > 0) return edge + beyond / straightenedSlope(edge, bend);
  }
  if (settles(bend)) return Math.expm1(bend * s) / Math.expm1(bend);
  const arc = s / slopeWhenNew(bend);
  const off = bend * arc;
  if (Math.abs(off) < SMALL) return arc * (1 + (off / 2) * (1 + off * (2 / 3 + off / 2)));
  return -Math.log1p(-off) / bend;
}

/** Slope of the straightened scale where a piece is new. */
export function slopeWhenNew(bend: number): number {
  if (settles(bend)) return Math.expm1(bend) / bend;
  return bend < SMALL ? 1 + (bend / 2) * (1 + bend / 6) : -bend / Math.expm1(-bend);
}

/** Derivative of the log of `slopeWhenNew` by the bend. */
export function logSlopeWhenNewByBend(bend: number): number {
  const size = Math.abs(bend);
  return size < SMALL ? 0.5 - size / 12 : 1 / size - 1 / Math.expm1(size);
}

/**
 * Readings on the straightened scale, many at once: the tangent of the scale in the middle of what is known of the wear,
 * followed to the reading, so that an error of the reading stays in proportion to itself. A scale read off at a reading with a
 * large error would take its errors one way for smaller than those the other way.
 *
 * @param middles about where the wear was at each reading
 * @param places where a reading lies on the scale, written here
 * @param slopes slope of the tangent, written here
 */
export function straightenAll(
  wear: Float64Array,
  middles: Float64Array,
  bend: number,
  places: Float64Array,
  slopes: Float64Array,
): void {
  const start = slopeWhenNew(bend);
  const settling = settles(bend);
  const drop = Math.expm1(bend);
  const most = mostBent(bend);
  for (let j = 0; j < wear.length; j++) {
    const near = within(middles[j]!, most);
    if (settling) {
      const change = drop * near;
      slopes[j] = start / (1 + change);
      places[j] = Math.log1p(change) / bend + slopes[j]! * (wear[j]! - near);
    } else {
      const arc = arcOf(near, bend);
      slopes[j] = start * (1 - bend * arc);
      places[j] = start * arc + slopes[j]! * (wear[j]! - near);
    }
  }
}
