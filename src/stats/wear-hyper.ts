/** Hyper-parameters of a line from coordinates in which their prior is standard normal. */
import { BASE_DIMENSIONS, clamp, EXPONENT, LOG_Z90, type ScaledPrior } from "./wear-scale.ts";
import type { WearHyper } from "./wear-types.ts";

const MOST_BEND = 3;

/** Weight of the cubic term below. */
const CUBIC = 0.1;
/**
 * Turns a standard normal score into one with heavier tails and the same 10th and 90th percentiles (close to Student's
 * law with four degrees of freedom): a line whose pieces last much less than was believed is then learned as such.
 */
export function heavyTailed(z: number): number {
  const inner = clamp(z, -7, 7);
  return (inner * (1 + CUBIC * inner * inner)) / (1 + CUBIC * LOG_Z90 * LOG_Z90);
}

/** Below so many standard deviations a scatter is taken for no smaller than `SMALLEST_SCORE`, without a kink. */
const SMALL_SCORE = -5;
const SMALLEST_SCORE = -8;

/**
 * Score of the log of a scatter (between pieces, from run to run, of readings), bounded from below: readings that agree to the
 * last digit on many pieces would else make it nothing, and their likelihood infinite. What is read is rounded.
 */
function scatterScore(z: number): number {
  const below = SMALL_SCORE - SMALLEST_SCORE;
  return z > SMALL_SCORE ? z : SMALL_SCORE + below * Math.tanh((z - SMALL_SCORE) / below);
}

/** Log of hyper-parameter `k`, less its centre, at a standardised coordinate. */
function logAt(prior: ScaledPrior, k: number, standard: number): number {
  if (k === 0) return prior.sd[0]! * heavyTailed(standard);
  const z = clamp(standard, -40, 40);
  return prior.sd[k]! * (k < EXPONENT ? scatterScore(z) : z);
}

/** Derivative of the log of hyper-parameter `k` by its standardised coordinate. */
export function logSlope(prior: ScaledPrior, k: number, standard: number): number {
  if (k === 0 || (k < EXPONENT && standard < SMALL_SCORE))
    return (logAt(prior, k, standard + 1e-4) - logAt(prior, k, standard - 1e-4)) / 2e-4;
  return prior.sd[k]!;
}

/** Hyper-parameters from standardised coordinates: `standard[i]` belongs to coordinate `index[i]` of the prior. */
export function hyperFrom(
  prior: ScaledPrior,
  standard: readonly number[],
  index: readonly number[],
): WearHyper {
  const logs = prior.centre.slice();
  for (let i = 0; i < index.length; i++) {
    const k = index[i]!;
    logs[k]! += logAt(prior, k, standard[i]!);
  }
  return {
    rate: Math.exp(logs[0]!),
    spread: Math.exp(logs[1]!),
    noise: Math.exp(logs[2]!),
    reading: Math.exp(logs[3]!),
    exponent: Math.exp(clamp(logs[4]!, -2, 2)),
    bend: clamp(logs[5]!, -MOST_BEND, MOST_BEND),
    multipliers: logs.slice(BASE_DIMENSIONS).map(Math.exp),
  };
}
