/**
 * Gamma process: wear that never falls, in independent gamma-distributed steps (van Noortwijk 2009).
 *
 * It has no reading error, so that one step backwards breaks it; the service does not forecast with it. It is here
 * as the law to test other models against.
 */
import { digamma, gammaQ, logGamma } from "./gamma.ts";
import { findRoot } from "./optimise.ts";

export interface GammaProcess {
  /** shape gained per unit of time, > 0 */
  shapePerTime: number;
  /** scale of every step, > 0, in units of wear */
  scale: number;
}

/**
 * Maximum-likelihood fit from steps over equal times: ln(shape) - digamma(shape) = ln(mean) - mean(ln), scale =
 * mean / shape.
 *
 * @param steps wear gained over each interval, > 0
 * @param interval length of every interval, > 0
 * @throws {RangeError} if a step is not > 0 or all steps are equal
 */
export function fitGammaProcess(
  steps: readonly number[],
  interval: number,
): GammaProcess & { logLikelihood: number } {
  if (!(interval > 0 && interval < Infinity))
    throw new RangeError("fitGammaProcess requires an interval > 0");
  if (steps.length < 2 || !steps.every((s) => s > 0 && s < Infinity))
    throw new RangeError("fitGammaProcess requires at least two steps, all > 0");
  const mean = steps.reduce((a, b) => a + b, 0) / steps.length;
  const meanLog = steps.reduce((sum, s) => sum + Math.log(s), 0) / steps.length;
  const gap = Math.log(mean) - meanLog;
  if (!(gap > 1e-12)) throw new RangeError("fitGammaProcess requires steps that differ");
  const slack = (logShape: number): number => logShape - digamma(Math.exp(logShape)) - gap;
  // Thom's approximation (1958) is within 2 %, which makes the bracket.
  const start = Math.log((3 - gap + Math.sqrt((gap - 3) ** 2 + 24 * gap)) / (12 * gap));
  const shape = Math.exp(findRoot(slack, start - 0.1, start + 0.1, 1e-14));
  const scale = mean / shape;
  const each = (shape - 1) * meanLog - mean / scale - logGamma(shape) - shape * Math.log(scale);
  return { shapePerTime: shape / interval, scale, logLikelihood: steps.length * each };
}

/**
 * Probability that the process has reached `limit` by `time`.
 *
 * @param time >= 0
 * @param limit > 0
 * @throws {RangeError} if an argument is outside its range
 */
export function gammaProcessCdf(time: number, limit: number, process: GammaProcess): number {
  if (!(time >= 0 && time < Infinity)) throw new RangeError("gammaProcessCdf requires a finite time >= 0");
  if (!(limit > 0 && limit < Infinity)) throw new RangeError("gammaProcessCdf requires a limit > 0");
  if (time === 0) return 0;
  return gammaQ(process.shapePerTime * time, limit / process.scale);
}
