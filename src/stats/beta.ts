/** Regularised incomplete beta function, and Student's t distribution built on it. */
import { ConvergenceError } from "./errors.ts";
import { logBinomialTerm } from "./gamma.ts";

/** The two shapes of a beta distribution; its mean is alpha / (alpha + beta). */
export type BetaParameters = { alpha: number; beta: number };

const MAX_TERMS = 200_000;
const NEWTON_STEPS = 200;
const TINY = 1e-300;
/** A factor of a continued fraction this near to one is one: it may never come nearer. */
const ONE_ULP = 2.3e-16;

function requireShapes(name: string, { alpha, beta }: BetaParameters): void {
  if (!(alpha > 0 && beta > 0 && alpha < Infinity && beta < Infinity)) {
    throw new RangeError(`${name} requires finite alpha > 0 and beta > 0, got ${alpha} and ${beta}`);
  }
}

/** ln of x^a y^b / B(a, b) with y = 1 - x. */
function logBetaTerm(a: number, b: number, x: number, y: number): number {
  return logBinomialTerm(a, a + b, x, y) + Math.log((a * b) / (a + b));
}

/** ln I_x(a, b) by the continued fraction DLMF 8.17.22, modified Lentz; fast for x < (a + 1) / (a + b + 2). */
function logBetaFraction(a: number, b: number, x: number, y: number): number {
  let c = 1;
  let d = 1 / (1 - ((a + b) * x) / (a + 1) || TINY);
  let fraction = d;
  for (let m = 1, factor = 0; Math.abs(factor - 1) > ONE_ULP; m += 1) {
    if (m > MAX_TERMS) throw new ConvergenceError("the incomplete beta fraction did not settle", m);
    const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
    d = 1 / (1 + even * d || TINY);
    c = 1 + even / c || TINY;
    fraction *= c * d;
    const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
    d = 1 / (1 + odd * d || TINY);
    c = 1 + odd / c || TINY;
    factor = c * d;
    fraction *= factor;
  }
  return logBetaTerm(a, b, x, y) + Math.log(fraction / a);
}

/** ln I_x(a, b), both x and y = 1 - x given so that neither loses digits near 1. */
function logIncompleteBeta(a: number, b: number, x: number, y: number): number {
  if (x < (a + 1) / (a + b + 2)) return logBetaFraction(a, b, x, y);
  return Math.log(-Math.expm1(logBetaFraction(b, a, y, x)));
}

/**
 * Distribution function of the beta distribution: the regularised incomplete beta function I_x(alpha, beta).
 *
 * @param x in [0, 1]
 * @throws {RangeError} if `x`, `alpha` or `beta` is outside its range
 */
export function betaCdf(x: number, parameters: BetaParameters): number {
  requireShapes("betaCdf", parameters);
  if (!(x >= 0 && x <= 1)) throw new RangeError(`betaCdf requires x in [0, 1], got ${x}`);
  if (x === 0 || x === 1) return x;
  const { alpha, beta } = parameters;
  if (x < (alpha + 1) / (alpha + beta + 2)) return Math.exp(logBetaFraction(alpha, beta, x, 1 - x));
  return -Math.expm1(logBetaFraction(beta, alpha, 1 - x, x));
}

/** Log odds ln(x / (1 - x)) of the beta quantile for p <= 1/2: Newton on ln I, which is concave in the log odds. */
function lowerQuantileLogOdds(p: number, a: number, b: number): number {
  const target = Math.log(p);
  let w = Math.log(a / b);
  for (let step = 0; step < NEWTON_STEPS; step += 1) {
    // Below about -700 the odds underflow; there I is its leading term and Newton is exact in one step.
    const x = Math.max(1 / (1 + Math.exp(-w)), TINY);
    const y = 1 / (1 + Math.exp(w));
    const underflow = Math.min(0, w - Math.log(TINY));
    const value = logIncompleteBeta(a, b, x, y) + a * underflow;
    const move = (target - value) / Math.exp(logBetaTerm(a, b, x, y) + a * underflow - value);
    w += move;
    if (Math.abs(move) <= 2e-16 * Math.max(1, Math.abs(w))) break;
  }
  return w;
}

function quantileLogOdds(p: number, a: number, b: number): number {
  return p <= 0.5 ? lowerQuantileLogOdds(p, a, b) : -lowerQuantileLogOdds(1 - p, b, a);
}

/**
 * Quantile of the beta distribution.
 *
 * @param p probability, in [0, 1]
 * @throws {RangeError} if `p`, `alpha` or `beta` is outside its range
 */
export function betaQuantile(p: number, parameters: BetaParameters): number {
  requireShapes("betaQuantile", parameters);
  if (!(p >= 0 && p <= 1)) throw new RangeError(`betaQuantile requires p in [0, 1], got ${p}`);
  if (p === 0 || p === 1) return p;
  return 1 / (1 + Math.exp(-quantileLogOdds(p, parameters.alpha, parameters.beta)));
}

function requireDegrees(name: string, degrees: number): void {
  if (!(degrees > 0 && degrees < Infinity)) {
    throw new RangeError(`${name} requires finite degrees of freedom > 0, got ${degrees}`);
  }
}

/**
 * Distribution function of Student's t.
 *
 * @param t any number
 * @param degrees degrees of freedom, > 0
 * @throws {RangeError} if `t` is not a number or `degrees` is outside its range
 */
export function studentTCdf(t: number, degrees: number): number {
  requireDegrees("studentTCdf", degrees);
  if (Number.isNaN(t)) throw new RangeError("studentTCdf requires a number t");
  if (t === 0) return 0.5;
  if (Math.abs(t) === Infinity) return t > 0 ? 1 : 0;
  const x = degrees / (degrees + t * t);
  const y = 1 / (1 + degrees / (t * t));
  const tail = 0.5 * Math.exp(logIncompleteBeta(degrees / 2, 0.5, x, y));
  return t < 0 ? tail : 1 - tail;
}

/**
 * Quantile of Student's t.
 *
 * @param p probability, in (0, 1)
 * @param degrees degrees of freedom, > 0
 * @returns infinite where the quantile lies beyond the largest number, as at 1e-40 with a tenth of a degree
 * @throws {RangeError} if `p` or `degrees` is outside its range
 */
export function studentTQuantile(p: number, degrees: number): number {
  requireDegrees("studentTQuantile", degrees);
  if (!(p > 0 && p < 1)) throw new RangeError(`studentTQuantile requires p in (0, 1), got ${p}`);
  if (p === 0.5) return 0;
  const bothTails = 2 * Math.min(p, 1 - p);
  const t = Math.sqrt(degrees) * Math.exp(-0.5 * quantileLogOdds(bothTails, degrees / 2, 0.5));
  return p < 0.5 ? -t : t;
}
