/**
 * A few points with weights that stand for a posterior known by its mode and curvature: the central composite
 * design of Rue, Martino & Chopin (2009), weights corrected by the posterior itself.
 */
import { numericalHessian, type Objective, symmetricEigen } from "./optimise.ts";

/** Radius of the outer points over the root of the number of dimensions. */
const RADIUS = 1.1;
/** The prior alone gives every direction a curvature of one; less than this is noise of the differences. */
const LEAST_CURVATURE = 0.3;

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

/** Points z of the design, all at distance RADIUS sqrt(d) from the centre except the centre itself. */
function outerPoints(dimensions: number): number[][] {
  const radius = RADIUS * Math.sqrt(dimensions);
  const axes = Array.from({ length: 2 * dimensions }, (_, i) =>
    Array.from({ length: dimensions }, (_, j) => (j === i >> 1 ? (i % 2 === 0 ? radius : -radius) : 0)),
  );
  return [...axes, ...signs(dimensions).map((row) => row.map((s) => s * RADIUS))];
}

/**
 * Points and weights for exp(-f) around its minimum.
 *
 * For a normal law the outer points together have probability 1 / RADIUS², so that the second moments are right;
 * each weight is then multiplied by the ratio of exp(-f) to the normal law.
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
  const outer = outerPoints(d);
  const share = 1 / (RADIUS * RADIUS) / outer.length;
  const half = 0.5 * RADIUS * RADIUS * d;
  const raw = [{ x: mode.slice(), weight: 1 - 1 / (RADIUS * RADIUS) }];
  for (const z of outer) {
    const x = place(z);
    raw.push({ x, weight: share * Math.exp(Math.min(half + value - f(x), half)) });
  }
  const total = raw.reduce((sum, { weight }) => sum + weight, 0);
  const logDeterminant = curvature.reduce((sum, v) => sum + Math.log(v), 0);
  return {
    points: raw.map(({ x, weight }) => ({ x, weight: weight / total })).filter(({ weight }) => weight > 1e-6),
    logIntegral: -value + 0.5 * (d * Math.log(2 * Math.PI) - logDeterminant) + Math.log(total),
    root,
  };
}
