/** Fit of a line: hyper-parameters from the readings of all its pieces, as points with weights. */
import { type Design, designPoints, priorPoints } from "./wear-design.ts";
import { levelSd, search, widened } from "./wear-posterior.ts";
import {
  BASE_DIMENSIONS,
  hyperFrom,
  requireThat,
  type ScaledPrior,
  scalePiece,
  scalePrior,
} from "./wear-scale.ts";
import { digits, fingerprintOf, roundedLog, updateWearLine } from "./wear-update.ts";
import {
  type WearHyper,
  wearFitVersion,
  type WearLineFit,
  type WearPiece,
  type WearPrior,
} from "./wear-types.ts";

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
  if (index.length === prior.centre.length || k < 0) return hyperFrom(prior, x, index);
  const rest = prior.centre.map((_, i) => i).filter((i) => !index.includes(i));
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
 * @param options.start an earlier fit of the same line: where little has changed since, its points are weighted anew
 *   (`updateWearLine`); else the search starts from its mode
 * @returns plain JSON
 * @throws {RangeError} if an argument is outside its range or a usage goes backwards
 */
export function fitWearLine(
  data: { pieces: WearPiece[]; limit: number },
  prior: WearPrior,
  options: { start?: WearLineFit } = {},
): WearLineFit {
  const updated = options.start && updateWearLine(options.start, data, prior);
  if (updated !== undefined) return updated;
  const scaled = scalePrior(prior, data.limit, "fitWearLine");
  const pieces = data.pieces.map((piece) => scalePiece(piece, scaled, "fitWearLine"));
  requireThat(
    new Set(pieces.map(({ id }) => id)).size === pieces.length,
    "fitWearLine requires distinct piece ids",
  );
  const active = (prior.conditions ?? [])
    .map((_, c) => c)
    .filter((c) => pieces.some((piece) => piece.exposures[c]?.some((e) => e > 0)));
  const index = [0, 1, 2, 3, 4, 5, ...active.map((c) => BASE_DIMENSIONS + c)];
  const seen = pieces.filter(({ count }) => count > 0);

  const { mode, posterior } = search(seen, scaled, index, startOf(options.start, active, index.length));
  const rows: Float64Array[] = [];
  const hypers: WearHyper[] = [];
  const design =
    seen.length > 0
      ? designPoints(
          {
            value: posterior.value,
            gradient: (x) => posterior.both(x).gradient,
            point: (x, k) => {
              hypers[k] = shortened(hyperAt(scaled, x, index, k));
              rows[k] = new Float64Array(seen.length);
              return posterior.at(x, hypers[k]!, rows[k]!);
            },
          },
          mode,
          seen.length,
        )
      : priorDesign(scaled, index, hypers);
  const places = new Map(seen.map(({ id }, i) => [id, i]));
  return {
    version: wearFitVersion,
    scale: { usage: scaled.usage, wear: scaled.wear },
    prior,
    activeConditions: active,
    mode,
    centre: widened(hyperAt(scaled, mode, index, -1), levelSd(seen.length, scaled)),
    points: design.points.map(({ k, weight }) => ({ hyper: hypers[k]!, weight: digits(weight) })),
    pieces: pieces.map(({ id, count }, place) => {
      const i = places.get(id);
      return {
        id,
        readings: count,
        fingerprint: fingerprintOf(data.pieces[place]!),
        logLikelihood: i === undefined ? [] : design.points.map(({ k }) => roundedLog(rows[k]![i]!)),
      };
    }),
    counts: { pieces: pieces.length, readings: pieces.reduce((sum, { count }) => sum + count, 0) },
    logEvidence: design.logIntegral - 0.5 * index.length * Math.log(2 * Math.PI),
    updates: 0,
  };
}

/** The points of a line without readings. */
function priorDesign(scaled: ScaledPrior, index: readonly number[], hypers: WearHyper[]): Design {
  const points = priorPoints(index.length).map((point, k) => ({ ...point, k }));
  for (const { x, k } of points) hypers[k] = shortened(hyperAt(scaled, x, index, k));
  return { points, logIntegral: 0.5 * index.length * Math.log(2 * Math.PI) };
}

function shortened(hyper: WearHyper): WearHyper {
  return {
    rate: digits(hyper.rate),
    spread: digits(hyper.spread),
    noise: digits(hyper.noise),
    reading: digits(hyper.reading),
    exponent: digits(hyper.exponent),
    bend: digits(hyper.bend),
    multipliers: hyper.multipliers.map(digits),
  };
}

function startOf(start: WearLineFit | undefined, active: readonly number[], dimensions: number): number[] {
  const fits = start?.version === wearFitVersion && start.activeConditions.join() === active.join();
  return fits && start.mode.length === dimensions && start.mode.every(Number.isFinite)
    ? start.mode.slice()
    : new Array<number>(dimensions).fill(0);
}
