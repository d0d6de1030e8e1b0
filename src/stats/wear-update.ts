/** A fit after a few more readings: its points weighted anew, as far as they still lie where the posterior does. */
import { findGross } from "./wear-gross.ts";
import { LineLikelihood } from "./wear-likelihood.ts";
import { preparePiece } from "./wear-middle.ts";
import { BASE_DIMENSIONS, requireThat, type ScaledPiece, scalePrior } from "./wear-scale.ts";
import { thinnedWeights } from "./wear-thin.ts";
import { wearFitVersion, type WearLineFit, type WearPiece, type WearPrior } from "./wear-types.ts";

/**
 * Weights that are worth fewer equal ones than this call for new points. A new fit has 50 to 120 with a few pieces, 27 from
 * 500 pieces on. Measured over lines of five pieces that grow by two readings each: quantiles of what is left are then off by
 * 2.6 % of their 80 % range (root mean square). A higher threshold makes more new fits, and hardly mends it.
 */
const LEAST_EFFECTIVE = 20;
/**
 * The weights never drift, however often they are changed: each is the whole posterior over the density that the point
 * was drawn from. But which readings of the other pieces are gross was decided when the points were made.
 */
const MOST_UPDATES = 50;

/**
 * An update goes on with so many of the points: the others of a new fit have little weight and cost as much as any. Measured
 * on lines of 3 to 10 pieces: quantiles of what is left are off by 1.4 % of their 80 % range then, beside 0.7 % with all points.
 */
const MOST_POINTS = 96;

/** With fewer readings behind the points than this for each piece that has changed, an update is not tried. */
const READINGS_PER_CHANGE = 4;

const word = new Float64Array(1);
const halves = new Uint32Array(word.buffer);
let low = 0;
let high = 0;

function mixIn(value: number | undefined): void {
  word[0] = value ?? Number.NaN;
  low = Math.imul(low ^ halves[0]!, 0x01000193) ^ (low >>> 15);
  high = Math.imul(high ^ halves[1]! ^ low, 0xcc9e2d51) ^ (high >>> 13);
  low ^= high;
}

/** A number of 53 bits that changes with anything that is known of a piece but its id. */
export function fingerprintOf(piece: WearPiece): number {
  low = 0x9e3779b9;
  high = 0x85ebca6b;
  mixIn(piece.limit);
  mixIn(piece.startSd);
  mixIn(piece.priorUsageSd);
  for (const { usage, exposures, wear, sd, grade } of piece.observations) {
    mixIn(usage);
    mixIn(wear);
    if (sd !== undefined || grade !== undefined) {
      mixIn(sd);
      mixIn(grade);
    }
    if (exposures !== undefined) for (const exposure of exposures) mixIn(exposure);
  }
  mixIn(piece.observations.length);
  return (high >>> 11) * 2 ** 32 + (low >>> 0);
}

/** Six decimals of a log-likelihood are more than the points are worth. */
export const roundedLog = (x: number): number => Math.round(x * 1e6) / 1e6;

/** Eight digits are more than the points are worth, and halve the size of the stored fit. */
export function digits(x: number): number {
  let unit = 1e7;
  let size = Math.abs(x);
  for (; size < 1 && unit < 1e22; size *= 10) unit *= 10;
  for (; size >= 10 && unit > 1; size /= 10) unit /= 10;
  return Math.round(x * unit) / unit;
}

type FittedPiece = WearLineFit["pieces"][number];

/** What has changed since a fit: pieces with other readings or none before, and those that are gone. */
interface Changes {
  rows: FittedPiece[];
  changed: { place: number; piece: WearPiece; before: FittedPiece | undefined }[];
  gone: FittedPiece[];
}

function changesSince(fit: WearLineFit, pieces: readonly WearPiece[]): Changes {
  const changed: Changes["changed"] = [];
  let known: Map<string, FittedPiece> | undefined;
  const rows = pieces.map((piece, place) => {
    let before = fit.pieces[place];
    if (before?.id !== piece.id) {
      known ??= new Map(fit.pieces.map((row) => [row.id, row]));
      before = known.get(piece.id);
    }
    const fingerprint = fingerprintOf(piece);
    if (before?.fingerprint === fingerprint) return before;
    changed.push({ place, piece, before });
    return { id: piece.id, readings: 0, fingerprint, logLikelihood: [] };
  });
  // Where every piece stands where it stood, none is gone, and none is there twice.
  if (known === undefined && rows.length === fit.pieces.length) return { rows, changed, gone: [] };
  const ids = new Set(pieces.map(({ id }) => id));
  requireThat(ids.size === pieces.length, "updateWearLine requires distinct piece ids");
  return { rows, changed, gone: fit.pieces.filter(({ id }) => !ids.has(id)) };
}

/**
 * The fit of a line after a few of its pieces were read again, came or went, from an earlier fit: the likelihood of
 * those pieces alone is worked out at the points of the fit, and the points are weighted anew (importance sampling). It
 * costs a small part of a fit.
 *
 * @param fit an earlier fit of the line
 * @param data all pieces of the line, as for `fitWearLine`
 * @returns undefined where a new fit is called for: the prior, the limit or the conditions met are others, much has
 *   changed, or the weights rest on too few of the points
 * @throws {RangeError} if an argument of a piece that has changed is outside its range, or two ids are the same
 */
export function updateWearLine(
  fit: WearLineFit,
  data: { pieces: WearPiece[]; limit: number },
  prior: WearPrior,
): WearLineFit | undefined {
  const { updates = 0 } = fit;
  if (fit.version !== wearFitVersion || updates >= MOST_UPDATES || data.limit !== fit.scale.wear)
    return undefined;
  if (!sameBelief(prior, fit.prior)) return undefined;
  const { changed, gone, rows: all } = changesSince(fit, data.pieces);
  if (changed.length + gone.length === 0) return fit;
  const most = Math.min(2 + fit.counts.pieces / 10, fit.counts.readings / READINGS_PER_CHANGE);
  if (changed.length + gone.length > most) return undefined;
  const scaled = scalePrior(prior, data.limit, "updateWearLine");
  const { points, at } = fewerPoints(fit);
  const rows = points === fit.points ? all : all.map((row) => atPoints(row, at));
  const gained = new Float64Array(points.length);
  for (const row of gone) subtract(gained, row.logLikelihood, at);
  const out = new Float64Array(1);
  for (const { place, piece, before } of changed) {
    const one = preparePiece(piece, scaled, "updateWearLine");
    if (meetsOthers(one, fit.activeConditions)) return undefined;
    const row = rows[place]!;
    row.readings = one.count;
    if (before !== undefined) subtract(gained, before.logLikelihood, at);
    if (one.count === 0) continue;
    const sets = findGross(one, fit.centre);
    const alone = new LineLikelihood([one], [sets], scaled.centre.length - BASE_DIMENSIONS);
    const logs = new Array<number>(points.length);
    for (let k = 0; k < points.length; k++) logs[k] = roundedLog(alone.values(points[k]!.hyper, out));
    row.logLikelihood = logs;
    for (let k = 0; k < logs.length; k++) gained[k]! += logs[k]!;
  }
  let top = -Infinity;
  for (const gain of gained) if (gain > top) top = gain;
  if (!Number.isFinite(top)) return undefined;
  let total = 0;
  let squares = 0;
  for (let k = 0; k < gained.length; k++) {
    const weight = points[k]!.weight * Math.exp(gained[k]! - top);
    gained[k] = weight;
    total += weight;
    squares += weight * weight;
  }
  // Written so that weights of which none is left count as too few.
  if (!(total * total >= LEAST_EFFECTIVE * squares && squares > 0)) return undefined;
  let readings = 0;
  for (const row of rows) readings += row.readings;
  const perUnit = 1e12 / total;
  return {
    ...fit,
    points: points.map(({ hyper }, k) => ({ hyper, weight: Math.round(perUnit * gained[k]!) / 1e12 })),
    pieces: rows,
    counts: { pieces: rows.length, readings },
    logEvidence: fit.logEvidence + top + Math.log(total),
    updates: updates + 1,
  };
}

/** At most `MOST_POINTS` of the points of a fit, weighted so that they stand for all, and where they stood among them. */
function fewerPoints({ points }: WearLineFit): { points: WearLineFit["points"]; at: readonly number[] } {
  if (points.length <= MOST_POINTS) return { points, at: [...points.keys()] };
  const weights = new Float64Array(points.length);
  for (let k = 0; k < points.length; k++) weights[k] = points[k]!.weight;
  const thinned = thinnedWeights(weights, MOST_POINTS);
  const fewer: WearLineFit["points"] = [];
  const at: number[] = [];
  for (let k = 0; k < thinned.length; k++) {
    if (thinned[k] === 0) continue;
    at.push(k);
    fewer.push({ hyper: points[k]!.hyper, weight: thinned[k]! });
  }
  return { points: fewer, at };
}

function atPoints(row: FittedPiece, at: readonly number[]): FittedPiece {
  const { id, readings, fingerprint, logLikelihood: all } = row;
  if (all.length === 0) return row;
  const logLikelihood = new Array<number>(at.length);
  for (let k = 0; k < at.length; k++) logLikelihood[k] = all[at[k]!]!;
  return fingerprint === undefined
    ? { id, readings, logLikelihood }
    : { id, readings, fingerprint, logLikelihood };
}

function subtract(from: Float64Array, logs: readonly number[], at: readonly number[]): void {
  if (logs.length > 0) for (let k = 0; k < at.length; k++) from[k]! -= logs[at[k]!]!;
}

/** Whether two priors, or parts of them, say the same. */
function sameBelief(a: unknown, b: unknown): boolean {
  if (a === b) return true;
  if (typeof a !== "object" || typeof b !== "object" || a === null || b === null) return false;
  const one = a as Record<string, unknown>;
  const other = b as Record<string, unknown>;
  for (const key in one) if (!sameBelief(one[key], other[key])) return false;
  for (const key in other) if (other[key] !== undefined && one[key] === undefined) return false;
  return true;
}

/** Whether a piece met a condition that no piece had met before. */
function meetsOthers(piece: ScaledPiece, active: readonly number[]): boolean {
  return piece.exposures.some((column, c) => !active.includes(c) && column.some((e) => e > 0));
}
