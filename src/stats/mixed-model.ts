/**
 * Linear mixed model: y = X β + Z b + e for readings in groups, b ~ N(0, Σ) new for each group, e ~ N(0, σ²).
 *
 * The deviance is profiled over β and σ, and minimised over the Cholesky factor of Σ / σ² (Bates, Maechler,
 * Bolker & Walker, 2015). Only cross-products per group enter, so the cost does not grow with the readings.
 */
import { ConvergenceError } from "./errors.ts";
import { leastSquares } from "./least-squares.ts";
import { minimise } from "./optimise.ts";

export type MixedModelData = {
  /** Group of each reading, any key. */
  group: readonly (string | number)[];
  /** Columns of the fixed effects; give a column of ones for an intercept. */
  fixed: readonly (readonly number[])[];
  /** Columns of the random effects. */
  random: readonly (readonly number[])[];
  response: readonly number[];
};

export type MixedModelFit = {
  coefficients: number[];
  standardErrors: number[];
  residualSd: number;
  /** Standard deviation of each random effect between groups; 0 is possible. */
  randomSd: number[];
  randomCovariance: number[][];
  /** Conditional modes of the random effects of each group. */
  groupEffects: Map<string | number, number[]>;
  /** Log-likelihood, or the restricted one for `REML`. */
  logLikelihood: number;
};

/** Cross-products of one group: random with random, fixed, response. */
type GroupProducts = { key: string | number; zz: number[][]; zx: number[][]; zy: number[] };
type Products = { groups: GroupProducts[]; xx: number[][]; xy: number[]; yy: number; rows: number };

function dot(a: readonly number[], b: readonly number[], rows: readonly number[]): number {
  let sum = 0;
  for (const i of rows) sum += a[i]! * b[i]!;
  return sum;
}

/** Lower Cholesky factor; null if the matrix is not positive definite. */
function cholesky(matrix: readonly (readonly number[])[]): number[][] | null {
  const lower = matrix.map((row) => row.map(() => 0));
  for (let i = 0; i < matrix.length; i += 1) {
    for (let j = 0; j <= i; j += 1) {
      let sum = matrix[i]![j]!;
      for (let k = 0; k < j; k += 1) sum -= lower[i]![k]! * lower[j]![k]!;
      if (i === j && !(sum > 0)) return null;
      lower[i]![j] = i === j ? Math.sqrt(sum) : sum / lower[j]![j]!;
    }
  }
  return lower;
}

/** Solves L v = right. */
function forward(lower: readonly (readonly number[])[], right: readonly number[]): number[] {
  const v: number[] = [];
  for (let i = 0; i < right.length; i += 1) {
    let sum = right[i]!;
    for (let k = 0; k < i; k += 1) sum -= lower[i]![k]! * v[k]!;
    v.push(sum / lower[i]![i]!);
  }
  return v;
}

/** Solves L' v = right. */
function backward(lower: readonly (readonly number[])[], right: readonly number[]): number[] {
  const v = [...right];
  for (let i = right.length - 1; i >= 0; i -= 1) {
    for (let k = i + 1; k < right.length; k += 1) v[i]! -= lower[k]![i]! * v[k]!;
    v[i]! /= lower[i]![i]!;
  }
  return v;
}

function logDeterminant(lower: readonly (readonly number[])[]): number {
  return 2 * lower.reduce((sum, row, i) => sum + Math.log(row[i]!), 0);
}

function collect({ group, fixed, random }: MixedModelData, response: readonly number[]): Products {
  const rowsOf = new Map<string | number, number[]>();
  group.forEach((key, i) => {
    const rows = rowsOf.get(key);
    if (rows) rows.push(i);
    else rowsOf.set(key, [i]);
  });
  const all = response.map((_, i) => i);
  const products = (
    left: readonly (readonly number[])[],
    right: readonly (readonly number[])[],
    rows: number[],
  ) => left.map((a) => right.map((b) => dot(a, b, rows)));
  return {
    groups: [...rowsOf].map(([key, rows]) => ({
      key,
      zz: products(random, random, rows),
      zx: products(random, fixed, rows),
      zy: random.map((z) => dot(z, response, rows)),
    })),
    xx: products(fixed, fixed, all),
    xy: fixed.map((x) => dot(x, response, all)),
    yy: dot(response, response, all),
    rows: response.length,
  };
}

/** Lower-triangular factor of Σ / σ² from its entries row by row. */
function factorFrom(theta: readonly number[], size: number): number[][] {
  return Array.from({ length: size }, (_, i) =>
    Array.from({ length: size }, (__, j) => (j <= i ? theta[(i * (i + 1)) / 2 + j]! : 0)),
  );
}

/** Λ' times a vector. */
function timesTransposed(factor: readonly (readonly number[])[], v: readonly number[]): number[] {
  return factor.map((_, j) => factor.reduce((sum, row, i) => sum + row[j]! * v[i]!, 0));
}

type Solved = {
  deviance: number;
  beta: number[];
  fixedFactor: number[][];
  scale2: number;
  groups: { lower: number[][]; cu: number[]; cx: number[][] }[];
};

/** Profiled deviance at one factor, with β and σ² that go with it; null where it is not defined. */
function solve(
  { groups, xx, xy, yy, rows }: Products,
  factor: number[][],
  restricted: boolean,
): Solved | null {
  const size = factor.length;
  const left = xx.map((row) => [...row]);
  const right = [...xy];
  let rest = yy;
  let logDet = 0;
  const solved: Solved["groups"] = [];
  for (const { zz, zx, zy } of groups) {
    const half = factor.map((_, j) =>
      timesTransposed(
        factor,
        zz.map((row) => row[j]!),
      ),
    );
    const inner = factor.map((_, i) =>
      factor.map((__, j) => {
        let sum = i === j ? 1 : 0;
        for (let k = 0; k < size; k += 1) sum += half[k]![i]! * factor[k]![j]!;
        return sum;
      }),
    );
    const lower = cholesky(inner);
    if (!lower) return null;
    const cu = forward(lower, timesTransposed(factor, zy));
    const cx = xx.map((_, j) =>
      forward(
        lower,
        timesTransposed(
          factor,
          zx.map((row) => row[j]!),
        ),
      ),
    );
    for (const value of cu) rest -= value * value;
    cx.forEach((a, i) => {
      a.forEach((value, k) => {
        right[i]! -= value * cu[k]!;
      });
      cx.forEach((b, j) => {
        a.forEach((value, k) => {
          left[i]![j]! -= value * b[k]!;
        });
      });
    });
    logDet += logDeterminant(lower);
    solved.push({ lower, cu, cx });
  }
  const fixedFactor = cholesky(left);
  if (!fixedFactor) return null;
  const turned = forward(fixedFactor, right);
  for (const value of turned) rest -= value * value;
  if (!(rest > 0)) return null;
  const degrees = restricted ? rows - xx.length : rows;
  const deviance =
    logDet +
    (restricted ? logDeterminant(fixedFactor) : 0) +
    degrees * (1 + Math.log((2 * Math.PI * rest) / degrees));
  return {
    deviance,
    beta: backward(fixedFactor, turned),
    fixedFactor,
    scale2: rest / degrees,
    groups: solved,
  };
}

function requireData({ group, fixed, random, response }: MixedModelData): void {
  const lengths = [group.length, ...[...fixed, ...random].map((values) => values.length)];
  if (fixed.length === 0 || random.length === 0 || lengths.some((length) => length !== response.length)) {
    throw new RangeError(
      "fitMixedModel requires fixed and random columns and groups as long as the response",
    );
  }
  if (new Set(group).size < 2) throw new RangeError("fitMixedModel requires at least two groups");
  if (response.length <= fixed.length + random.length) {
    throw new RangeError("fitMixedModel requires more readings than columns");
  }
  if (!random.every((values) => values.every(Number.isFinite) && values.some((value) => value !== 0))) {
    throw new RangeError("fitMixedModel requires finite random columns that are not all zero");
  }
}

/**
 * Fits a linear mixed model with one level of groups.
 *
 * @param data readings with their groups and columns
 * @param method `ML`, or `REML` (restricted: the variances are not biased downwards by the fixed effects)
 * @throws {RangeError} if the columns disagree in length, are dependent or not finite, there are fewer than two
 *   groups or too few readings
 * @throws {ConvergenceError} if the deviance has no minimum inside, for instance readings without any error
 */
export function fitMixedModel(data: MixedModelData, method: "ML" | "REML" = "REML"): MixedModelFit {
  requireData(data);
  const { fixed, random, response } = data;
  // Work on the residuals of a plain fit: sums of squares of a large mean would drown the differences.
  const plain = leastSquares(fixed, response);
  const residual = response.map(
    (y, i) => y - fixed.reduce((sum, x, j) => sum + x[i]! * plain.coefficients[j]!, 0),
  );
  const lengths = random.map((z) => Math.sqrt(z.reduce((sum, value) => sum + value * value, 0) / z.length));
  const scaled = random.map((z, k) => z.map((value) => value / lengths[k]!));
  const products = collect({ ...data, random: scaled }, residual);
  const restricted = method === "REML";
  const size = random.length;
  const start = Array.from({ length: size }, (_, i) =>
    Array.from({ length: i + 1 }, (__, j) => (i === j ? 1 : 0)),
  ).flat();
  const found = minimise(
    (theta) => solve(products, factorFrom(theta, size), restricted)?.deviance ?? Infinity,
    start,
    { maxIterations: 500 },
  );
  const factor = factorFrom(found.x, size);
  const best = solve(products, factor, restricted);
  if (!best || !found.converged) {
    throw new ConvergenceError(
      "fitMixedModel did not settle; use fewer random columns or more groups",
      found.iterations,
    );
  }
  const sigma = Math.sqrt(best.scale2);
  const inverse = best.fixedFactor.map((_, j) =>
    forward(
      best.fixedFactor,
      best.fixedFactor.map((__, i) => (i === j ? 1 : 0)),
    ),
  );
  const randomCovariance = factor.map((a, i) =>
    factor.map(
      (b, j) =>
        (best.scale2 * a.reduce((sum, value, k) => sum + value * b[k]!, 0)) / lengths[i]! / lengths[j]!,
    ),
  );
  const groupEffects = new Map(
    products.groups.map(({ key }, g) => {
      const { lower, cu, cx } = best.groups[g]!;
      const u = backward(
        lower,
        cu.map((value, k) => value - cx.reduce((sum, c, j) => sum + c[k]! * best.beta[j]!, 0)),
      );
      return [
        key,
        factor.map((row, k) => row.reduce((sum, value, j) => sum + value * u[j]!, 0) / lengths[k]!),
      ];
    }),
  );
  return {
    coefficients: best.beta.map((value, j) => value + plain.coefficients[j]!),
    standardErrors: inverse.map(
      (column) => sigma * Math.sqrt(column.reduce((sum, value) => sum + value * value, 0)),
    ),
    residualSd: sigma,
    randomSd: randomCovariance.map((row, k) => Math.sqrt(row[k]!)),
    randomCovariance,
    groupEffects,
    logLikelihood: -best.deviance / 2,
  };
}
