/** Replacements of a position in many simulated seasons, drawn from their law at the scale of each season. */
import type { Random } from "./random.ts";
import { renewalTable } from "./renewal-shared.ts";
import type { SimulatedLine, SimulatedPosition } from "./season-simulation.ts";

/** Steps of the grid to the spread of a life, about scale / shape, where the scale is the lowest of all seasons. */
const STEPS_PER_SPREAD = 6;
const LEAST_STEPS = 24;
/** With more steps the lives are so short beside the season that following each costs no more. */
const MOST_STEPS = 1000;
/** Laws are worked out at so many nodes to 1 / shape of the logarithm of the scale, and between them by polynomials. */
const NODES_PER_SPREAD = 3;
const MOST_NODES = 200;
/** Nodes that a polynomial goes through. */
const POINTS = 6;
/** Lives of smaller shapes bend too much at 0 for the grid. */
const LEAST_SHAPE = 0.7;
/** In fewer seasons following each life costs less than its law. */
const LEAST_SEASONS = 1000;
/** Scales are rounded to about so many places in their range, which adds a twelfth of the distance squared to the variance of the logarithm. */
const PLACES = 128;
/** Counts of less than this chance are left out, as are rises below the second. */
const TAIL = 1e-8;
const NEGLIGIBLE = 1e-15;
const TILE = 4096;

/** The scales that the seasons of a line meet, each rounded to one of many places in their range. */
export type LineCounts = {
  /** of each season */
  places: Uint16Array;
  nodes: Node[];
  /** element `POINTS * place + i`: weight of node `from[place] + i` in the law at that place */
  weights: Float64Array;
  from: Uint16Array;
  /** distance of the grid points, in units of use */
  step: number;
  /** working space */
  uniform: Float64Array;
};

/** A scale at which laws are worked out, and how the chance of n + 1 replacements of new parts rises on the grid. */
type Node = { scale: number; rises: { first: number; values: Float64Array }[] };

/**
 * Prepares the seasons of a line.
 *
 * @param logScales logarithm of the scale in each season
 * @param horizon the longest of the positions
 * @returns null where lives are better followed one by one: few seasons, very many lives in the horizon, or a law too steep at 0
 */
export function countsOfLine(
  { shape, breakageRate = 0 }: SimulatedLine,
  logScales: Float64Array,
  horizon: number,
): LineCounts | null {
  let [lowest, highest] = [Infinity, -Infinity];
  for (const log of logScales) {
    if (log < lowest) lowest = log;
    if (log > highest) highest = log;
  }
  const perUse = Math.max(shape, 1) * Math.exp(-lowest) + breakageRate;
  const steps = Math.max(LEAST_STEPS, Math.ceil(STEPS_PER_SPREAD * perUse * horizon));
  const intervals = Math.ceil(NODES_PER_SPREAD * Math.max(shape, 1) * (highest - lowest));
  const pays = steps <= MOST_STEPS && intervals <= MOST_NODES && logScales.length >= LEAST_SEASONS;
  if (!pays || shape < LEAST_SHAPE) return null;
  const apart = intervals === 0 ? 1 : (highest - lowest) / intervals;
  const perNode = intervals === 0 ? 1 : Math.ceil(PLACES / intervals);
  const nodes = Array.from({ length: intervals + 1 }, (_, i) => {
    const scale = Math.exp(lowest + i * apart);
    const cdf = (t: number) => -Math.expm1(-((t / scale) ** shape) - breakageRate * t);
    return { scale, rises: renewalTable({ cdf, horizon, steps }).tails.slice(1).map(risesOf) };
  });
  return {
    places: Uint16Array.from(logScales, (log) => Math.round(((log - lowest) / apart) * perNode)),
    nodes,
    ...polynomials(intervals, perNode),
    step: horizon / steps,
    uniform: new Float64Array(Math.min(TILE, logScales.length)),
  };
}

function risesOf(tail: Float64Array): Node["rises"][number] {
  const values = Float64Array.from({ length: tail.length - 1 }, (_, j) => tail[j + 1]! - tail[j]!);
  const first = values.findIndex((rise) => rise > NEGLIGIBLE);
  return { first: first === -1 ? values.length : first, values };
}

/** Lagrange's weights of the nodes nearest to each place, with `perNode` places from each node to the next. */
function polynomials(intervals: number, perNode: number): { weights: Float64Array; from: Uint16Array } {
  const places = intervals * perNode + 1;
  const points = Math.min(POINTS, intervals + 1);
  const weights = new Float64Array(POINTS * places);
  const from = new Uint16Array(places);
  for (let place = 0; place < places; place++) {
    const x = place / perNode;
    const first = Math.max(0, Math.min(intervals + 1 - points, Math.floor(x) + 1 - (points >> 1)));
    from[place] = first;
    for (let i = 0; i < points; i++) {
      let weight = 1;
      for (let j = 0; j < points; j++) if (j !== i) weight *= (x - first - j) / (i - j);
      weights[POINTS * place + i] = weight;
    }
  }
  return { weights, from };
}

/** Element `place * width + n`: the chance of at most n replacements at that place; four or more each, the last of them 1. */
export type CountsOfPosition = { width: number; atMost: Float64Array };

/**
 * The law of one position at every place of its line.
 *
 * P(N > n) is the integral of G(horizon - u) over the rise, at u, of the chance of n replacements of new parts; G is the law of the part
 * in place. By the midpoint rule (Xie 1989), with the two laws' usual roles exchanged, so that what the positions of
 * a line have in common is worked out once.
 */
export function countsOfPosition(
  { shape, breakageRate = 0 }: SimulatedLine,
  { age, horizon }: SimulatedPosition,
  line: LineCounts,
): CountsOfPosition {
  const { nodes, step } = line;
  const width = Math.max(4, ...nodes.map(({ rises }) => rises.length + 2));
  const steps = nodes[0]!.rises[0]?.values.length ?? 0;
  const end = step > 0 ? horizon / step : 0;
  const whole = Math.min(steps, Math.floor(end + 1e-9));
  const rest = whole < steps ? Math.max(0, end - whole) : 0;
  // What is left of the horizon in the middle of each step, and of the rest of one; last, all of it.
  const left = new Float64Array(whole + 2).fill(horizon);
  for (let j = 0; j < whole; j++) left[j] = (end - j - 0.5) * step;
  left[whole] = (rest / 2) * step;
  // Powers are worked out at one scale, for they are the dearest part.
  const reference = nodes[nodes.length >> 1]!.scale;
  const spent = (age / reference) ** shape;
  const hazards = left.map((use) => Math.max(0, ((age + use) / reference) ** shape - spent));
  const ended = new Float64Array(whole + 2);
  const above = new Float64Array(nodes.length * width);
  nodes.forEach(({ scale, rises }, node) => {
    const harder = (reference / scale) ** shape;
    for (let j = 0; j < ended.length; j++)
      ended[j] = 1 - Math.exp(-hazards[j]! * harder - breakageRate * left[j]!);
    let tail = ended[whole + 1]!;
    for (let n = 0; tail > TAIL; n++) {
      above[node * width + n] = tail;
      if (n === rises.length) break;
      const { first, values } = rises[n]!;
      let sum = rest > 0 ? ended[whole]! * rest * values[whole]! : 0;
      for (let j = first; j < whole; j++) sum += ended[j]! * values[j]!;
      tail = Math.min(tail, sum);
    }
  });
  return { width, atMost: betweenNodes(above, width, line) };
}

function betweenNodes(
  above: Float64Array,
  width: number,
  { nodes, weights, from }: LineCounts,
): Float64Array {
  const atMost = new Float64Array(from.length * width).fill(1);
  const points = Math.min(POINTS, nodes.length);
  for (let place = 0; place < from.length; place++) {
    const row = place * width;
    for (let i = 0; i < points; i++) {
      const weight = weights[POINTS * place + i]!;
      const node = (from[place]! + i) * width;
      for (let n = 0; n < width - 1; n++) atMost[row + n]! -= weight * above[node + n]!;
    }
  }
  return atMost;
}

/** Adds the units that a position takes in each season, by one uniform number each. */
export function drawCounts(
  taken: Int32Array,
  batch: number,
  { width, atMost }: CountsOfPosition,
  { places, uniform }: LineCounts,
  random: Random,
): void {
  for (let from = 0; from < taken.length; from += uniform.length) {
    const count = Math.min(uniform.length, taken.length - from);
    random.fill(uniform, count);
    for (let i = 0; i < count; i++) {
      const u = uniform[i]!;
      const row = places[from + i]! * width;
      // Up to three without a branch, which a processor could not foresee.
      let n =
        (Number(u > atMost[row]!) | 0) +
        (Number(u > atMost[row + 1]!) | 0) +
        (Number(u > atMost[row + 2]!) | 0);
      if (n === 3) while (u > atMost[row + n]!) n++;
      taken[from + i]! += n * batch;
    }
  }
}
