/** Fit of a line: hyper-parameters from the readings of all its pieces, as points with weights. */
import { minimise } from "./optimise.ts";
import { designPoints, priorPoints } from "./wear-design.ts";
import { findGross } from "./wear-gross.ts";
import { type GrossSet, pieceLogLikelihood } from "./wear-path.ts";
import {
  BASE_DIMENSIONS,
  hyperFrom,
  requireThat,
  type ScaledPiece,
  type ScaledPrior,
  scalePiece,
  scalePrior,
} from "./wear-scale.ts";
import type { WearHyper, WearLineFit, WearPiece, WearPrior } from "./wear-types.ts";

/** The choice of gross readings is looked at again after each search, at most this often. */
const ROUNDS = 3;

/** Whether two choices of gross readings name the same readings. */
const sameSets = (a: readonly GrossSet[], b: readonly GrossSet[]): boolean =>
  a.length === b.length &&
  a.every(({ added }, i) => (added === null) === (b[i]!.added === null) && sameFlags(added, b[i]!.added));

function sameFlags(a: Float64Array | null, b: Float64Array | null): boolean {
  if (a === null || b === null) return true;
  return a.every((v, j) => v > 0 === b[j]! > 0);
}

/** The rate's spread over pieces together with what is unknown of the line's own level. */
function widened(hyper: WearHyper, levelSd: number): WearHyper {
  return { ...hyper, spread: Math.hypot(hyper.spread, levelSd) };
}

/**
 * Van der Corput sequence turned into a normal score: conditions that the data never met keep the whole width of
 * their prior when the points are averaged.
 */
function spreadScore(k: number, condition: number): number {
  const base = [2, 3, 5, 7, 11, 13][condition % 6]!;
  let value = 0;
  let unit = 1 / base;
  for (let i = k + 1; i > 0; i = Math.floor(i / base), unit /= base) value += (i % base) * unit;
  // Logistic approximation of the normal quantile: these multipliers rest on belief only.
  return Math.log(value / (1 - value)) / 1.702;
}

function hyperAt(prior: ScaledPrior, x: readonly number[], index: readonly number[], k: number): WearHyper {
  const rest = prior.centre.map((_, i) => i).filter((i) => !index.includes(i));
  if (rest.length === 0 || k < 0) return hyperFrom(prior, x, index);
  const scores = rest.map((i) => spreadScore(k, i));
  return hyperFrom(prior, [...x, ...scores], [...index, ...rest]);
}

/**
 * Fits a line of alike pieces from the wear readings and grades of all of them.
 *
 * Works with no pieces and no readings at all: then the fit is the prior. Readings far off the trend of their piece
 * are weighed down (two-component reading error). See docs/methods/wear-paths.md.
 *
 * @param data.pieces pieces with their observations in order of usage; ids must differ
 * @param data.limit wear that ends the life of a typical piece, > 0; the unit in which wear is scaled
 * @param prior what is believed of the line before its readings
 * @param options.start an earlier fit of the same line: the search starts from its mode
 * @returns plain JSON
 * @throws {RangeError} if an argument is outside its range or a usage goes backwards
 */
export function fitWearLine(
  data: { pieces: WearPiece[]; limit: number },
  prior: WearPrior,
  options: { start?: WearLineFit } = {},
): WearLineFit {
  const scaled = scalePrior(prior, data.limit, "fitWearLine");
  const pieces = data.pieces.map((piece) => scalePiece(piece, scaled, "fitWearLine"));
  requireThat(
    new Set(pieces.map(({ id }) => id)).size === pieces.length,
    "fitWearLine requires distinct piece ids",
  );
  const active = (prior.conditions ?? [])
    .map((_, c) => c)
    .filter((c) => pieces.some((piece) => piece.exposures[c]?.some((e) => e > 0)));
  const index = [0, 1, 2, 3, 4, ...active.map((c) => BASE_DIMENSIONS + c)];
  const seen = pieces.filter(({ count }) => count > 0);

  let mode = startOf(options.start, active, index.length);
  let sets = grossSets(seen, widened(hyperFrom(scaled, mode, index), scaled.sd[0]!));
  const objective = (x: readonly number[]): number => {
    const hyper = hyperFrom(scaled, x, index);
    let sum = 0;
    for (const xi of x) sum += 0.5 * xi * xi;
    for (let i = 0; i < seen.length; i++) sum -= pieceLogLikelihood(seen[i]!, hyper, sets[i]!);
    return Number.isFinite(sum) ? sum : Infinity;
  };
  for (let round = 0; round < ROUNDS && seen.length > 0; round++) {
    if (!Number.isFinite(objective(mode))) mode = mode.map(() => 0);
    mode = minimise(objective, mode, { step: 1e-3, gradientTolerance: 1e-2, maxIterations: 60 }).x;
    const next = grossSets(seen, widened(hyperFrom(scaled, mode, index), levelSd(seen.length, scaled)));
    const same = next.every((set, i) => sameSets(set, sets[i]!));
    sets = next;
    if (same) break;
  }
  const design =
    seen.length > 0
      ? designPoints(objective, mode, objective(mode))
      : { points: priorPoints(index.length), logIntegral: 0.5 * index.length * Math.log(2 * Math.PI) };
  const points = design.points.map(({ x, weight }, k) => ({
    hyper: shortened(hyperAt(scaled, x, index, k)),
    weight: digits(weight),
  }));
  const rows = new Map(seen.map((piece, i) => [piece.id, { piece, sets: sets[i]! }]));
  return {
    version: 1,
    scale: { usage: scaled.usage, wear: scaled.wear },
    prior,
    activeConditions: active,
    mode,
    centre: widened(hyperAt(scaled, mode, index, -1), levelSd(seen.length, scaled)),
    points,
    pieces: pieces.map(({ id, count }) => {
      const row = rows.get(id);
      return {
        id,
        readings: count,
        logLikelihood: row
          ? points.map(({ hyper }) => digits(pieceLogLikelihood(row.piece, hyper, row.sets)))
          : [],
      };
    }),
    counts: { pieces: pieces.length, readings: pieces.reduce((sum, { count }) => sum + count, 0) },
    logEvidence: design.logIntegral - 0.5 * index.length * Math.log(2 * Math.PI),
  };
}

/** Eight digits are more than the points are worth, and halve the size of the stored fit. */
const digits = (x: number): number => Number(x.toPrecision(8));

function shortened(hyper: WearHyper): WearHyper {
  return {
    rate: digits(hyper.rate),
    spread: digits(hyper.spread),
    noise: digits(hyper.noise),
    reading: digits(hyper.reading),
    exponent: digits(hyper.exponent),
    multipliers: hyper.multipliers.map(digits),
  };
}

/** What is left unknown of the line's level, roughly: one piece tells as much as its own spread lets it. */
function levelSd(pieces: number, prior: ScaledPrior): number {
  const spread = Math.exp(prior.centre[1]!);
  return 1 / Math.sqrt(1 / prior.sd[0]! ** 2 + pieces / spread ** 2);
}

function startOf(start: WearLineFit | undefined, active: readonly number[], dimensions: number): number[] {
  const fits = start !== undefined && start.activeConditions.join() === active.join();
  return fits && start.mode.length === dimensions && start.mode.every(Number.isFinite)
    ? start.mode.slice()
    : new Array<number>(dimensions).fill(0);
}

function grossSets(pieces: readonly ScaledPiece[], hyper: WearHyper): GrossSet[][] {
  return pieces.map((piece) => findGross(piece, hyper));
}
