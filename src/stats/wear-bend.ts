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
 * that wears fast bends sooner, but at the same wear. The second law is the first with wear and scale exchanged and the
 * bend negated. Far from what the limit is about the scale goes on straight, so that every number has its place on it: below
 * -1 and above 3, in wear where wear feeds on itself, on the scale where it settles.
 */

/** Where the bent part of the scale ends. */
export const LEAST = -1;
export const MOST = 3;
/** Below this, five terms of the exponential series are exact to rounding. */
const SMALL = 1e-3;

/** What decides on the slope of the scale: the wear where it feeds on itself, the place on the scale where it settles. */
export const within = (x: number): number => Math.min(MOST, Math.max(LEAST, x));

/** (1 - exp(-bend x)) / bend */
function arcOf(x: number, bend: number): number {
  const off = bend * x;
  if (Math.abs(off) < SMALL) return x * (1 - (off / 2) * (1 - (off / 3) * (1 - off / 4)));
  return -Math.expm1(-off) / bend;
}

/** 1 over `arcOf(1, bend)`: slope at 0 of the scale of wear that feeds on itself. */
function firstSlope(bend: number): number {
  return bend < SMALL ? 1 + (bend / 2) * (1 + bend / 6) : -bend / Math.expm1(-bend);
}

/** The first law, for a bend not below 0. */
function fed(x: number, bend: number): number {
  const near = within(x);
  const arc = arcOf(near, bend);
  return firstSlope(bend) * (arc + (1 - bend * arc) * (x - near));
}

/** Slope of the first law at x. */
const fedSlope = (x: number, bend: number): number => firstSlope(bend) * Math.exp(-bend * within(x));

/** The first law turned around: x from s. */
function fedBack(s: number, bend: number): number {
  const arc = s / firstSlope(bend);
  for (const edge of [LEAST, MOST]) {
    const beyond = arc - arcOf(edge, bend);
    if (edge * beyond > 0) return edge + beyond * Math.exp(bend * edge);
  }
  const off = bend * arc;
  if (Math.abs(off) < SMALL) return arc * (1 + (off / 2) * (1 + off * (2 / 3 + off / 2)));
  return -Math.log1p(-off) / bend;
}

/** Wear on the straightened scale. */
export const straightened = (x: number, bend: number): number =>
  bend < 0 ? fedBack(x, -bend) : fed(x, bend);

/** Slope of the straightened scale. */
export const straightenedSlope = (x: number, bend: number): number =>
  bend < 0 ? 1 / fedSlope(fedBack(x, -bend), -bend) : fedSlope(x, bend);

/** Wear from its place on the straightened scale. */
export const bentBack = (s: number, bend: number): number => (bend < 0 ? fed(s, -bend) : fedBack(s, bend));

/** Slope of the straightened scale where a piece is new. */
export const slopeWhenNew = (bend: number): number => (bend < 0 ? 1 / firstSlope(-bend) : firstSlope(bend));

/** Derivative of the log of `slopeWhenNew` by the bend. */
export function logSlopeWhenNewByBend(bend: number): number {
  const size = Math.abs(bend);
  return size < SMALL ? 0.5 - size / 12 : 1 / size - 1 / Math.expm1(size);
}

/**
 * The same for many at once: places on the scale and slopes there, written into `places` and `slopes`.
 */
export function straightenAll(
  wear: Float64Array,
  bend: number,
  places: Float64Array,
  slopes: Float64Array,
): void {
  const start = slopeWhenNew(bend);
  for (let j = 0; j < wear.length; j++) {
    if (bend < 0) {
      const place = fedBack(wear[j]!, -bend);
      places[j] = place;
      slopes[j] = start * Math.exp(-bend * within(place));
    } else {
      const near = within(wear[j]!);
      const arc = arcOf(near, bend);
      slopes[j] = start * (1 - bend * arc);
      places[j] = start * arc + slopes[j]! * (wear[j]! - near);
    }
  }
}
