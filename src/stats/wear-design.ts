/**
 * Points with weights that stand for a posterior known by its logarithm: quasi-random points from a normal law,
 * weighted by importance. The normal law starts from mode and curvature and is moved once to the weighted moments.
 */
import { normalQuantile } from "./normal.ts";
import { numericalHessian, type Objective, symmetricEigen } from "./optimise.ts";

/** The prior alone gives every direction a curvature of one; less than this is noise of the differences. */
const LEAST_CURVATURE = 0.3;

/** Points of the first look and of the final set, in mirrored pairs. */
const FIRST_PAIRS = 24;
const FINAL_PAIRS = 32;
/** The points are spread somewhat wider than the density, because its tails are often heavier than normal ones. */
const FIRST_WIDTH = 1.4;
const FINAL_WIDTH = 1.17;
/** A single far point must not outweigh the rest when the density falls more slowly than a normal one. */
const LARGEST_LOG_RATIO = 5;

/** Points of less weight than this are left out. */
const NEGLIGIBLE = 1e-5;

export interface DesignPoint {
  x: number[];
  weight: number;
}

export interface Design {
  points: DesignPoint[];
  /** log of the integral of exp(-f) */
  logIntegral: number;
}

/**
 * Points that stand for the standard normal law in `d` dimensions, all with the same weight. The first coordinate
 * runs through equal steps of probability, the others through an additive recurrence with the powers of the
 * generalised golden ratio (Roberts 2018); normal scores, mirrored so that odd moments vanish, and sheared so that
 * the covariance is exactly one.
 */
function normalPoints(d: number, pairs: number): number[][] {
  let ratio = 1.5;
  for (let k = 0; k < 60; k++) ratio = (1 + ratio) ** (1 / d);
  const half = Array.from({ length: pairs }, (_, k) =>
    Array.from({ length: d }, (_, j) =>
      normalQuantile(j === 0 ? (k + 0.25) / pairs : (0.5 + (k + 1) * ratio ** -j) % 1),
    ),
  );
  const factor = choleskyOf(
    Array.from({ length: d }, (_, i) =>
      Array.from({ length: d }, (_, j) => half.reduce((sum, z) => sum + z[i]! * z[j]!, 0) / pairs),
    ),
  );
  const white = half.map((z) => {
    const out: number[] = [];
    for (let i = 0; i < d; i++) {
      let rest = z[i]!;
      for (let j = 0; j < i; j++) rest -= factor[i]![j]! * out[j]!;
      out.push(rest / factor[i]![i]!);
    }
    return out;
  });
  return white.flatMap((z) => [z, z.map((zi) => -zi)]);
}

function choleskyOf(m: readonly (readonly number[])[]): number[][] {
  const l = m.map((row) => row.map(() => 0));
  for (let i = 0; i < m.length; i++)
    for (let j = 0; j <= i; j++) {
      let sum = m[i]![j]!;
      for (let k = 0; k < j; k++) sum -= l[i]![k]! * l[j]![k]!;
      l[i]![j] = i === j ? Math.sqrt(Math.max(sum, 1e-9)) : sum / l[j]![j]!;
    }
  return l;
}

/** Points of equal weight for the standard normal law, for a prior that no data have changed. */
export function priorPoints(dimensions: number): DesignPoint[] {
  const points = normalPoints(dimensions, FINAL_PAIRS);
  return points.map((x) => ({ x, weight: 1 / points.length }));
}

interface Sample {
  points: DesignPoint[];
  logIntegral: number;
  /** number of equally weighted points that would be as good */
  effective: number;
}

/** Weighted points for exp(-f) drawn from a normal law: x = centre + width · root z. */
function importance(
  f: Objective,
  centre: readonly number[],
  root: readonly (readonly number[])[],
  width: number,
  pairs: number,
): Sample {
  const d = centre.length;
  const raw = normalPoints(d, pairs).map((z) => {
    const x = centre.map((m, i) => m + width * z.reduce((sum, zk, k) => sum + root[i]![k]! * zk, 0));
    return { x, log: 0.5 * z.reduce((sum, zk) => sum + zk * zk, 0) - f(x) };
  });
  const typical = raw.map(({ log }) => log).sort((a, b) => a - b)[Math.floor(raw.length / 2)]!;
  const weights = raw.map(({ log }) => Math.exp(Math.min(log - typical, LARGEST_LOG_RATIO)));
  const total = weights.reduce((a, b) => a + b, 0);
  const logVolume = d * Math.log(width) + 0.5 * logDeterminant(root);
  return {
    points: raw.map(({ x }, k) => ({ x, weight: weights[k]! / total })),
    logIntegral: typical + Math.log(total / raw.length) + 0.5 * d * Math.log(2 * Math.PI) + logVolume,
    effective: total ** 2 / weights.reduce((sum, w) => sum + w * w, 0),
  };
}

/** log det(root rootᵀ) */
function logDeterminant(root: readonly (readonly number[])[]): number {
  const square = root.map((a) => root.map((b) => a.reduce((sum, ai, k) => sum + ai * b[k]!, 0)));
  return 2 * choleskyOf(square).reduce((sum, row, i) => sum + Math.log(row[i]!), 0);
}

/**
 * Points and weights for exp(-f) around its minimum.
 *
 * A first set is spread by the curvature at the mode; its weighted mean and covariance place the final set, because
 * the posteriors of standard deviations are skewed and the mode is off their middle.
 *
 * @param f minus the log of the density, smooth, in coordinates of order one
 * @param mode its minimum
 * @param value f at the mode
 */
export function designPoints(f: Objective, mode: readonly number[], value: number): Design {
  const d = mode.length;
  const hessian = numericalHessian(f, mode, 0.05, value);
  const finite = hessian.every((row) => row.every(Number.isFinite));
  const unit = mode.map((_, i) => mode.map((__, j) => Number(i === j)));
  const eigen = symmetricEigen(finite ? hessian : unit);
  const curvature = eigen.values.map((v) => Math.max(v, LEAST_CURVATURE));
  const root = mode.map((_, i) => curvature.map((v, k) => eigen.vectors[k]![i]! / Math.sqrt(v)));
  const shifted: Objective = (x) => f(x) - value;
  const first = importance(shifted, mode, root, FIRST_WIDTH, FIRST_PAIRS);
  // The moments of few effective points are blended with those of the curvature.
  const trust = first.effective / (first.effective + 2 * d);
  const mean = mode.map((m, i) => {
    const seen = first.points.reduce((sum, { x, weight }) => sum + weight * x[i]!, 0);
    return m + trust * (seen - m);
  });
  const covariance = mode.map((_, i) =>
    mode.map((__, j) => {
      const laplace = root[i]!.reduce((sum, r, k) => sum + r * root[j]![k]!, 0);
      const seen = first.points.reduce(
        (sum, { x, weight }) => sum + weight * (x[i]! - mean[i]!) * (x[j]! - mean[j]!),
        0,
      );
      return trust * seen + (1 - trust) * laplace;
    }),
  );
  const final = importance(shifted, mean, choleskyOf(covariance), FINAL_WIDTH, FINAL_PAIRS);
  return {
    points: final.points.filter(({ weight }) => weight > NEGLIGIBLE),
    logIntegral: final.logIntegral - value,
  };
}
