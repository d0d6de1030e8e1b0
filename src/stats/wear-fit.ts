/** Fit of a line: hyper-parameters from the readings of all its pieces, as points with weights. */
import { levelSd, widened } from "./wear-posterior.ts";
import { preparePiece } from "./wear-middle.ts";
import { BASE_DIMENSIONS, requireThat, scalePrior } from "./wear-scale.ts";
import { shapedPosterior } from "./wear-shapes.ts";
import { wearFitVersion, type WearLineFit, type WearPiece, type WearPrior } from "./wear-types.ts";
import { digits, fingerprintOf, roundedLog, updateWearLine } from "./wear-update.ts";

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
  const pieces = data.pieces.map((piece) => preparePiece(piece, scaled, "fitWearLine"));
  requireThat(
    new Set(pieces.map(({ id }) => id)).size === pieces.length,
    "fitWearLine requires distinct piece ids",
  );
  const active = (prior.conditions ?? [])
    .map((_, c) => c)
    .filter((c) => pieces.some((piece) => piece.exposures[c]?.some((e) => e > 0)));
  const seen = pieces.filter(({ count }) => count > 0);
  const dimensions = BASE_DIMENSIONS + active.length;
  const { mode, centre, points, logEvidence } = shapedPosterior(
    seen,
    scaled,
    active,
    startOf(options.start, active, dimensions),
  );
  // In the order of their rate, so that an update that goes on with some of them takes these from end to end.
  points.sort((a, b) => a.hyper.rate - b.hyper.rate);
  const places = new Map(seen.map(({ id }, i) => [id, i]));
  return {
    version: wearFitVersion,
    scale: { usage: scaled.usage, wear: scaled.wear },
    prior,
    activeConditions: active,
    mode,
    centre: widened(centre, levelSd(seen.length, scaled)),
    points: points.map(({ hyper, weight }) => ({ hyper, weight: digits(weight) })),
    pieces: pieces.map(({ id, count }, place) => {
      const i = places.get(id);
      const logLikelihood: number[] = [];
      if (i !== undefined)
        for (const { logLikelihoods } of points) logLikelihood.push(roundedLog(logLikelihoods[i]!));
      return { id, readings: count, fingerprint: fingerprintOf(data.pieces[place]!), logLikelihood };
    }),
    counts: { pieces: pieces.length, readings: pieces.reduce((sum, { count }) => sum + count, 0) },
    logEvidence,
    updates: 0,
  };
}

function startOf(start: WearLineFit | undefined, active: readonly number[], dimensions: number): number[] {
  const fits = start?.version === wearFitVersion && start.activeConditions.join() === active.join();
  return fits && start.mode.length === dimensions && start.mode.every(Number.isFinite)
    ? start.mode.slice()
    : new Array<number>(dimensions).fill(0);
}
