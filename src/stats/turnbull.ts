/**
 * Survival without a law for interval-censored and left-truncated lives (Turnbull, 1976).
 *
 * The estimate puts probability on the innermost intervals only, those between a lower end and the next upper
 * end with nothing between; where inside them is not determined. It is found by self-consistency, which is the
 * EM algorithm, until the first-order conditions say how little the likelihood can still gain.
 */
import { ConvergenceError } from "./errors.ts";
import type { LifeObservation } from "./life-data.ts";

/** Probability of failing after `from` and up to `to`; for an exact failure the two are equal, and `to` may be Infinity. */
export type TurnbullInterval = { from: number; to: number; probability: number; survivalAfter: number };

type Row = { lower: number; upper: number; exact: boolean; entry: number; count: number };
/** Range of masses, first and last index, that agree with a row, and the first that agrees with its entry. */
type Reach = { first: number; last: number; entry: number; count: number };

const MAX_ITERATIONS = 50_000;
/** Largest gain per observation, in log-likelihood, that may be left. */
const TOLERANCE = 1e-8;

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

/** One self-consistency step; returns the largest gain per observation that a mass could still bring. */
function improve(probability: Float64Array, rows: readonly Reach[], total: number): number {
  const size = probability.length;
  const sums = new Float64Array(size + 1);
  for (let j = 0; j < size; j += 1) sums[j + 1] = sums[j]! + probability[j]!;
  const inside = new Float64Array(size + 1);
  const unseen = new Float64Array(size + 1);
  let whole = 0;
  for (const { first, last, entry, count } of rows) {
    const share = count / (sums[last + 1]! - sums[first]!);
    inside[first]! += share;
    inside[last + 1]! -= share;
    // Items that failed before they could enter were never seen; they belong to the masses below the entry.
    const observable = count / (sums[size]! - sums[entry]!);
    unseen[0]! += observable;
    unseen[entry]! -= observable;
    whole += observable;
  }
  let seenSum = 0;
  let unseenSum = 0;
  let gain = -Infinity;
  for (let j = 0; j < size; j += 1) {
    seenSum += inside[j]!;
    unseenSum += unseen[j]!;
    gain = Math.max(gain, seenSum - (whole - unseenSum));
    probability[j] = (probability[j]! * (seenSum + unseenSum)) / whole;
  }
  return gain / total;
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
