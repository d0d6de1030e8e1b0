import { requireWhole, trimTail } from "./discrete.ts";

/** Chance of a life of at most t; never falls, 0 at t = 0. */
export type Cdf = (t: number) => number;

/** Fewest steps on the grid, and how many of them a median life gets when lives are short. */
const LEAST_STEPS = 60;
const STEPS_PER_MEDIAN_LIFE = 30;
const MOST_STEPS = 1200;
const MOST_COUNTS = 5000;

/** A rise of the chance below this is left out: thousands of them stay below 1e-15. */
const NEGLIGIBLE = 1e-19;

/**
 * Law of the number of replacements of one position within a horizon: the first life has law `firstCdf`,
 * all later lives `laterCdf` (a delayed renewal process; Cox 1962).
 *
 * P(N >= k) = H_k(horizon), H_1 = firstCdf, H_(k+1)(t) = integral of laterCdf(t - u) dH_k(u), on a grid by the
 * midpoint rule (Xie 1989) for m and 2 m steps, combined as (4 A(2 m) - A(m)) / 3. For smooth laws the error in
 * P(N >= k) is below 1e-7 with the default steps. Where `laterCdf` jumps, or rises from 0 with infinite density,
 * it is of the order of one step: give more steps, or use `latticeRenewalCounts` for lives that end on a lattice.
 *
 * @param input.horizon use ahead, above or equal 0, in the unit of the lives
 * @param input.steps steps m of the coarser grid, at least 8; chosen from the median later life if not given
 * @param input.tail counts with P(N >= k) below this are left out, default 1e-12
 * @returns element k of `probabilities` is the chance of exactly k; mean and variance of the count
 * @throws {RangeError} if the horizon is negative or not finite, steps or tail is out of range, or a cdf leaves [0, 1]
 */
export function renewalCounts(input: {
  firstCdf: Cdf;
  laterCdf: Cdf;
  horizon: number;
  steps?: number;
  tail?: number;
}): { probabilities: number[]; mean: number; variance: number } {
  const { horizon, ...rest } = input;
  const tails = countTails("renewalCounts", { ...rest, horizons: [horizon] })[0]!;
  let mean = 0;
  let second = 0;
  for (let k = 1; k <= tails.length; k++) {
    mean += tails[k - 1]!;
    second += (2 * k - 1) * tails[k - 1]!;
  }
  return { probabilities: fromTails(tails), mean, variance: Math.max(0, second - mean * mean) };
}

/**
 * The same for several horizons on one grid, at little more than the cost of the longest.
 *
 * @returns one law per horizon, in the order given
 * @throws {RangeError} as `renewalCounts`
 */
export function renewalCountsThrough(input: {
  firstCdf: Cdf;
  laterCdf: Cdf;
  horizons: readonly number[];
  steps?: number;
  tail?: number;
}): { horizon: number; probabilities: number[] }[] {
  const tails = countTails("renewalCountsThrough", input);
  return input.horizons.map((horizon, i) => ({ horizon, probabilities: fromTails(tails[i]!) }));
}

/**
 * Expected number of replacements M(horizon) of a position that starts with a new life.
 *
 * M(t) = cdf(t) + integral of M(t - u) dcdf(u) by forward substitution on the midpoint grid (Xie 1989), for m and
 * 2 m steps, combined as (4 A(2 m) - A(m)) / 3.
 *
 * @throws {RangeError} as `renewalCounts`
 */
export function renewalFunction(input: { cdf: Cdf; horizon: number; steps?: number }): number {
  const { cdf, horizon } = input;
  const steps = checkedSteps("renewalFunction", cdf, [horizon], input.steps);
  if (horizon === 0) return 0;
  const coarse = renewalFunctionOnGrid(cdf, horizon, steps);
  return Math.max(0, (4 * renewalFunctionOnGrid(cdf, horizon, 2 * steps) - coarse) / 3);
}

/**
 * Expected replacements in each of the first `periods` periods when lives are whole numbers of periods:
 * u_n = first_n + sum over i < n of u_(n-i) later_i (Feller 1968, chapter XIII).
 *
 * @param input.life element i - 1 is the chance of a life of exactly i periods; may sum to less than 1
 * @param input.firstLife the same for the life in place at the start, default `life`
 * @returns element n - 1 belongs to period n
 * @throws {RangeError} if a chance is below 0, a sum is above 1, or periods is not a whole number of at least 0
 */
export function discreteRenewal(input: {
  life: readonly number[];
  firstLife?: readonly number[];
  periods: number;
}): number[] {
  const { life, firstLife = life, periods } = input;
  requireWhole("discreteRenewal", "periods", periods, 0);
  requirePartialLaw("discreteRenewal", life);
  requirePartialLaw("discreteRenewal", firstLife);
  const expected: number[] = [];
  for (let n = 1; n <= periods; n++) {
    let sum = firstLife[n - 1] ?? 0;
    for (let i = 1; i < n && i <= life.length; i++) sum += expected[n - 1 - i]! * life[i - 1]!;
    expected.push(sum);
  }
  return expected;
}

/**
 * Law of the number of replacements in `periods` periods when lives are whole numbers of periods, as where parts
 * are looked at and replaced only between periods. Exact.
 *
 * @param input.life element i - 1 is the chance of a life of exactly i periods; may sum to less than 1
 * @param input.firstLife the same for the life in place at the start, default `life`
 * @throws {RangeError} as `discreteRenewal`
 */
export function latticeRenewalCounts(input: {
  life: readonly number[];
  firstLife?: readonly number[];
  periods: number;
}): number[] {
  const { life, firstLife = life, periods } = input;
  requireWhole("latticeRenewalCounts", "periods", periods, 0);
  requirePartialLaw("latticeRenewalCounts", life);
  requirePartialLaw("latticeRenewalCounts", firstLife);
  const tails: number[] = [];
  // Element n is the chance that replacement k falls in period n.
  let at = [0, ...firstLife.slice(0, periods)];
  for (let k = 1; k <= periods; k++) {
    tails.push(
      Math.min(
        1,
        at.reduce((sum, chance) => sum + chance, 0),
      ),
    );
    const next = new Array<number>(periods + 1).fill(0);
    for (let n = 0; n < at.length; n++) {
      for (let i = 1; i <= life.length && n + i <= periods; i++) next[n + i]! += at[n]! * life[i - 1]!;
    }
    at = next;
  }
  return fromTails(tails);
}

/** P(N >= k) for k = 1, 2, … at each horizon. */
function countTails(
  caller: string,
  input: { firstCdf: Cdf; laterCdf: Cdf; horizons: readonly number[]; steps?: number; tail?: number },
): number[][] {
  const { firstCdf, laterCdf, horizons, tail = 1e-12 } = input;
  if (!(tail > 0 && tail < 1)) throw new RangeError(`${caller} requires a tail in (0, 1), got ${tail}`);
  const steps = checkedSteps(caller, laterCdf, horizons, input.steps);
  const longest = Math.max(0, ...horizons);
  if (longest === 0) return horizons.map(() => []);
  const coarse = tailsOnGrid(caller, { firstCdf, laterCdf, horizons, longest, steps, tail });
  const fine = tailsOnGrid(caller, { firstCdf, laterCdf, horizons, longest, steps: 2 * steps, tail });
  return horizons.map((_, i) => extrapolate(coarse[i]!, fine[i]!, tail));
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

function tailsOnGrid(
  caller: string,
  grid: {
    firstCdf: Cdf;
    laterCdf: Cdf;
    horizons: readonly number[];
    longest: number;
    steps: number;
    tail: number;
  },
): number[][] {
  const { firstCdf, laterCdf, horizons, longest, steps, tail } = grid;
  const width = longest / steps;
  const probability = (cdf: Cdf, t: number) => {
    const value = cdf(t);
    if (!(value >= -1e-12 && value <= 1 + 1e-12)) {
      throw new RangeError(`${caller} requires a cdf in [0, 1], got ${value} at ${t}`);
    }
    return value;
  };
  const half = Float64Array.from({ length: steps }, (_, i) => probability(laterCdf, (i + 0.5) * width));
  const ends = horizons.map((horizon) => endOf(horizon, width, steps, (t) => probability(laterCdf, t)));
  let cumulative = Float64Array.from({ length: steps + 1 }, (_, i) => probability(firstCdf, i * width));
  let atEnds = horizons.map((horizon) => probability(firstCdf, horizon));
  const atStart = cumulative[0]!;
  cumulative = cumulative.map((value) => value - atStart);
  atEnds = atEnds.map((value) => Math.max(0, value - atStart));
  const tails: number[][] = horizons.map(() => []);
  const rises = new Float64Array(steps);
  for (let k = 1; k <= MOST_COUNTS; k++) {
    for (let i = 0; i < atEnds.length; i++) tails[i]!.push(atEnds[i]!);
    if (cumulative[steps]! < tail) return tails;
    for (let j = 0; j < steps; j++) rises[j] = cumulative[j + 1]! - cumulative[j]!;
    atEnds = ends.map((end, i) => end.next(rises, cumulative, atEnds[i]!));
    cumulative = nextCumulative(rises, half);
  }
  throw new RangeError(`${caller} requires a horizon of fewer than ${MOST_COUNTS} lives`);
}

function nextCumulative(rises: Float64Array, half: Float64Array): Float64Array<ArrayBuffer> {
  const steps = rises.length;
  const next = new Float64Array(steps + 1);
  // Where replacement k practically cannot fall, nothing is added: for long horizons most of the work is saved.
  let from = 0;
  while (from < steps && Math.abs(rises[from]!) < NEGLIGIBLE) from++;
  let to = steps;
  while (to > from && Math.abs(rises[to - 1]!) < NEGLIGIBLE) to--;
  for (let i = from + 1; i <= steps; i++) {
    let sum = 0;
    for (let j = from; j < i && j < to; j++) sum += half[i - 1 - j]! * rises[j]!;
    next[i] = sum;
  }
  return next;
}

/**
 * A horizon need not lie on the grid: it takes the whole steps below it, and the rest of one step with its own
 * midpoint. So the same rule, with the same order of error, serves every horizon.
 */
function endOf(horizon: number, width: number, steps: number, laterCdf: Cdf) {
  const whole = Math.min(steps, Math.floor((horizon / width) * (1 + 1e-13)));
  const rest = Math.max(0, horizon - whole * width);
  const weights = Float64Array.from({ length: whole }, (_, j) => laterCdf(horizon - (j + 0.5) * width));
  const restWeight = laterCdf(rest / 2);
  return {
    next(rises: Float64Array, cumulative: Float64Array, atEnd: number): number {
      let sum = restWeight * Math.max(0, atEnd - cumulative[whole]!);
      for (let j = 0; j < whole; j++) sum += weights[j]! * rises[j]!;
      return sum;
    },
  };
}

function renewalFunctionOnGrid(cdf: Cdf, horizon: number, steps: number): number {
  const width = horizon / steps;
  const half = Float64Array.from({ length: steps }, (_, i) => cdf((i + 0.5) * width));
  const rises = new Float64Array(steps + 1);
  let previous = 0;
  for (let i = 1; i <= steps; i++) {
    let sum = cdf(i * width) - half[0]! * previous;
    for (let j = 1; j < i; j++) sum += half[i - j]! * rises[j]!;
    const value = sum / (1 - half[0]!);
    rises[i] = value - previous;
    previous = value;
  }
  return previous;
}

function checkedSteps(caller: string, cdf: Cdf, horizons: readonly number[], steps?: number): number {
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

function requirePartialLaw(caller: string, chances: readonly number[]): void {
  let sum = 0;
  for (const chance of chances) {
    if (!(chance >= 0)) throw new RangeError(`${caller} requires chances that are not below 0`);
    sum += chance;
  }
  if (!(sum <= 1 + 1e-9))
    throw new RangeError(`${caller} requires chances that sum to at most 1, got ${sum}`);
}

/** From P(N >= 1), P(N >= 2), … to P(N = 0), P(N = 1), …; rounding may not make a tail rise. */
function fromTails(tails: readonly number[]): number[] {
  const probabilities: number[] = [];
  let above = 1;
  for (const tail of tails) {
    const next = Math.min(above, tail);
    probabilities.push(above - next);
    above = next;
  }
  return trimTail([...probabilities, above], 1e-300);
}
