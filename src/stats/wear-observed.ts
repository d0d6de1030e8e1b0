/** What was observed of a piece, under given hyper-parameters: its clock, and its wear on the straightened scale. */
import { slopeWhenNew, straightenAll } from "./wear-bend.ts";
import { GRADE_WIDTH } from "./wear-grade.ts";
import type { ScaledPiece } from "./wear-scale.ts";
import type { WearHyper } from "./wear-types.ts";

/** Effective usage at event j of a piece that met conditions. */
export function usageAt(piece: ScaledPiece, j: number, multipliers: readonly number[]): number {
  let usage = piece.base[j]!;
  for (let c = 0; c < piece.exposures.length; c++) usage += multipliers[c]! * piece.exposures[c]![j]!;
  return usage;
}

/** Effective usage raised to the exponent, for each event; written into `lambda` when that is given. */
export function clockOf(
  piece: ScaledPiece,
  hyper: WearHyper,
  lambda: Float64Array = new Float64Array(piece.count),
): Float64Array {
  if (piece.exposures.length === 0) {
    for (let j = 0; j < piece.count; j++) lambda[j] = Math.exp(hyper.exponent * piece.logBase[j]!);
    return lambda;
  }
  for (let j = 0; j < piece.count; j++) {
    const usage = usageAt(piece, j, hyper.multipliers);
    lambda[j] = usage > 0 ? Math.exp(hyper.exponent * Math.log(usage)) : 0;
  }
  return lambda;
}

/** Variance of the wear when the stated usage began: as-new scatter and unknown earlier usage. */
export function startVariance(piece: ScaledPiece, hyper: WearHyper, lambda: Float64Array): number {
  const own = piece.startVariance * slopeWhenNew(hyper.bend) ** 2;
  if (piece.priorUsageSd === 0) return own;
  // The unknown usage is turned into wear by the slope of the clock at the first observation.
  const first = Math.max(lambda[0] ?? 0, piece.priorUsageSd ** hyper.exponent);
  const slope = hyper.exponent * first ** (1 - 1 / hyper.exponent);
  return own + (hyper.rate * slope * piece.priorUsageSd) ** 2;
}

/**
 * Straightens the wear of all events; places and slopes are left in the rooms of the piece, for `normalSd` and for what
 * follows it.
 */
export function straighten(piece: ScaledPiece, { bend }: WearHyper): void {
  straightenAll(piece.value, piece.middle, bend, piece.places, piece.slopes);
}

/** Standard deviation that stands for event j on the straightened scale, after `straighten`. */
export function normalSd(piece: ScaledPiece, j: number, hyper: WearHyper): number {
  const grade = piece.grade[j]!;
  const sd =
    grade < 0 ? piece.sd[j]! * hyper.reading : Math.hypot(piece.sd[j]!, GRADE_WIDTH[grade]!) * piece.limit;
  return piece.slopes[j]! * sd;
}

/** Variance of the same, `added` for a gross reading: that is in units of wear. */
export function normalVariance(
  piece: ScaledPiece,
  j: number,
  hyper: WearHyper,
  added: Float64Array | null,
): number {
  const sd = normalSd(piece, j, hyper);
  return sd * sd + (added === null ? 0 : added[j]! * piece.slopes[j]! * piece.slopes[j]!);
}

/**
 * Log of the slopes of the straightened scale at the readings, after `straighten`: it turns a density on that scale into
 * one of the readings.
 */
export function logSlopes(piece: ScaledPiece): number {
  let product = 1;
  let sum = 0;
  for (let j = 0; j < piece.count; j++) {
    if (piece.grade[j]! >= 0) continue;
    product *= piece.slopes[j]!;
    if (product < 1e-200 || product > 1e200) {
      sum += Math.log(product);
      product = 1;
    }
  }
  return sum + Math.log(product);
}
