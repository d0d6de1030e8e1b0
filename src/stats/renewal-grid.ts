/** Renewal integrals on an even grid, behind `renewal.ts`. */
import { requireWhole, trimTail } from "./discrete.ts";

/** Chance of a life of at most t; never falls. */
export type Cdf = (t: number) => number;

/** Fewest steps on the grid, and how many of them a median life gets when lives are short. */
const LEAST_STEPS = 60;
const STEPS_PER_MEDIAN_LIFE = 30;
const MOST_STEPS = 1200;
const MOST_COUNTS = 5000;

/** A rise of the chance below this is left out: thousands of them stay below 1e-15. */
const NEGLIGIBLE = 1e-19;

/** P(N >= k) for k = 1, 2, … at each horizon. */
export function countTails(
  caller: string,
  input: { firstCdf: Cdf; laterCdf: Cdf; horizons: readonly number[]; steps?: number; tail?: number },
): number[][] {
  const { firstCdf, laterCdf, horizons, tail = 1e-12 } = input;
  if (!(tail > 0 && tail < 1)) throw new RangeError(`${caller} requires a tail in (0, 1), got ${tail}`);
  const steps = checkedSteps(caller, laterCdf, horizons, input.steps);
  const longest = Math.max(0, ...horizons);
  if (longest === 0) {
    const atOnce = tailsAtOnce(caller, checkedAt(caller, firstCdf, 0), checkedAt(caller, laterCdf, 0), tail);
    return horizons.map(() => atOnce);
  }
  const coarse = tailsOnGrid(caller, { firstCdf, laterCdf, horizons, longest, steps, tail });
  const fine = tailsOnGrid(caller, { firstCdf, laterCdf, horizons, longest, steps: 2 * steps, tail });
  return horizons.map((_, i) => extrapolate(coarse[i]!, fine[i]!, tail));
}

/** Without any use ahead only what is due counts: chance `first` for the part in place, `later` for each one after it. */
function tailsAtOnce(caller: string, first: number, later: number, tail: number): number[] {
  const tails: number[] = [];
  for (let chance = first; chance >= tail; chance *= later) {
    if (tails.length === MOST_COUNTS) {
      throw new RangeError(`${caller} requires a horizon of fewer than ${MOST_COUNTS} lives`);
    }
    tails.push(chance);
  }
  return tails;
}

function checkedAt(caller: string, cdf: Cdf, t: number): number {
  const value = cdf(t);
  if (!(value >= -1e-12 && value <= 1 + 1e-12)) {
    throw new RangeError(`${caller} requires a cdf in [0, 1], got ${value} at ${t}`);
  }
  return value;
}

/** One Richardson step, kept a sequence of tails: within [0, 1] and never rising. */
function extrapolate(coarse: number[], fine: number[], tail: number): number[] {
  const tails: number[] = [];
  let ceiling = 1;
  for (let k = 0; k < fine.length; k++) {
    const value = (4 * fine[k]! - (coarse[k] ?? 0)) / 3;
    ceiling = Math.min(ceiling, Math.max(0, value));
    if (ceiling < tail) break;
    tails.push(ceiling);
  }
  return tails;
}

/** A law of lives on the grid: at its points and within its steps, and what each horizon needs of it. */
type Sampled = {
  points: Float64Array;
  inSteps: Float64Array;
  /** at each horizon */
  atEnds: number[];
  /** within the steps counted back from each horizon */
  fromEnds: Float64Array[];
  /** within what is left of each horizon after its whole steps */
  rests: number[];
};

/** Cumulative chance of a replacement, at the points of the grid and at each horizon. */
type Reached = { points: Float64Array; atEnds: number[] };

/** A horizon need not lie on the grid: it takes the whole steps below it, and the rest of one step with its own midpoint. */
type Grid = { width: number; steps: number; horizons: readonly number[]; whole: number[] };

function tailsOnGrid(
  caller: string,
  input: {
    firstCdf: Cdf;
    laterCdf: Cdf;
    horizons: readonly number[];
    longest: number;
    steps: number;
    tail: number;
  },
): number[][] {
  const { firstCdf, laterCdf, horizons, longest, steps, tail } = input;
  const width = longest / steps;
  const whole = horizons.map((horizon) => Math.min(steps, Math.floor((horizon / width) * (1 + 1e-13))));
  const grid = { width, steps, horizons, whole };
  // The integral of F(t - u) dH(u) is that of H(t - u) dF(u). What rises more steeply at 0, or jumps there, is taken as the
  // factor and not as the measure, since the midpoint of a step would misplace it; and its average over the step is used.
  const steep = firstCdf(0) > 0 || firstCdf(width) > 1.5 * laterCdf(width);
  const later = sampled(caller, laterCdf, grid, midpointOf);
  const first = sampled(caller, firstCdf, grid, steep ? averageOf(width) : midpointOf);
  let reached: Reached = first;
  const tails: number[][] = horizons.map(() => []);
  for (let k = 1; k <= MOST_COUNTS; k++) {
    for (let i = 0; i < horizons.length; i++) tails[i]!.push(reached.atEnds[i]!);
    if (reached.points[steps]! < tail) return tails;
    reached = k === 1 && steep ? stieltjes(first, later, grid) : stieltjes(later, reached, grid);
  }
  throw new RangeError(`${caller} requires a horizon of fewer than ${MOST_COUNTS} lives`);
}

/** What stands for a function between two times. */
type Within = (cdf: Cdf, from: number, to: number) => number;

const midpointOf: Within = (cdf, from, to) => cdf((from + to) / 2);

/** Three Gauss points; many times three close to 0, where a part that is almost due fails within a fraction of a step. */
function averageOf(width: number): Within {
  return (cdf, from, to) => {
    const pieces = from < 2 * width ? 12 : 1;
    const apart = (to - from) / pieces;
    let sum = 0;
    for (let i = 0; i < pieces; i++) {
      const middle = from + (i + 0.5) * apart;
      const off = Math.sqrt(0.15) * apart;
      sum += (5 * cdf(middle - off) + 8 * cdf(middle) + 5 * cdf(middle + off)) / 18;
    }
    return sum / pieces;
  };
}

function sampled(caller: string, cdf: Cdf, { width, steps, horizons, whole }: Grid, within: Within): Sampled {
  const at = (t: number) => checkedAt(caller, cdf, t);
  return {
    points: Float64Array.from({ length: steps + 1 }, (_, i) => at(i * width)),
    inSteps: Float64Array.from({ length: steps }, (_, i) => within(at, i * width, (i + 1) * width)),
    atEnds: horizons.map(at),
    fromEnds: horizons.map((horizon, i) =>
      Float64Array.from({ length: whole[i]! }, (_, j) =>
        within(at, Math.max(0, horizon - (j + 1) * width), horizon - j * width),
      ),
    ),
    rests: horizons.map((horizon, i) => within(at, 0, Math.max(0, horizon - whole[i]! * width))),
  };
}

/**
 * Integral of factor(t - u) dmeasure(u) by the midpoint rule, at the points and at the horizons. What the measure holds at 0
 * itself is taken apart.
 */
function stieltjes(factor: Sampled, measure: Reached, { steps, horizons, whole }: Grid): Reached {
  const { points } = measure;
  const rises = Float64Array.from({ length: steps }, (_, j) => points[j + 1]! - points[j]!);
  const atEnds = horizons.map((_, i) => {
    const weights = factor.fromEnds[i]!;
    let sum = factor.atEnds[i]! * points[0]!;
    sum += factor.rests[i]! * Math.max(0, measure.atEnds[i]! - points[whole[i]!]!);
    for (let j = 0; j < weights.length; j++) sum += weights[j]! * rises[j]!;
    return sum;
  });
  const sums = onPoints(factor.inSteps, rises);
  if (points[0]! > 0) for (let i = 0; i <= steps; i++) sums[i]! += factor.points[i]! * points[0]!;
  return { points: sums, atEnds };
}

function onPoints(factor: Float64Array, rises: Float64Array): Float64Array {
  const steps = rises.length;
  const sums = new Float64Array(steps + 1);
  // Where the replacement practically cannot fall, nothing is added: for long horizons most of the work is saved.
  let from = 0;
  while (from < steps && Math.abs(rises[from]!) < NEGLIGIBLE) from++;
  let to = steps;
  while (to > from && Math.abs(rises[to - 1]!) < NEGLIGIBLE) to--;
  for (let i = from + 1; i <= steps; i++) {
    let sum = 0;
    for (let j = from; j < i && j < to; j++) sum += factor[i - 1 - j]! * rises[j]!;
    sums[i] = sum;
  }
  return sums;
}

export function checkedSteps(caller: string, cdf: Cdf, horizons: readonly number[], steps?: number): number {
  for (const horizon of horizons) {
    if (!(horizon >= 0 && horizon < Infinity)) {
      throw new RangeError(`${caller} requires a finite horizon of at least 0, got ${horizon}`);
    }
  }
  if (steps === undefined) return chooseSteps(cdf, Math.max(0, ...horizons));
  requireWhole(caller, "steps", steps, 8);
  return steps;
}

/** Steps that resolve the median life: with long horizons of many lives a fixed number would be too coarse. */
function chooseSteps(cdf: Cdf, horizon: number): number {
  if (!(cdf(horizon) > 0.5)) return LEAST_STEPS;
  let low = 0;
  let high = horizon;
  for (let i = 0; i < 40; i++) {
    const middle = (low + high) / 2;
    if (cdf(middle) > 0.5) high = middle;
    else low = middle;
  }
  const wanted = Math.ceil((STEPS_PER_MEDIAN_LIFE * horizon) / high);
  return Math.min(MOST_STEPS, Math.max(LEAST_STEPS, wanted));
}

/** From P(N >= 1), P(N >= 2), … to P(N = 0), P(N = 1), …; rounding may not make a tail rise. */
export function lawFromTails(tails: readonly number[]): number[] {
  const probabilities: number[] = [];
  let above = 1;
  for (const tail of tails) {
    const next = Math.min(above, tail);
    probabilities.push(above - next);
    above = next;
  }
  return trimTail([...probabilities, above], 1e-300);
}
