/**
 * Wear that feeds on itself, or settles: how fast a piece wears goes with how worn it is.
 *
 * With x the wear in shares of the limit of the line, the rate goes as exp(bend x), so that a piece at the limit wears
 * exp(bend) times as fast as a new one. On the straightened scale
 *
 *     s(x) = (1 - exp(-bend x)) / (1 - exp(-bend)),     s(0) = 0,  s(1) = 1,
 *
 * its wear is straight, whatever its own rate: a piece that wears fast bends sooner, but at the same wear. Far from what
 * the limit is about (below -1 or above 3 limits) the scale goes on straight, so that every number has its place on it.
 */

const LEAST = -1;
const MOST = 3;
/** Below this, five terms of the exponential series are exact to rounding. */
const SMALL = 1e-3;

/** The wear that decides on the slope of the scale. */
export const within = (x: number): number => Math.min(MOST, Math.max(LEAST, x));

/** Slope of the straightened scale where a piece is new. */
export function slopeWhenNew(bend: number): number {
  return Math.abs(bend) < SMALL ? 1 + (bend / 2) * (1 + bend / 6) : -bend / Math.expm1(-bend);
}

/** Derivative of the log of `slopeWhenNew` by the bend. */
export function logSlopeWhenNewByBend(bend: number): number {
  return Math.abs(bend) < SMALL ? 0.5 - bend / 12 : 1 / bend - 1 / Math.expm1(bend);
}

/** (1 - exp(-bend x)) / bend */
function arcOf(x: number, bend: number): number {
  const off = bend * x;
  if (Math.abs(off) < SMALL) return x * (1 - (off / 2) * (1 - (off / 3) * (1 - off / 4)));
  return -Math.expm1(-off) / bend;
}

/** Wear on the straightened scale. */
export function straightened(x: number, bend: number): number {
  const near = within(x);
  const arc = arcOf(near, bend);
  return slopeWhenNew(bend) * (arc + (1 - bend * arc) * (x - near));
}

/** Slope of the straightened scale. */
export function straightenedSlope(x: number, bend: number): number {
  return slopeWhenNew(bend) * Math.exp(-bend * within(x));
}

/** Wear from its place on the straightened scale. */
export function bentBack(s: number, bend: number): number {
  const start = slopeWhenNew(bend);
  const arc = s / start;
  for (const edge of [LEAST, MOST]) {
    const beyond = arc - arcOf(edge, bend);
    if (edge * beyond > 0) return edge + beyond * Math.exp(bend * edge);
  }
  const off = bend * arc;
  if (Math.abs(off) < SMALL) return arc * (1 + (off / 2) * (1 + off * (2 / 3 + off / 2)));
  return -Math.log1p(-off) / bend;
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
    const near = within(wear[j]!);
    const arc = arcOf(near, bend);
    slopes[j] = start * (1 - bend * arc);
    places[j] = start * arc + slopes[j]! * (wear[j]! - near);
  }
}
