/** Posterior of the hyper-parameters of a line, and its mode. */
import { inverseOf, minimise } from "./optimise.ts";
import { findGross } from "./wear-gross.ts";
import { LineLikelihood } from "./wear-likelihood.ts";
import type { GrossSet } from "./wear-path.ts";
import { hyperFrom, logSlope } from "./wear-hyper.ts";
import { BASE_DIMENSIONS, type ScaledPiece, type ScaledPrior } from "./wear-scale.ts";
import type { WearHyper } from "./wear-types.ts";

/** The choice of gross readings is looked at again after each search, at most this often. */
const ROUNDS = 3;
/**
 * After a search that moved the mode by less, in standard deviations of the prior, they stay as they are; the second is for
 * one that began at the mode of many of the pieces. Measured with one reading in twenty wrong: another look then moves
 * quantiles of what is left by 0.03 % of their 80 % range (root mean square).
 */
const LITTLE = 0.1;
const LITTLE_FROM_MANY = 0.3;
const MANY_PIECES = 200;
/** A cold search begins with this many pieces. */
const FEW_PIECES = 8;
/** The search ends where a further step would raise the log posterior by less: a fiftieth of a standard deviation. */
const MODE_TOLERANCE = 2e-4;

/** Whether two choices of gross readings name the same readings. */
const sameSets = (a: readonly GrossSet[], b: readonly GrossSet[]): boolean =>
  a.length === b.length &&
  a.every(({ added }, i) => (added === null) === (b[i]!.added === null) && sameFlags(added, b[i]!.added));

function sameFlags(a: Float64Array | null, b: Float64Array | null): boolean {
  if (a === null || b === null) return true;
  return a.every((v, j) => v > 0 === b[j]! > 0);
}

/** The rate's spread over pieces together with what is unknown of the line's own level. */
export function widened(hyper: WearHyper, levelSd: number): WearHyper {
  return { ...hyper, spread: Math.hypot(hyper.spread, levelSd) };
}

/** What is left unknown of the line's level, roughly: one piece tells as much as its own spread lets it. */
export function levelSd(pieces: number, prior: ScaledPrior): number {
  const spread = Math.exp(prior.centre[1]!);
  return 1 / Math.sqrt(1 / prior.sd[0]! ** 2 + pieces / spread ** 2);
}

interface Slopes {
  value: number;
  gradient: number[];
  outer: number[][];
}

/** Minus the log of the posterior density of the hyper-parameters, in standardised coordinates. */
export class Posterior {
  readonly #line: LineLikelihood;
  readonly #scaled: ScaledPrior;
  readonly #index: readonly number[];
  readonly #slopes: Float64Array;
  readonly #outer: Float64Array;
  #last: (Slopes & { x: number[] }) | undefined;

  constructor(
    pieces: readonly ScaledPiece[],
    sets: readonly (readonly GrossSet[])[],
    scaled: ScaledPrior,
    index: readonly number[],
  ) {
    const dimensions = scaled.centre.length;
    this.#line = new LineLikelihood(pieces, sets, dimensions - BASE_DIMENSIONS);
    this.#scaled = scaled;
    this.#index = index;
    this.#slopes = new Float64Array(dimensions);
    this.#outer = new Float64Array(dimensions * dimensions);
  }

  /** The value alone, at hyper-parameters already known; the log-likelihood of each piece is left in `rows`. */
  at(x: readonly number[], hyper: WearHyper, rows: Float64Array): number {
    return this.#withPrior(x, this.#line.values(hyper, rows));
  }

  /** Value and gradient, and the sum of the outer products of the gradients of pieces and prior; the last are kept. */
  both(x: readonly number[]): Slopes {
    if (this.#last === undefined || this.#last.x.some((xi, i) => xi !== x[i]))
      this.#last = { x: x.slice(), ...this.#bothAt(x) };
    return this.#last;
  }

  #bothAt(x: readonly number[]): Slopes {
    const log = this.#line.gradient(hyperFrom(this.#scaled, x, this.#index), this.#slopes, this.#outer);
    const d = this.#scaled.centre.length;
    const units = x.map((xi, i) => logSlope(this.#scaled, this.#index[i]!, xi));
    return {
      value: this.#withPrior(x, log),
      gradient: x.map((xi, i) => xi - units[i]! * this.#slopes[this.#index[i]!]!),
      outer: x.map((_, i) =>
        x.map((__, j) => {
          const sum = this.#outer[this.#index[i]! * d + this.#index[j]!]!;
          return Number(i === j) + units[i]! * units[j]! * sum;
        }),
      ),
    };
  }

  #withPrior(x: readonly number[], log: number): number {
    let sum = -log;
    for (const xi of x) sum += 0.5 * xi * xi;
    return Number.isFinite(sum) ? sum : Infinity;
  }
}

interface Found {
  mode: number[];
  sets: GrossSet[][];
  posterior: Posterior;
}

/**
 * Mode of the posterior, and the choices of gross readings that go with it. A line of many pieces is first searched
 * through by a few of them, then by more: from there the scatter of the gradients shows the way, and few steps with
 * all pieces are left.
 */
export function search(
  seen: readonly ScaledPiece[],
  scaled: ScaledPrior,
  index: readonly number[],
  start: number[],
): Found {
  let mode = start;
  let known = 0;
  if (start.every((x) => x === 0))
    for (let some = FEW_PIECES; some < seen.length / 2; some *= 5) {
      const sample = Array.from({ length: some }, (_, i) => seen[Math.floor((i * seen.length) / some)]!);
      ({ mode } = searchAll(sample, scaled, index, mode, known, false));
      known = some;
    }
  return searchAll(seen, scaled, index, mode, known, true);
}

/** The choices of gross readings of all pieces, the rate of the line known as well as `known` pieces tell. */
function grossOf(
  seen: readonly ScaledPiece[],
  scaled: ScaledPrior,
  index: readonly number[],
  mode: readonly number[],
  known: number,
): GrossSet[][] {
  const hyper = widened(hyperFrom(scaled, mode, index), levelSd(known, scaled));
  return seen.map((piece) => findGross(piece, hyper));
}

/**
 * @param known how many of the pieces the start was found with
 * @param exact whether the mode is to be that of the choices found last, and not only of the same readings taken for gross
 */
function searchAll(
  seen: readonly ScaledPiece[],
  scaled: ScaledPrior,
  index: readonly number[],
  start: number[],
  known: number,
  exact: boolean,
): Found {
  const little = known < MANY_PIECES ? LITTLE : LITTLE_FROM_MANY;
  let mode = start;
  let sets = grossOf(seen, scaled, index, mode, known);
  let posterior = new Posterior(seen, sets, scaled, index);
  for (let round = 0; round < ROUNDS && seen.length > 0; round++) {
    const from = mode;
    mode = climb(posterior, mode);
    if (mode.every((x, i) => Math.abs(x - from[i]!) < little)) break;
    const next = grossOf(seen, scaled, index, mode, seen.length);
    const same = next.every((set, i) => sameSets(set, sets[i]!));
    const ordinary = same && next.every((set) => set.every(({ added }) => added === null));
    if (ordinary || (same && !exact)) break;
    sets = next;
    posterior = new Posterior(seen, sets, scaled, index);
    if (same) break;
  }
  return { mode, sets, posterior };
}

/** Mode by BFGS, its first matrix of second derivatives from the scatter of the gradients of the pieces. */
function climb(posterior: Posterior, from: readonly number[]): number[] {
  const start = Number.isFinite(posterior.both(from).value) ? from : from.map(() => 0);
  const inverse = inverseOf(posterior.both(start).outer);
  return minimise((x) => posterior.both(x).value, start, {
    gradient: (x) => posterior.both(x).gradient,
    gradientTolerance: 1e-2,
    valueTolerance: MODE_TOLERANCE,
    maxIterations: 60,
    ...(inverse === undefined ? {} : { inverse }),
  }).x;
}
