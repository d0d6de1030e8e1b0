/** How well a quantity is known: quantiles of the posterior of a function of a life distribution. */
import type { LifeDistribution } from "./life-distribution.ts";
import { lifeFromPoint } from "./life-fit.ts";
import type { LifePosterior } from "./life-posterior.ts";
import { normalCdf } from "./normal.ts";

/** Width of the kernel in standard deviations of the logarithms: wider than the grid's step of 0.4 needs, half of it. */
const KERNEL = 0.25;
const MOST_HALVINGS = 60;

/**
 * Quantiles of a positive quantity, such as the shape or the median life, over what the observations leave possible.
 *
 * The values on the grid are smoothed on the log scale by normal kernels, shrunk towards their mean so that mean and
 * variance are kept (West 1993): without it the quantiles would jump from node to node.
 *
 * @param f quantity, finite and > 0 on the whole grid
 * @param probabilities each in (0, 1)
 * @returns one quantile for each probability, in their order
 * @throws {RangeError} if a probability is outside (0, 1), or the quantity is not finite and > 0
 */
export function posteriorQuantiles(
  posterior: LifePosterior,
  f: (life: LifeDistribution) => number,
  probabilities: readonly number[],
): number[] {
  const { distribution, location, spread, weight } = posterior;
  const logs = weight.map((_, k) => {
    const value = f(lifeFromPoint(distribution, location[k]!, Math.log(spread[k]!)));
    if (!(value > 0 && value < Infinity)) {
      throw new RangeError(`posteriorQuantiles requires a finite quantity > 0, got ${value}`);
    }
    return Math.log(value);
  });
  const mean = logs.reduce((sum, log, k) => sum + weight[k]! * log, 0);
  const sd = Math.sqrt(logs.reduce((sum, log, k) => sum + weight[k]! * (log - mean) ** 2, 0));
  const shrink = Math.sqrt(1 - KERNEL * KERNEL);
  const below = (log: number): number => {
    if (sd === 0) return log >= mean ? 1 : 0;
    let sum = 0;
    for (let k = 0; k < logs.length; k += 1) {
      const centre = mean + shrink * (logs[k]! - mean);
      sum += weight[k]! * normalCdf((log - centre) / (KERNEL * sd));
    }
    return sum;
  };
  const least = logs.reduce((a, b) => Math.min(a, b), Infinity) - sd;
  const most = logs.reduce((a, b) => Math.max(a, b), -Infinity) + sd;
  return probabilities.map((p) => {
    if (!(p > 0 && p < 1)) throw new RangeError(`posteriorQuantiles requires p in (0, 1), got ${p}`);
    let [low, high] = [least, most];
    for (let halving = 0; halving < MOST_HALVINGS && high - low > 1e-9; halving += 1) {
      const middle = (low + high) / 2;
      if (below(middle) < p) low = middle;
      else high = middle;
    }
    return Math.exp((low + high) / 2);
  });
}
