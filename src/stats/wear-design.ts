/**
 * A few points with weights that stand for a posterior known by its mode and curvature: a central composite
 * design (as in Rue, Martino & Chopin 2009), its weights corrected by the posterior itself.
 */
import { numericalHessian, type Objective, symmetricEigen } from "./optimise.ts";

/** The prior alone gives every direction a curvature of one; less than this is noise of the differences. */
const LEAST_CURVATURE = 0.3;

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

/** Two-level design with orthogonal columns and its mirror image: 2 · 16 runs up to 16 factors, 2 · 32 above. */
function signs(dimensions: number): number[][] {
  const order = dimensions <= 16 ? 16 : dimensions <= 32 ? 32 : 64;
  // Columns of a Hadamard matrix; the first few are chosen so that up to five factors form a full factorial.
  const chosen = [1, 2, 4, 8, 15];
  for (let c = 0; c < order && chosen.length < dimensions; c++) if (!chosen.includes(c)) chosen.push(c);
  const parity = (bits: number): number => {
    let odd = 0;
    for (let b = bits; b > 0; b &= b - 1) odd ^= 1;
    return odd === 1 ? -1 : 1;
  };
  const half = Array.from({ length: order }, (_, r) => chosen.slice(0, dimensions).map((c) => parity(r & c)));
  return [...half, ...half.map((row) => row.map((s) => -s))];
}

/**
 * Points z and weights for the standard normal law in `d` dimensions: the centre, 2d points on the axes at
 * sqrt(d + 1), corners at sqrt((d + 1) / (d - 1)) in each coordinate. Solving the moment equations for these radii
 * makes every moment up to the fifth right (in up to five dimensions, where the corners are a full factorial), so
 * that the tails are not too light. All weights are positive.
 */
function normalRule(d: number): { z: number[]; weight: number }[] {
  const corners = signs(d);
  const far = Math.sqrt(d + 1);
  const near = Math.sqrt((d + 1) / (d - 1));
  const axes = Array.from({ length: 2 * d }, (_, i) =>
    Array.from({ length: d }, (_, j) => (j === i >> 1 ? (i % 2 === 0 ? far : -far) : 0)),
  );
  const square = (d + 1) ** 2;
  return [
    { z: new Array<number>(d).fill(0), weight: (2 * d) / square },
    ...axes.map((z) => ({ z, weight: 1 / square })),
    ...corners.map((row) => ({
      z: row.map((s) => s * near),
      weight: (d - 1) ** 2 / square / corners.length,
    })),
  ];
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
  const raw = normalRule(d).map(({ z, weight }) => {
    const x = place(z);
    const ratio = z.reduce((sum, zk) => sum + 0.5 * zk * zk, 0) + value - f(x);
    return { x, weight: weight * Math.exp(Math.min(ratio, LARGEST_LOG_RATIO)) };
  });
  const total = raw.reduce((sum, { weight }) => sum + weight, 0);
  const logDeterminant = curvature.reduce((sum, v) => sum + Math.log(v), 0);
  return {
    points: raw.map(({ x, weight }) => ({ x, weight: weight / total })).filter(({ weight }) => weight > 1e-6),
    logIntegral: -value + 0.5 * (d * Math.log(2 * Math.PI) - logDeterminant) + Math.log(total),
    root,
  };
}
