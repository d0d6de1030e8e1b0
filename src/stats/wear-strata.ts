/** Parts of a fitted line, from the slowest to the fastest wear: what all its pieces share is then drawn once, not once per piece. */
import type { WearHyper, WearLineFit } from "./wear-types.ts";

/** Median usage to the limit in the scaled units of the fit, as a logarithm; the spread over pieces leaves it as it is. */
const logLife = ({ rate, exponent }: WearHyper): number => -Math.log(rate) / exponent;

/**
 * Splits a fit by its hyper-parameters into strata of similar life, each a fit of its own.
 *
 * Within a stratum the pieces of the line are practically independent, so that counts over several pieces may be
 * convolved there and averaged afterwards; the mean over the strata of any forecast is the forecast of the whole fit.
 * The points of the fit are put in the order of their median life and cut into runs of about the same weight.
 *
 * @param strata whole number of at least 1; fewer are given where the fit has fewer points
 * @returns weights that sum to 1, and the fits, longest life first
 * @throws {RangeError} if `strata` is not a whole number of at least 1
 */
export function splitFit(fit: WearLineFit, strata: number): { weight: number; fit: WearLineFit }[] {
  if (!Number.isInteger(strata) || strata < 1)
    throw new RangeError(`splitFit requires a whole number of strata of at least 1, got ${strata}`);
  const total = fit.points.reduce((sum, { weight }) => sum + weight, 0);
  const order = fit.points
    .map((_, i) => i)
    .sort((a, b) => logLife(fit.points[b]!.hyper) - logLife(fit.points[a]!.hyper) || a - b);
  const parts: number[][] = Array.from({ length: strata }, () => []);
  let before = 0;
  for (const i of order) {
    const weight = fit.points[i]!.weight;
    // A point belongs where its middle falls, so that one heavy point does not push the others along.
    const part = Math.min(strata - 1, Math.floor((strata * (before + weight / 2)) / total));
    parts[part]!.push(i);
    before += weight;
  }
  return parts.filter((part) => part.length > 0).map((part) => partOf(fit, part, total));
}

function partOf(fit: WearLineFit, part: readonly number[], total: number) {
  const weight = part.reduce((sum, i) => sum + fit.points[i]!.weight, 0);
  const points = part.map((i) => ({ ...fit.points[i]!, weight: fit.points[i]!.weight / weight }));
  const pieces = fit.pieces.map((piece) => ({
    ...piece,
    logLikelihood: piece.logLikelihood.length === 0 ? [] : part.map((i) => piece.logLikelihood[i]!),
  }));
  return { weight: weight / total, fit: { ...fit, points, pieces } };
}
