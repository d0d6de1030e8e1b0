/** The Weibull law: S(t) = exp(-(t / scale)^shape). All ages are in the unit of `scale`. */
import { logGamma } from "./gamma.ts";

export type WeibullParameters = { shape: number; scale: number };

/** @throws {RangeError} if shape or scale is not a finite number > 0 */
export function requireWeibull(name: string, { shape, scale }: WeibullParameters): void {
  if (!(shape > 0 && shape < Infinity))
    throw new RangeError(`${name} requires a finite shape > 0, got ${shape}`);
  if (!(scale > 0 && scale < Infinity))
    throw new RangeError(`${name} requires a finite scale > 0, got ${scale}`);
}

/** ln S(t) = -(t / scale)^shape; 0 at or before age 0. */
export function weibullLogSurvival(t: number, { shape, scale }: WeibullParameters): number {
  return t > 0 ? -((t / scale) ** shape) : 0;
}

/** ln of the density at t > 0; -Infinity at or before age 0. */
export function weibullLogDensity(t: number, { shape, scale }: WeibullParameters): number {
  if (!(t > 0)) return -Infinity;
  const ratio = t / scale;
  return Math.log(shape / t) + shape * Math.log(ratio) - ratio ** shape;
}

/** Hazard (shape / scale) (t / scale)^(shape - 1), per unit of age; Infinity at 0 when the shape is below 1. */
export function weibullHazard(t: number, { shape, scale }: WeibullParameters): number {
  return (shape / scale) * (t / scale) ** (shape - 1);
}

/** Age by which a fraction p has failed: scale (-ln(1 - p))^(1 / shape), with log1p so that small p keeps its digits. */
export function weibullQuantile(p: number, { shape, scale }: WeibullParameters): number {
  return scale * (-Math.log1p(-p)) ** (1 / shape);
}

/** scale Γ(1 + 1 / shape). */
export function weibullMean({ shape, scale }: WeibullParameters): number {
  return scale * Math.exp(logGamma(1 + 1 / shape));
}

/**
 * Further age u with S(age + u) = (1 - p) S(age).
 * Written with log1p and expm1: far into life u is a small difference of two large ages.
 */
export function weibullResidualQuantile(p: number, age: number, parameters: WeibullParameters): number {
  const { shape, scale } = parameters;
  const hazardSoFar = (age / scale) ** shape;
  const added = -Math.log1p(-p);
  if (added <= hazardSoFar) return age * Math.expm1(Math.log1p(added / hazardSoFar) / shape);
  return scale * (hazardSoFar + added) ** (1 / shape) - age;
}
