/** Observations of lives, and their packed form: logarithms of ages in typed arrays, one set per kind. */

/**
 * One observed life, or several alike (`count`, a positive number, 1 if absent). Ages are in one unit and > 0,
 * except that a running item may be at 0 and an interval may begin at 0.
 *
 * - `failed`: failed at exactly age `at`.
 * - `running`: still alive at age `at` (right-censored), also when taken away for another reason.
 * - `between`: failed at an unknown age after `from` and up to `to` (interval-censored).
 * - `before`: found failed at age `at` (left-censored).
 * - `enteredAt`: came under observation alive at that age (left truncation), for instance second-hand.
 */
export type LifeObservation =
  | { kind: "failed"; at: number; count?: number; enteredAt?: number }
  | { kind: "running"; at: number; count?: number; enteredAt?: number }
  | { kind: "between"; from: number; to: number; count?: number; enteredAt?: number }
  | { kind: "before"; at: number; count?: number };

/** Logarithms of ages with their counts. */
export type PackedAges = { logAge: Float64Array; count: Float64Array };

export type PackedLives = {
  failed: PackedAges;
  running: PackedAges;
  before: PackedAges;
  entered: PackedAges;
  between: { logFrom: Float64Array; logTo: Float64Array; count: Float64Array };
  /** Number of lives of each kind, counts included. */
  totals: { failed: number; running: number; between: number; before: number };
  /** Log-likelihood that does not depend on the parameters: -Σ ln(age) over exact failures, Σ ln(width) as below. */
  constant: number;
};

/**
 * An interval narrower than this share of its end is taken as an exact failure at its middle, density times
 * width: the difference of two survivals so close would keep no digits.
 */
const NARROW = 1e-9;

function requireObservedAge(name: string, field: string, age: number): void {
  if (!(age > 0 && age < Infinity))
    throw new RangeError(`${name} requires a finite ${field} > 0, got ${age}`);
}

function countOf(name: string, { count = 1 }: { count?: number }): number {
  if (!(count > 0 && count < Infinity))
    throw new RangeError(`${name} requires a finite count > 0, got ${count}`);
  return count;
}

/** Earliest age at which the observation says anything about failure. */
function startOf(observation: Exclude<LifeObservation, { kind: "before" }>): number {
  return observation.kind === "between" ? observation.from : observation.at;
}

/** Logarithm of the age of entry, or -Infinity when the item was seen from new. */
function logEntry(name: string, observation: LifeObservation): number {
  if (observation.kind === "before" || !observation.enteredAt) return -Infinity;
  const { enteredAt } = observation;
  const start = startOf(observation);
  if (!(enteredAt >= 0 && enteredAt <= start)) {
    throw new RangeError(
      `${name} requires enteredAt between 0 and the observed age ${start}, got ${enteredAt}`,
    );
  }
  return Math.log(enteredAt);
}

/** Growing list of (log age, count) pairs; ends as exact-size typed arrays. */
class AgeList {
  logAge: Float64Array;
  count: Float64Array;
  size = 0;
  total = 0;

  constructor(capacity: number) {
    this.logAge = new Float64Array(capacity);
    this.count = new Float64Array(capacity);
  }

  add(logAge: number, count: number): void {
    this.logAge[this.size] = logAge;
    this.count[this.size] = count;
    this.size += 1;
    this.total += count;
  }

  packed(): PackedAges {
    return { logAge: this.logAge.subarray(0, this.size), count: this.count.subarray(0, this.size) };
  }
}

/**
 * Checks the observations and packs them for the likelihood.
 *
 * @param name the calling function, for its error messages
 * @throws {RangeError} if an age, a count or an entry is outside its range
 */
export function packLives(name: string, observations: readonly LifeObservation[]): PackedLives {
  const failed = new AgeList(observations.length);
  const running = new AgeList(observations.length);
  const before = new AgeList(observations.length);
  const entered = new AgeList(observations.length);
  const from = new AgeList(observations.length);
  const to = new AgeList(observations.length);
  let constant = 0;
  let narrow = 0;
  for (const observation of observations) {
    const count = countOf(name, observation);
    if (observation.kind === "between") {
      const { from: lower, to: upper } = observation;
      requireObservedAge(name, "to", upper);
      if (!(lower >= 0 && lower < upper)) {
        throw new RangeError(`${name} requires 0 <= from < to, got from ${lower} to ${upper}`);
      }
      if (lower === 0) before.add(Math.log(upper), count);
      else if (upper - lower < NARROW * upper) {
        const middle = Math.log(lower + (upper - lower) / 2);
        failed.add(middle, count);
        narrow += count;
        constant += count * (Math.log(upper - lower) - middle);
      } else {
        from.add(Math.log(lower), count);
        to.add(Math.log(upper), count);
      }
    } else if (observation.kind === "running" && observation.at === 0) {
      // Not used yet: it says nothing of the life, but it is one of the items.
      running.total += count;
    } else {
      requireObservedAge(name, "at", observation.at);
      const logAge = Math.log(observation.at);
      if (observation.kind === "failed") {
        failed.add(logAge, count);
        constant -= count * logAge;
      } else if (observation.kind === "running") running.add(logAge, count);
      else before.add(logAge, count);
    }
    const entry = logEntry(name, observation);
    if (entry > -Infinity) entered.add(entry, count);
  }
  return {
    failed: failed.packed(),
    running: running.packed(),
    before: before.packed(),
    entered: entered.packed(),
    between: { logFrom: from.packed().logAge, logTo: to.packed().logAge, count: to.packed().count },
    totals: {
      failed: failed.total - narrow,
      running: running.total,
      between: to.total + narrow,
      before: before.total,
    },
    constant,
  };
}
