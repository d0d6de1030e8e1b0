/**
 * A few points with weights that stand for a posterior known by its mode and curvature: a central composite
 * design (as in Rue, Martino & Chopin 2009), its weights corrected by the posterior itself.
 */
import { normalQuantile } from "./normal.ts";
import { numericalHessian, type Objective, symmetricEigen } from "./optimise.ts";

/** The prior alone gives every direction a curvature of one; less than this is noise of the differences. */
const LEAST_CURVATURE = 0.3;

const PAIRS = Number(process.env["PAIRS"] ?? 64);
/** A single far point must not outweigh the rest when the density falls more slowly than a normal one. */
const LARGEST_LOG_RATIO = 2.5;

export interface DesignPoint {
  x: number[];
  weight: number;
}

export interface Design {
  points: DesignPoint[];
  /** log of the integral of exp(-f) */
  logIntegral: number;
  /** rows of a root of the covariance: x = mode + root z */
  root: number[][];
}

/**
 * Points that stand for the standard normal law in `d` dimensions, all with the same weight: an additive recurrence
 * with the powers of the generalised golden ratio (Roberts 2018), turned into normal scores, mirrored so that odd
 * moments vanish, and sheared so that the covariance is exactly one.
 */
function normalPoints(d: number, pairs: number): number[][] {
  let ratio = 1.5;
  for (let k = 0; k < 60; k++) ratio = (1 + ratio) ** (1 / (d + 1));
  const half = Array.from({ length: pairs }, (_, k) =>
    Array.from({ length: d }, (_, j) => normalQuantile((0.5 + (k + 1) * ratio ** -(j + 1)) % 1)),
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

/**
 * Points and weights for exp(-f) around its minimum.
 *
 * The weights of the normal rule are multiplied by the ratio of exp(-f) to the normal law.
 *
 * @param f minus the log of the density, smooth, in coordinates of order one
 * @param mode its minimum
 */
export function designPoints(f: Objective, mode: readonly number[], value: number): Design {
  const d = mode.length;
  const hessian = numericalHessian(f, mode, 0.05, value);
  const finite = hessian.every((row) => row.every(Number.isFinite));
  const eigen = symmetricEigen(
    finite ? hessian : hessian.map((row, i) => row.map((_, j) => (i === j ? 1 : 0))),
  );
  const curvature = eigen.values.map((v) => Math.max(v, LEAST_CURVATURE));
  const root = mode.map((_, i) => curvature.map((v, k) => eigen.vectors[k]![i]! / Math.sqrt(v)));
  const place = (z: readonly number[]): number[] =>
    mode.map((m, i) => m + z.reduce((sum, zk, k) => sum + root[i]![k]! * zk, 0));
  const normal = normalPoints(d, PAIRS);
  const raw = normal.map((z) => {
    const x = place(z);
    const ratio = z.reduce((sum, zk) => sum + 0.5 * zk * zk, 0) + value - f(x);
    return { x, weight: Math.exp(Math.min(ratio, LARGEST_LOG_RATIO)) / normal.length };
  });
  const total = raw.reduce((sum, { weight }) => sum + weight, 0);
  const logDeterminant = curvature.reduce((sum, v) => sum + Math.log(v), 0);
  return {
    points: raw.map(({ x, weight }) => ({ x, weight: weight / total })).filter(({ weight }) => weight > 1e-6),
    logIntegral: -value + 0.5 * (d * Math.log(2 * Math.PI) - logDeterminant) + Math.log(total),
    root,
  };
}
