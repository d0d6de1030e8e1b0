/** Laws that are mixtures: of normal levels, of log-normal rates, of first passages. Quantiles by root search. */
import { bentBack, straightened, straightenedSlope } from "./wear-bend.ts";
import { QuantileFinder } from "./quantile-finder.ts";
import { passageChance } from "./wear-passage.ts";
import { tailCdf } from "./wear-tail.ts";
import type { Quantiles } from "./wear-types.ts";

/** Components that share one set of hyper-parameters: those of the mixture `from` here, up to but not with `to`. */
export interface WearGroup {
  from: number;
  to: number;
  /** usage now in scaled units, all conditions counted */
  usage: number;
  /** the same on the clock of the group */
  clock: number;
  exponent: number;
  bend: number;
  /** variance gained per unit of the clock */
  diffusion: number;
}

/**
 * The wear of a piece as some hundred components, normal in each, with a rate of its own. All of them lie in one array
 * for each number: a forecast made of many small arrays leaves most of its garbage to the slow collections.
 */
export interface WearMixture {
  groups: readonly WearGroup[];
  /** adds up to 1 */
  weight: Float64Array;
  rate: Float64Array;
  level: Float64Array;
  variance: Float64Array;
}

/** Further clock of a group when usage grows by `ahead`. */
function clockAhead(group: WearGroup, ahead: number): number {
  return Math.max(0, Math.min(1e30, (group.usage + ahead) ** group.exponent) - group.clock);
}

/** Probability that the wear is past `limit` within `ahead` more scaled usage; not conditional. */
export function mixturePassage(mixture: WearMixture, limit: number, ahead: number): number {
  const { groups, weight, rate, level, variance } = mixture;
  let sum = 0;
  for (const group of groups) {
    const clock = ahead > 0 ? clockAhead(group, ahead) : 0;
    const gained = group.diffusion * clock;
    const end = straightened(limit, group.bend);
    for (let i = group.from; i < group.to; i++)
      sum += weight[i]! * passageChance(end - level[i]!, variance[i]!, rate[i]! * clock, gained);
  }
  return Math.min(1, sum);
}

/** Probability that the wear is at most `x` now. */
export function mixtureLevelCdf({ groups, weight, level, variance }: WearMixture, x: number): number {
  let sum = 0;
  for (const { from, to, bend } of groups) {
    const at = straightened(x, bend);
    for (let i = from; i < to; i++) {
      const off = at - level[i]!;
      const sd = Math.sqrt(variance[i]!);
      sum += weight[i]! * (sd > 0 ? tailCdf(off / sd) : Number(off >= 0));
    }
  }
  return Math.min(1, sum);
}

/** Mean and standard deviation of the wear now, about: of each component as if the scale were straight at its middle. */
export function mixtureLevelMoments({ groups, weight, level, variance }: WearMixture): {
  mean: number;
  sd: number;
} {
  let mean = 0;
  let square = 0;
  for (const { from, to, bend } of groups)
    for (let i = from; i < to; i++) {
      const wear = bentBack(level[i]!, bend);
      mean += weight[i]! * wear;
      square += weight[i]! * (variance[i]! / straightenedSlope(wear, bend) ** 2 + wear * wear);
    }
  return { mean, sd: Math.sqrt(Math.max(0, square - mean * mean)) };
}

/** p10, median and p90 of a law with distribution function `cdf`, around its mean and standard deviation. */
export function quantilesAround(cdf: (x: number) => number, mean: number, sd: number): Quantiles {
  if (!(sd > 0)) return { p10: mean, median: mean, p90: mean };
  const guesses = [mean - 1.28 * sd, mean, mean + 1.28 * sd];
  const law = new QuantileFinder(cdf, { guesses, step: sd, tolerance: 1e-6 * sd });
  return { p10: law.at(0.1), median: law.at(0.5), p90: law.at(0.9) };
}

/**
 * Wear per scaled usage over the next `run`. The discrete rates of a group are replaced by the log-normal law with
 * their first two moments of the log, so that the quantiles do not jump from node to node.
 */
export function mixtureRate({ groups, weight, rate, level }: WearMixture, run: number): Quantiles {
  const parts = groups.map((group) => {
    const { from, to, bend } = group;
    const clock = clockAhead(group, run);
    let mass = 0;
    let mean = 0;
    let square = 0;
    for (let i = from; i < to; i++) {
      const gained = bentBack(level[i]! + rate[i]! * clock, bend) - bentBack(level[i]!, bend);
      const log = Math.log(Math.max(gained, 1e-300) / run);
      // Updated, not summed up: the squares of far logs less the square of their mean would lose their digits (Welford 1962).
      mass += weight[i]!;
      const off = log - mean;
      mean += (weight[i]! / mass) * off;
      square += weight[i]! * off * (log - mean);
    }
    return { mass, mean, sd: Math.sqrt(square / mass) };
  });
  const mean = parts.reduce((sum, part) => sum + part.mass * part.mean, 0);
  const sd = Math.sqrt(
    parts.reduce((sum, part) => sum + part.mass * (part.sd ** 2 + (part.mean - mean) ** 2), 0),
  );
  const cdf = (x: number): number =>
    parts.reduce(
      (sum, part) =>
        sum + part.mass * (part.sd > 0 ? tailCdf((x - part.mean) / part.sd) : Number(x >= part.mean)),
      0,
    );
  const logs = quantilesAround(cdf, mean, sd);
  return { p10: Math.exp(logs.p10), median: Math.exp(logs.median), p90: Math.exp(logs.p90) };
}

/** Five-point Gauss-Legendre rule on (0, 1). */
const NODES = [0.046910077030668, 0.2307653449471585, 0.5, 0.7692346550528415, 0.953089922969332];
const WEIGHTS = [
  0.1184634425280945, 0.2393143352496832, 0.2844444444444444, 0.2393143352496832, 0.1184634425280945,
];

/** Mean of a positive law from its survival function, in panels around the median; null when the tail does not end. */
export function meanFromSurvival(survival: (x: number) => number, median: number): number | null {
  if (!(median > 0)) return 0;
  let mean = 0;
  let from = 0;
  let length = median / 3;
  for (let panel = 0; panel < 40; panel++) {
    let area = 0;
    for (let i = 0; i < 5; i++) area += WEIGHTS[i]! * survival(from + length * NODES[i]!);
    mean += area * length;
    from += length;
    if (area * from < 1e-6 * mean) return mean;
    if (panel >= 5) length *= 1.7;
  }
  return null;
}
