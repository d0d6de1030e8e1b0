/** The answer that needs no model: a straight line through the readings, carried on. */
import { linearRegression } from "simple-statistics";

export interface StraightLine {
  intercept: number;
  slope: number;
  /** standard deviation of the points about the line, never below the least one given */
  sd: number;
}

/**
 * Least-squares line through some points, with the spread of the points about it (simple-statistics
 * `linearRegression`). Nothing is added for what is unknown of the line itself: this is the naive answer that other
 * forecasts are compared with.
 *
 * @param points at least two different `x`, finite
 * @param leastSd the spread is never taken as less, and as this where two points leave none, > 0
 * @throws {RangeError} if there are fewer than two different `x`, a number is not finite, or `leastSd` is not > 0
 * @example
 * ```ts
 * straightLine([{ x: 0, y: 0 }, { x: 10, y: 1 }, { x: 20, y: 2 }], 0.1); // => { intercept: 0, slope: 0.1, sd: 0.1 }
 * ```
 */
export function straightLine(points: readonly { x: number; y: number }[], leastSd: number): StraightLine {
  if (!points.every(({ x, y }) => Number.isFinite(x) && Number.isFinite(y)))
    throw new RangeError("straightLine requires finite points");
  if (new Set(points.map(({ x }) => x)).size < 2)
    throw new RangeError("straightLine requires at least two different x");
  if (!(leastSd > 0 && leastSd < Infinity))
    throw new RangeError("straightLine requires a finite leastSd > 0");
  const { m: slope, b: intercept } = linearRegression(points.map(({ x, y }) => [x, y]));
  const squares = points.reduce((sum, { x, y }) => sum + (y - intercept - slope * x) ** 2, 0);
  const spread = points.length > 2 ? Math.sqrt(squares / (points.length - 2)) : 0;
  return { intercept, slope, sd: Math.max(leastSd, spread) };
}
