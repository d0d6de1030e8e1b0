/**
 * Points with weights that stand for a posterior known by its logarithm: quasi-random points from a normal law,
 * weighted by importance. The normal law starts from mode and curvature and is moved once to the weighted moments.
 */
import { choleskyOf } from "./cholesky.ts";
import { normalPoints } from "./normal-points.ts";
import { hessianOf, type Objective, symmetricEigen } from "./optimise.ts";

/** The prior alone gives every direction a curvature of one; less than this is noise of the differences. */
const LEAST_CURVATURE = 0.3;

/** Points of the first look and of the final set, in mirrored pairs. */
export interface DesignSize {
  first: number;
  final: number;
}
/** Points of the first look at a line of many pieces, which is sure to be nearly normal and so the last look, too. */
const NORMAL_PAIRS = 16;
const MANY_PIECES = 500;
/** The points are spread somewhat wider than the density, because its tails are often heavier than normal ones. */
const WIDTH = 1.17;
/**
 * The first set is the last one where the log density is that of a normal law but for this much (root mean square over
 * its points): lines of some hundred pieces. Measured: quantiles of remaining life are then off by 0.1 % (root mean square),
 * beside 0.07 % with the second set.
 */
const NEARLY_NORMAL = 0.3;
/** A single far point must not outweigh the rest when the density falls more slowly than a normal one. */
const LARGEST_LOG_RATIO = 5;

/** Points of less weight than this are left out. */
const NEGLIGIBLE = 1e-5;

interface DesignPoint {
  x: number[];
  weight: number;
}

/** A density, by minus its logarithm and the gradient of that. */
export interface Density {
  value: Objective;
  gradient: (x: readonly number[]) => number[];
  /** the same as `value`, for the point of number `k` of a set that may become the final one */
  point: (x: readonly number[], k: number) => number;
}

export interface Design {
  /** `k` is the number by which the density was asked for it */
  points: (DesignPoint & { k: number })[];
  /** log of the integral of exp(-f) */
  logIntegral: number;
}

/** Points of equal weight for the standard normal law, for a prior that no data have changed. */
export function priorPoints(dimensions: number, { final }: DesignSize): Design {
  const points = normalPoints(dimensions, final);
  return {
    points: points.map((x, k) => ({ x: x.slice(), k, weight: 1 / points.length })),
    logIntegral: 0.5 * dimensions * Math.log(2 * Math.PI),
  };
}

interface Sample {
  points: Design["points"];
  logIntegral: number;
  /** number of equally weighted points that would be as good */
  effective: number;
  /** root mean square of what the log density has that a normal law around the same centre has not */
  bent: number;
}

/** Weighted points for exp(-f) drawn from a normal law: x = centre + WIDTH · root z. */
function importance(
  f: (x: readonly number[], k: number) => number,
  centre: readonly number[],
  root: readonly (readonly number[])[],
  pairs: number,
): Sample {
  const d = centre.length;
  const raw = normalPoints(d, pairs).map((z, number) => {
    let square = 0;
    for (let k = 0; k < d; k++) square += z[k]! * z[k]!;
    const x = centre.slice();
    for (let i = 0; i < d; i++) for (let k = 0; k < d; k++) x[i]! += WIDTH * root[i]![k]! * z[k]!;
    const log = 0.5 * square - f(x, number);
    return { x, log, bend: log - 0.5 * (1 - WIDTH * WIDTH) * square };
  });
  const typical = raw.map(({ log }) => log).sort((a, b) => a - b)[Math.floor(raw.length / 2)]!;
  const weights = raw.map(({ log }) => Math.exp(Math.min(log - typical, LARGEST_LOG_RATIO)));
  const total = weights.reduce((a, b) => a + b, 0);
  const logVolume = d * Math.log(WIDTH) + 0.5 * logDeterminant(root);
  return {
    points: raw.map(({ x }, k) => ({ x, k, weight: weights[k]! / total })),
    logIntegral: typical + Math.log(total / raw.length) + 0.5 * d * Math.log(2 * Math.PI) + logVolume,
    effective: total ** 2 / weights.reduce((sum, w) => sum + w * w, 0),
    bent: Math.sqrt(raw.reduce((sum, { bend }) => sum + bend * bend, 0) / raw.length),
  };
}

/** log det(root rootᵀ) */
function logDeterminant(root: readonly (readonly number[])[]): number {
  const square = root.map((a) => root.map((b) => a.reduce((sum, ai, k) => sum + ai * b[k]!, 0)));
  return 2 * choleskyOf(square).reduce((sum, row, i) => sum + Math.log(row[i]!), 0);
}

/** Width of the differences of gradients: small beside a standard deviation, large beside what quadrature leaves. */
const HESSIAN_STEP = 0.02;

/**
 * Points and weights for a density around its mode.
 *
 * A first set is spread by the curvature at the mode; its weighted mean and covariance place the final set, because
 * the posteriors of standard deviations are skewed and the mode is off their middle.
 *
 * @param density smooth, in coordinates of order one
 * @param pieces number of pieces that it rests on
 * @param size pairs of points of the first and of the final set
 */
export function designPoints(
  density: Density,
  mode: readonly number[],
  pieces: number,
  size: DesignSize,
): Design {
  const d = mode.length;
  const here = density.gradient(mode);
  const value = density.value(mode);
  const hessian = hessianOf(density.gradient, mode, HESSIAN_STEP, here);
  const finite = hessian.every((row) => row.every(Number.isFinite));
  const unit = mode.map((_, i) => mode.map((__, j) => Number(i === j)));
  const eigen = symmetricEigen(finite ? hessian : unit);
  const curvature = eigen.values.map((v) => Math.max(v, LEAST_CURVATURE));
  const root = mode.map((_, i) => curvature.map((v, k) => eigen.vectors[k]![i]! / Math.sqrt(v)));
  const shifted = (x: readonly number[], k: number): number => density.point(x, k) - value;
  const kept = ({ points, logIntegral }: Sample): Design => ({
    points: points.filter(({ weight }) => weight > NEGLIGIBLE),
    logIntegral: logIntegral - value,
  });
  const first = importance(shifted, mode, root, pieces < MANY_PIECES ? size.first : NORMAL_PAIRS);
  if (first.bent < NEARLY_NORMAL) return kept(first);
  // The moments of few effective points are blended with those of the curvature.
  const trust = first.effective / (first.effective + 2 * d);
  const mean = mode.map((m, i) => {
    const seen = first.points.reduce((sum, { x, weight }) => sum + weight * x[i]!, 0);
    return m + trust * (seen - m);
  });
  // The lower triangle is all that the factor is made of.
  const covariance = mode.map((_, i) =>
    mode.slice(0, i + 1).map((__, j) => {
      const laplace = root[i]!.reduce((sum, r, k) => sum + r * root[j]![k]!, 0);
      let seen = 0;
      for (const { x, weight } of first.points) seen += weight * (x[i]! - mean[i]!) * (x[j]! - mean[j]!);
      return trust * seen + (1 - trust) * laplace;
    }),
  );
  return kept(importance(shifted, mean, choleskyOf(covariance), size.final));
}
