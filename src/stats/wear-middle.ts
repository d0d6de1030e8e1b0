/** About where the wear of a piece was at each of its readings, whatever the line is like. */
import { leaveOneOut } from "./wear-gross.ts";
import { BASE_DIMENSIONS, type ScaledPiece, type ScaledPrior, scalePiece } from "./wear-scale.ts";
import type { WearHyper, WearPiece } from "./wear-types.ts";

/** The rate of the piece is taken as good as unknown: its readings say it, if they say anything. */
const UNKNOWN_RATE = 1;

/**
 * A piece in scaled units, with the middle of what its own readings say of its wear at each of them: between the reading and
 * what the others predict on a straight path, by their variances. The tangent of a bent scale is taken there. It follows from
 * belief and readings alone, so that it stays the same while the hyper-parameters of the line are looked for.
 *
 * @throws {RangeError} as `scalePiece`
 */
export function preparePiece(piece: WearPiece, prior: ScaledPrior, name: string): ScaledPiece {
  const scaled = scalePiece(piece, prior, name);
  const straight: WearHyper = {
    ...{ rate: 1, spread: UNKNOWN_RATE, noise: Math.exp(prior.centre[2]!), reading: 1, exponent: 1, bend: 0 },
    multipliers: prior.centre.slice(BASE_DIMENSIONS).map(Math.exp),
  };
  if (scaled.count === 0) return scaled;
  const { residual, variance } = leaveOneOut(scaled, straight, null);
  for (let j = 0; j < scaled.count; j++)
    if (scaled.grade[j]! < 0) scaled.middle[j]! -= (scaled.sd[j]! ** 2 / variance[j]!) * residual[j]!;
  return scaled;
}
