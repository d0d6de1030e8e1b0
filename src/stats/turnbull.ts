/**
 * Survival without a law for interval-censored and left-truncated lives (Turnbull, 1976).
 *
 * The estimate puts probability on the innermost intervals only, those between a lower end and the next upper
 * end with nothing between; where inside them is not determined. It is found by self-consistency, which is the
 * EM algorithm, with exchanges between two masses, until the first-order conditions say how little the likelihood can still gain.
 */
import { ConvergenceError } from "./errors.ts";
import type { LifeObservation } from "./life-data.ts";

/** Probability of failing after `from` and up to `to`; for an exact failure the two are equal, and `to` may be Infinity. */
export type TurnbullInterval = { from: number; to: number; probability: number; survivalAfter: number };

type Row = { lower: number; upper: number; exact: boolean; entry: number; count: number };
/** Range of masses, first and last index, that agree with a row, and the first that agrees with its entry. */
type Reach = { first: number; last: number; entry: number; count: number };

const MAX_ITERATIONS = 10_000;
/** Largest gain per observation, in log-likelihood, that may be left. */
const TOLERANCE = 1e-8;
/**
 * With truncation a mass is never emptied altogether: a late entry knows only ratios of late masses, which must
 * stay defined even when the other rows want all of them to vanish.
 */
const FLOOR = 1e-12;

function rowOf(observation: LifeObservation): Row {
  const { kind, count = 1 } = observation;
  const entry = kind === "before" ? 0 : (observation.enteredAt ?? 0);
  let lower = kind === "before" ? 0 : kind === "between" ? observation.from : observation.at;
  let upper = kind === "running" ? Infinity : kind === "between" ? observation.to : observation.at;
  if (kind === "failed") upper = lower = observation.at;
  const exact = kind === "failed";
  if (!(lower >= 0 && (exact ? lower > 0 && lower < Infinity : lower < upper))) {
    throw new RangeError(`turnbullEstimate requires ages > 0 and from < to, got ${lower} to ${upper}`);
  }
  if (!(entry >= 0 && entry <= lower)) {
    throw new RangeError(`turnbullEstimate requires enteredAt between 0 and ${lower}, got ${entry}`);
  }
  if (!(count > 0 && count < Infinity))
    throw new RangeError(`turnbullEstimate requires count > 0, got ${count}`);
  return { lower, upper, exact, entry, count };
}

/** Rank among ends at the same age: an exact failure opens before upper ends close, other intervals open after. */
const OPEN_EXACT = 0;
const CLOSE = 1;
const OPEN = 2;
type End = { age: number; rank: number };

const byPlace = (a: End, b: End) => (a.age === b.age ? a.rank - b.rank : a.age < b.age ? -1 : 1);

/** Innermost intervals: each opening end that is directly followed by a closing end. */
function innermost(rows: readonly Row[]): { open: End; close: End }[] {
  const ends: End[] = rows.flatMap(({ lower, upper, exact }) => [
    { age: lower, rank: exact ? OPEN_EXACT : OPEN },
    { age: upper, rank: CLOSE },
  ]);
  ends.sort(byPlace);
  const found: { open: End; close: End }[] = [];
  for (let i = 1; i < ends.length; i += 1) {
    const [open, close] = [ends[i - 1]!, ends[i]!];
    if (open.rank !== CLOSE && close.rank === CLOSE) found.push({ open, close });
  }
  return found;
}

/** First index at which `reached` holds; it must hold for all later ones. */
function firstWhere(size: number, reached: (index: number) => boolean): number {
  let low = 0;
  let high = size;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (reached(middle)) high = middle;
    else low = middle + 1;
  }
  return low;
}

function reachOf(row: Row, masses: readonly { open: End; close: End }[]): Reach {
  const open: End = { age: row.lower, rank: row.exact ? OPEN_EXACT : OPEN };
  const close: End = { age: row.upper, rank: CLOSE };
  const entry: End = { age: row.entry, rank: OPEN };
  return {
    first: firstWhere(masses.length, (j) => byPlace(masses[j]!.open, open) >= 0),
    last: firstWhere(masses.length, (j) => byPlace(masses[j]!.close, close) > 0) - 1,
    entry: row.entry === 0 ? 0 : firstWhere(masses.length, (j) => byPlace(masses[j]!.open, entry) >= 0),
    count: row.count,
  };
}

/** Running sums: the probability of masses first..last is sums[last + 1] - sums[first]. */
function runningSums(probability: Float64Array): Float64Array {
  const sums = new Float64Array(probability.length + 1);
  for (let j = 0; j < probability.length; j += 1) sums[j + 1] = sums[j]! + probability[j]!;
  return sums;
}

type Gradient = { whole: number; seen: Float64Array; unseen: Float64Array };

/**
 * For each mass: Σ n / P over the rows that agree with it, and Σ n / Q over the rows that it precedes by their
 * entry; `whole` is Σ n / Q. The derivative of the log-likelihood by a mass is seen + unseen - whole.
 */
function gradientOf(probability: Float64Array, rows: readonly Reach[]): Gradient {
  const size = probability.length;
  const sums = runningSums(probability);
  const seen = new Float64Array(size + 1);
  const unseen = new Float64Array(size + 1);
  let whole = 0;
  for (const { first, last, entry, count } of rows) {
    const share = count / (sums[last + 1]! - sums[first]!);
    seen[first]! += share;
    seen[last + 1]! -= share;
    const observable = count / (sums[size]! - sums[entry]!);
    unseen[0]! += observable;
    unseen[entry]! -= observable;
    whole += observable;
  }
  for (let j = 1; j < size; j += 1) {
    seen[j]! += seen[j - 1]!;
    unseen[j]! += unseen[j - 1]!;
  }
  return { whole, seen, unseen };
}

/** Self-consistency: items that failed before they could enter were never seen, and belong to the early masses. */
function selfConsistent(probability: Float64Array, { whole, seen, unseen }: Gradient, floor: number): void {
  for (let j = 0; j < probability.length; j += 1) {
    probability[j] = Math.max(floor, (probability[j]! * (seen[j]! + unseen[j]!)) / whole);
  }
}

/**
 * Moves probability from mass `from` to mass `to` as far as the likelihood rises (Böhning, 1986). Unlike
 * self-consistency it empties a mass at once, where that would take for ever.
 */
function exchange(
  probability: Float64Array,
  rows: readonly Reach[],
  { from, to, floor }: { from: number; to: number; floor: number },
): void {
  const sums = runningSums(probability);
  const size = probability.length;
  const moves = rows.flatMap(({ first, last, entry, count }) => {
    const inside = Number(first <= to && to <= last) - Number(first <= from && from <= last);
    const observable = Number(entry <= to) - Number(entry <= from);
    if (inside === 0 && observable === 0) return [];
    return [{ inside, observable, count, p: sums[last + 1]! - sums[first]!, q: sums[size]! - sums[entry]! }];
  });
  const slope = (moved: number): number => {
    let sum = 0;
    for (const { inside, observable, count, p, q } of moves) {
      if (inside !== 0) sum += (count * inside) / Math.max(0, p + moved * inside);
      if (observable !== 0) sum -= (count * observable) / Math.max(0, q + moved * observable);
    }
    return sum;
  };
  let low = 0;
  let high = probability[from]! - floor;
  if (slope(high) > 0) low = high;
  for (let halving = 0; halving < 40 && high > low; halving += 1) {
    const middle = 0.5 * (low + high);
    if (slope(middle) > 0) low = middle;
    else high = middle;
  }
  probability[to]! += low;
  probability[from]! -= low;
}

/** One round; returns the largest gain per observation that a mass could still have brought before it. */
function improve(probability: Float64Array, rows: readonly Reach[], total: number): number {
  const floor = rows.some(({ entry }) => entry > 0) ? FLOOR : 0;
  selfConsistent(probability, gradientOf(probability, rows), floor);
  const { whole, seen, unseen } = gradientOf(probability, rows);
  const derivative = (j: number) => seen[j]! + unseen[j]! - whole;
  let best = 0;
  let worst = -1;
  for (let j = 0; j < probability.length; j += 1) {
    if (derivative(j) > derivative(best)) best = j;
    if (probability[j]! > floor && (worst < 0 || derivative(j) < derivative(worst))) worst = j;
  }
  const gain = derivative(best) / total;
  if (gain > TOLERANCE && worst !== best) exchange(probability, rows, { from: worst, to: best, floor });
  return gain;
}

/**
 * Nonparametric maximum-likelihood estimate of the survival from lives of every kind.
 *
 * @param observations at least one
 * @returns innermost intervals in order, with their probabilities (they sum to 1) and the survival after each;
 *   intervals without probability are left out
 * @throws {RangeError} if there is no observation or one is outside its range
 * @throws {ConvergenceError} if the likelihood can still gain after very many steps
 */
export function turnbullEstimate(observations: readonly LifeObservation[]): TurnbullInterval[] {
  if (observations.length === 0) throw new RangeError("turnbullEstimate requires at least one observation");
  const rows = observations.map(rowOf);
  const masses = innermost(rows);
  const reaches = rows.map((row) => reachOf(row, masses));
  const total = rows.reduce((sum, { count }) => sum + count, 0);
  const probability = new Float64Array(masses.length).fill(1 / masses.length);
  let iterations = 0;
  while (improve(probability, reaches, total) > TOLERANCE) {
    iterations += 1;
    if (iterations === MAX_ITERATIONS) {
      throw new ConvergenceError(
        "turnbullEstimate did not settle; fit a life distribution instead, or join neighbouring intervals",
        iterations,
      );
    }
  }
  let survivalAfter = 1;
  return masses
    .map(({ open, close }, j) => {
      survivalAfter = Math.max(0, survivalAfter - probability[j]!);
      return { from: open.age, to: close.age, probability: probability[j]!, survivalAfter };
    })
    .filter(({ probability: mass }) => mass > 1e-9);
}
