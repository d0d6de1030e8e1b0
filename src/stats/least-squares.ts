/** Linear least squares by Householder reflections on scaled columns. */
import { studentTQuantile } from "./beta.ts";

export type LeastSquaresFit = {
  coefficients: number[];
  standardErrors: number[];
  /** Square root of the residual sum of squares over (rows - columns); 0 when there are as many columns as rows. */
  residualSd: number;
  /** Share of the variation explained: about the mean if a column is constant, otherwise about zero. */
  rSquared: number;
  degreesOfFreedom: number;
  /** Covariance of the coefficients divided by the residual variance, row by row. */
  unscaledCovariance: number[][];
};

/** Condition beyond which the columns count as linearly dependent, relative to the longest remaining column. */
const DEPENDENT = 1e-14;

/** Length of the part of a vector from index `start`, scaled against overflow. */
function tailLength(v: Float64Array, start: number): number {
  let largest = 0;
  for (let i = start; i < v.length; i += 1) largest = Math.max(largest, Math.abs(v[i]!));
  if (largest === 0) return 0;
  let sum = 0;
  for (let i = start; i < v.length; i += 1) sum += (v[i]! / largest) ** 2;
  return largest * Math.sqrt(sum);
}

/** Reflects `target` by the Householder vector v (rows from `start`), where v·v = 2 · half. */
function reflect(v: Float64Array, target: Float64Array, start: number, half: number): void {
  let sum = 0;
  for (let i = start; i < v.length; i += 1) sum += v[i]! * target[i]!;
  const factor = sum / half;
  for (let i = start; i < v.length; i += 1) target[i]! -= factor * v[i]!;
}

/** Columns divided by their lengths, so that the rank test and the rounding do not depend on units. */
function scaleColumns(columns: readonly (readonly number[])[]): { q: Float64Array[]; lengths: number[] } {
  const q = columns.map((values) => Float64Array.from(values));
  const lengths = q.map((v) => tailLength(v, 0));
  if (lengths.some((length) => length === 0))
    throw new RangeError("leastSquares requires columns that are not all zero");
  q.forEach((v, j) => {
    for (let i = 0; i < v.length; i += 1) v[i]! /= lengths[j]!;
  });
  return { q, lengths };
}

/** Upper triangle R of the factorisation, and the response turned by the same reflections. */
function triangularise(q: Float64Array[], response: Float64Array): number[][] {
  const size = q.length;
  const r = Array.from({ length: size }, () => new Array<number>(size).fill(0));
  for (let j = 0; j < size; j += 1) {
    const v = q[j]!;
    const length = tailLength(v, j);
    if (length < DEPENDENT) throw new RangeError("leastSquares requires linearly independent columns");
    const diagonal = v[j]! > 0 ? -length : length;
    for (let i = 0; i < j; i += 1) r[i]![j] = v[i]!;
    r[j]![j] = diagonal;
    const half = length * (length + Math.abs(v[j]!));
    v[j]! -= diagonal;
    for (let k = j + 1; k < size; k += 1) reflect(v, q[k]!, j, half);
    reflect(v, response, j, half);
  }
  return r;
}

function backSubstitute(r: readonly (readonly number[])[], right: ArrayLike<number>): number[] {
  const solution = new Array<number>(r.length).fill(0);
  for (let i = r.length - 1; i >= 0; i -= 1) {
    let sum = right[i]!;
    for (let k = i + 1; k < r.length; k += 1) sum -= r[i]![k]! * solution[k]!;
    solution[i] = sum / r[i]![i]!;
  }
  return solution;
}

function sumOfSquares(values: ArrayLike<number>, from: number, centre = 0): number {
  let sum = 0;
  for (let i = from; i < values.length; i += 1) sum += (values[i]! - centre) ** 2;
  return sum;
}

function requireDesign(columns: readonly (readonly number[])[], response: readonly number[]): void {
  const rows = response.length;
  if (columns.length === 0 || rows < columns.length) {
    throw new RangeError(
      `leastSquares requires at least one column and as many rows as columns, got ${rows} rows`,
    );
  }
  if (columns.some((values) => values.length !== rows)) {
    throw new RangeError("leastSquares requires columns as long as the response");
  }
  if (![...columns, response].every((values) => values.every(Number.isFinite))) {
    throw new RangeError("leastSquares requires finite numbers");
  }
}

/**
 * Coefficients that make the sum of squared residuals least, with their standard errors.
 *
 * @param columns one array per coefficient, each as long as the response; give a column of ones for an intercept
 * @param response observed values
 * @throws {RangeError} if the columns are fewer than one, longer or shorter than the response, linearly
 *   dependent, or anything is not finite
 */
export function leastSquares(
  columns: readonly (readonly number[])[],
  response: readonly number[],
): LeastSquaresFit {
  requireDesign(columns, response);
  const size = columns.length;
  const { q, lengths } = scaleColumns(columns);
  const turned = Float64Array.from(response);
  const r = triangularise(q, turned);
  const coefficients = backSubstitute(r, turned).map((value, j) => value / lengths[j]!);
  const degreesOfFreedom = response.length - size;
  const residual = sumOfSquares(turned, size);
  const residualSd = degreesOfFreedom === 0 ? 0 : Math.sqrt(residual / degreesOfFreedom);
  const inverse = r.map((_, j) =>
    backSubstitute(
      r,
      r.map((__, i) => (i === j ? 1 : 0)),
    ),
  );
  const unscaledCovariance = r.map((_, i) =>
    r.map(
      (__, j) =>
        inverse.reduce((sum, column) => sum + column[i]! * column[j]!, 0) / lengths[i]! / lengths[j]!,
    ),
  );
  const constant = columns.some((values) => values.every((value) => value === values[0]));
  const centre = constant ? response.reduce((sum, y) => sum + y, 0) / response.length : 0;
  const total = sumOfSquares(response, 0, centre);
  return {
    coefficients,
    standardErrors: unscaledCovariance.map((row, j) => residualSd * Math.sqrt(row[j]!)),
    residualSd,
    rSquared: total === 0 ? 1 : 1 - residual / total,
    degreesOfFreedom,
    unscaledCovariance,
  };
}

export type LinePrediction = {
  value: number;
  /** Interval for the mean of the response. */
  confidence: { low: number; high: number };
  /** Interval for one new response. */
  prediction: { low: number; high: number };
};

/**
 * Prediction from a least-squares fit at one row of the design, with Student t intervals.
 *
 * @param row values of the columns, in their order
 * @param level of both intervals, in (0, 1)
 * @throws {RangeError} if `row` has another length than the fit, `level` is outside its range, or the fit
 *   leaves no degree of freedom
 */
export function predictLeastSquares(
  fit: LeastSquaresFit,
  row: readonly number[],
  level = 0.95,
): LinePrediction {
  if (row.length !== fit.coefficients.length) {
    throw new RangeError(`predictLeastSquares requires ${fit.coefficients.length} values, got ${row.length}`);
  }
  if (!(level > 0 && level < 1))
    throw new RangeError(`predictLeastSquares requires level in (0, 1), got ${level}`);
  if (fit.degreesOfFreedom === 0) throw new RangeError("predictLeastSquares requires more rows than columns");
  const value = row.reduce((sum, x, j) => sum + x * fit.coefficients[j]!, 0);
  const leverage = row.reduce(
    (sum, x, i) => sum + row.reduce((inner, y, j) => inner + x * y * fit.unscaledCovariance[i]![j]!, 0),
    0,
  );
  const t = studentTQuantile((1 + level) / 2, fit.degreesOfFreedom) * fit.residualSd;
  const around = (half: number) => ({ low: value - half, high: value + half });
  return {
    value,
    confidence: around(t * Math.sqrt(leverage)),
    prediction: around(t * Math.sqrt(1 + leverage)),
  };
}
