/**
 * Log-likelihood of lives with its exact gradient and Hessian.
 *
 * Both laws are log-location-scale: z = (ln t - location) / spread has a standard law (smallest extreme value
 * for Weibull, with location = ln scale and spread = 1 / shape; normal for log-normal). Every term is a
 * function of z alone, so five sums over the observations give the first and second derivatives by
 * (location, ln spread) (Lawless, 2003; Meeker & Escobar, 1998). Nothing is allocated in the loops.
 */
import type { PackedAges, PackedLives } from "./life-data.ts";
import { erfcx, normalCdf } from "./normal.ts";

export type LifeFamily = "weibull" | "lognormal";

/** Value, gradient and Hessian by (location, logSpread). */
export type LifeLikelihood = {
  value: number;
  byLocation: number;
  byLogSpread: number;
  location2: number;
  cross: number;
  logSpread2: number;
};

/** The six sums over observations of g, g', z g', g'', z g'', z² g'' (for intervals their two-point forms). */
type Sums = { value: number; g1: number; zg1: number; g2: number; zg2: number; zzg2: number };

const LOG_SQRT_2_PI = 0.9189385332046727;
const SQRT_TWO_OVER_PI = Math.sqrt(2 / Math.PI);

function addTerm(sums: Sums, weight: number, z: number, g: number, g1: number, g2: number): void {
  sums.value += weight * g;
  sums.g1 += weight * g1;
  sums.zg1 += weight * z * g1;
  sums.g2 += weight * g2;
  sums.zg2 += weight * z * g2;
  sums.zzg2 += weight * z * z * g2;
}

/** Two-point term of an interval: first derivatives pa, pb, second paa, pbb; the mixed one is -pa pb. */
function addInterval(
  sums: Sums,
  weight: number,
  a: number,
  b: number,
  value: number,
  pa: number,
  pb: number,
  paa: number,
  pbb: number,
): void {
  const pab = -pa * pb;
  sums.value += weight * value;
  sums.g1 += weight * (pa + pb);
  sums.zg1 += weight * (a * pa + b * pb);
  sums.g2 += weight * (paa + 2 * pab + pbb);
  sums.zg2 += weight * (a * paa + (a + b) * pab + b * pbb);
  sums.zzg2 += weight * (a * a * paa + 2 * a * b * pab + b * b * pbb);
}

/** Exact failures of the Weibull law: g = z - e^z. */
function addWeibullFailed(sums: Sums, { logAge, count }: PackedAges, location: number, rate: number): void {
  for (let i = 0; i < logAge.length; i += 1) {
    const z = (logAge[i]! - location) * rate;
    const hazard = Math.exp(z);
    addTerm(sums, count[i]!, z, z - hazard, 1 - hazard, -hazard);
  }
}

/** Survival to an age, sign +1, or division by the survival to the entry age, sign -1: g = ±(-e^z). */
function addWeibullAlive(sums: Sums, ages: PackedAges, location: number, rate: number, sign: number): void {
  const { logAge, count } = ages;
  for (let i = 0; i < logAge.length; i += 1) {
    const z = (logAge[i]! - location) * rate;
    const hazard = Math.exp(z);
    addTerm(sums, sign * count[i]!, z, -hazard, -hazard, -hazard);
  }
}

/** Failures before an age: g = ln(1 - exp(-e^z)). */
function addWeibullBefore(sums: Sums, { logAge, count }: PackedAges, location: number, rate: number): void {
  for (let i = 0; i < logAge.length; i += 1) {
    const z = (logAge[i]! - location) * rate;
    const hazard = Math.exp(z);
    // Far below the typical life 1 - exp(-e^z) is e^z to all digits.
    const g = z < -36 ? z : Math.log(-Math.expm1(-hazard));
    const g1 = z < -36 ? 1 : hazard === Infinity ? 0 : hazard / Math.expm1(hazard);
    addTerm(sums, count[i]!, z, g, g1, hazard > 700 ? 0 : g1 * (1 - hazard) - g1 * g1);
  }
}

/** Failures between two ages: ln S(a) + ln(1 - exp(-(H(b) - H(a)))), with expm1 for near ends. */
function addWeibullBetween(
  sums: Sums,
  between: PackedLives["between"],
  location: number,
  rate: number,
): void {
  const { logFrom, logTo, count } = between;
  for (let i = 0; i < count.length; i += 1) {
    const a = (logFrom[i]! - location) * rate;
    const b = (logTo[i]! - location) * rate;
    const hazardA = Math.exp(a);
    const added = b - a < 30 ? hazardA * Math.expm1(b - a) : Math.exp(b);
    const share = -Math.expm1(-added);
    const hazardB = hazardA + added;
    const pa = -hazardA / share;
    const pb = added > 700 ? 0 : (hazardB * Math.exp(-added)) / share;
    const paa = pa * (1 - hazardA) - pa * pa;
    // Where the far end is as good as infinite its hazard may overflow, but it has no part any more.
    const pbb = pb === 0 ? 0 : pb * (1 - hazardB) - pb * pb;
    addInterval(sums, count[i]!, a, b, Math.log(share) - hazardA, pa, pb, paa, pbb);
  }
}

/** ln Φ(-w) from e = erfcx(|w| / √2). */
function logUpperTail(w: number, e: number): number {
  return w > 0 ? Math.log(0.5 * e) - 0.5 * w * w : Math.log1p(-0.5 * e * Math.exp(-0.5 * w * w));
}

/** Standard normal hazard φ(w) / Φ(-w) from e = erfcx(|w| / √2). */
function hazardFrom(w: number, e: number): number {
  if (w > 0) return SQRT_TWO_OVER_PI / e;
  const bell = Math.exp(-0.5 * w * w);
  return (0.5 * SQRT_TWO_OVER_PI * bell) / (1 - 0.5 * e * bell);
}

function addLognormalFailed(sums: Sums, { logAge, count }: PackedAges, location: number, rate: number): void {
  for (let i = 0; i < logAge.length; i += 1) {
    const z = (logAge[i]! - location) * rate;
    addTerm(sums, count[i]!, z, -0.5 * z * z - LOG_SQRT_2_PI, -z, -1);
  }
}

/**
 * One normal tail for each age: `side` +1 for survival (ln Φ(-z)), -1 for failure before (ln Φ(z));
 * `sign` -1 divides by it (entry).
 */
function addLognormalTail(
  sums: Sums,
  { logAge, count }: PackedAges,
  location: number,
  rate: number,
  side: number,
  sign: number,
): void {
  for (let i = 0; i < logAge.length; i += 1) {
    const z = (logAge[i]! - location) * rate;
    const w = side * z;
    const e = erfcx(Math.abs(w) * Math.SQRT1_2);
    const hazard = hazardFrom(w, e);
    addTerm(sums, sign * count[i]!, z, logUpperTail(w, e), -side * hazard, -hazard * (hazard - w));
  }
}

/** ln(Φ(b) - Φ(a)), a < b: taken in the tail where the two are not both near one. */
function logNormalBetween(a: number, b: number): number {
  if (a + b < 0) return logNormalBetween(-b, -a);
  if (a < 0) return Math.log(normalCdf(b) - normalCdf(a));
  const upperA = logUpperTail(a, erfcx(a * Math.SQRT1_2));
  const upperB = logUpperTail(b, erfcx(b * Math.SQRT1_2));
  return upperA + Math.log(-Math.expm1(upperB - upperA));
}

function addLognormalBetween(
  sums: Sums,
  between: PackedLives["between"],
  location: number,
  rate: number,
): void {
  const { logFrom, logTo, count } = between;
  for (let i = 0; i < count.length; i += 1) {
    const a = (logFrom[i]! - location) * rate;
    const b = (logTo[i]! - location) * rate;
    const value = logNormalBetween(a, b);
    const pa = -Math.exp(-0.5 * a * a - LOG_SQRT_2_PI - value);
    const pb = Math.exp(-0.5 * b * b - LOG_SQRT_2_PI - value);
    addInterval(sums, count[i]!, a, b, value, pa, pb, -a * pa - pa * pa, -b * pb - pb * pb);
  }
}

function addAll(sums: Sums, family: LifeFamily, lives: PackedLives, location: number, rate: number): void {
  if (family === "weibull") {
    addWeibullFailed(sums, lives.failed, location, rate);
    addWeibullAlive(sums, lives.running, location, rate, 1);
    addWeibullBefore(sums, lives.before, location, rate);
    addWeibullBetween(sums, lives.between, location, rate);
    addWeibullAlive(sums, lives.entered, location, rate, -1);
  } else {
    addLognormalFailed(sums, lives.failed, location, rate);
    addLognormalTail(sums, lives.running, location, rate, 1, 1);
    addLognormalTail(sums, lives.before, location, rate, -1, 1);
    addLognormalBetween(sums, lives.between, location, rate);
    addLognormalTail(sums, lives.entered, location, rate, 1, -1);
  }
}

/**
 * Log-likelihood, gradient and Hessian at (location, ln spread). The value may be -Infinity or, far outside
 * the data, not a number: a search must refuse such a point.
 */
export function lifeLikelihood(
  family: LifeFamily,
  lives: PackedLives,
  location: number,
  logSpread: number,
): LifeLikelihood {
  const rate = Math.exp(-logSpread);
  const sums: Sums = { value: 0, g1: 0, zg1: 0, g2: 0, zg2: 0, zzg2: 0 };
  addAll(sums, family, lives, location, rate);
  let exact = 0;
  for (const count of lives.failed.count) exact += count;
  return {
    value: sums.value - exact * logSpread + lives.constant,
    byLocation: -sums.g1 * rate,
    byLogSpread: -sums.zg1 - exact,
    location2: sums.g2 * rate * rate,
    cross: (sums.zg2 + sums.g1) * rate,
    logSpread2: sums.zzg2 + sums.zg1,
  };
}
