/** The log-normal law: ln t is normal with mean `meanLog` and standard deviation `sdLog`. */
import { erfcx, logNormalCdf, normalQuantile } from "./normal.ts";

export type LognormalParameters = { meanLog: number; sdLog: number };

const LOG_SQRT_2_PI = 0.9189385332046727;
const SQRT_TWO_OVER_PI = Math.sqrt(2 / Math.PI);

/** @throws {RangeError} if meanLog is not finite or sdLog is not a finite number > 0 */
export function requireLognormal(name: string, { meanLog, sdLog }: LognormalParameters): void {
  if (!Number.isFinite(meanLog)) throw new RangeError(`${name} requires a finite meanLog, got ${meanLog}`);
  if (!(sdLog > 0 && sdLog < Infinity))
    throw new RangeError(`${name} requires a finite sdLog > 0, got ${sdLog}`);
}

function standardise(t: number, { meanLog, sdLog }: LognormalParameters): number {
  return (Math.log(t) - meanLog) / sdLog;
}

/** ln S(t); 0 at or before age 0. */
export function lognormalLogSurvival(t: number, parameters: LognormalParameters): number {
  return t > 0 ? logNormalCdf(-standardise(t, parameters)) : 0;
}

/** ln of the density at t > 0; -Infinity at or before age 0. */
export function lognormalLogDensity(t: number, parameters: LognormalParameters): number {
  if (!(t > 0)) return -Infinity;
  const z = standardise(t, parameters);
  return -0.5 * z * z - LOG_SQRT_2_PI - Math.log(t * parameters.sdLog);
}

/** Hazard of the standard normal law, density over survival (the inverse of Mills' ratio), for any z. */
export function normalHazard(z: number): number {
  return SQRT_TWO_OVER_PI / erfcx(z * Math.SQRT1_2);
}

/** Hazard, per unit of age; 0 at age 0. It rises, then falls again late in life. */
export function lognormalHazard(t: number, parameters: LognormalParameters): number {
  return t > 0 ? normalHazard(standardise(t, parameters)) / (parameters.sdLog * t) : 0;
}

/** Age by which a fraction p has failed: exp(meanLog + sdLog z_p). */
export function lognormalQuantile(p: number, { meanLog, sdLog }: LognormalParameters): number {
  return Math.exp(meanLog + sdLog * normalQuantile(p));
}

/** exp(meanLog + sdLog² / 2). */
export function lognormalMean({ meanLog, sdLog }: LognormalParameters): number {
  return Math.exp(meanLog + (sdLog * sdLog) / 2);
}

/** z with ln Φ(-z) = target: Newton on the logarithm, because the probability itself may underflow. */
function upperTailPoint(target: number): number {
  let z = target > -700 ? -normalQuantile(Math.exp(target)) : Math.sqrt(-2 * target);
  for (let step = 0; step < 50; step += 1) {
    const move = (logNormalCdf(-z) - target) / normalHazard(z);
    z += move;
    if (Math.abs(move) <= 4e-16 * Math.max(1, Math.abs(z))) break;
  }
  return z;
}

/** Further age u with S(age + u) = (1 - p) S(age). */
export function lognormalResidualQuantile(p: number, age: number, parameters: LognormalParameters): number {
  if (age === 0) return lognormalQuantile(p, parameters);
  const now = standardise(age, parameters);
  const then = upperTailPoint(logNormalCdf(-now) + Math.log1p(-p));
  return age * Math.expm1(parameters.sdLog * Math.max(0, then - now));
}
