/** Replacement before failure in whole periods, at fixed times, and in sets. */
import { type ReplacementCosts, requireCosts } from "./age-replacement.ts";
import { renewalFunction } from "./renewal.ts";
import type { Cdf } from "./renewal-grid.ts";
import { discreteRenewal } from "./renewal-lattice.ts";

/**
 * Long-run cost per period when replaced after N whole periods, or at failure if earlier: C(N) = [failureCost (1 - S_N) + plannedCost S_N] / Σ over k < N of S_k.
 *
 * @param input.life element i - 1 is the chance of a life of exactly i periods; sums to 1
 * @returns `costRates`: element N - 1 is the cost per period when replaced after N periods; `periods` null where running to
 *   failure is as cheap
 * @throws {RangeError} if a cost is not above 0, or `life` is not a law
 */
export function ageReplacementPeriods(input: { life: readonly number[] } & ReplacementCosts): {
  periods: number | null;
  costRate: number;
  costRateRunToFailure: number;
  costRates: number[];
} {
  const { life, plannedCost, failureCost } = input;
  requireCosts("ageReplacementPeriods", input);
  requireLife("ageReplacementPeriods", life);
  const costRates: number[] = [];
  let surviving = 1;
  let area = 0;
  for (const chance of life) {
    area += surviving;
    surviving = Math.max(0, surviving - chance);
    costRates.push((failureCost * (1 - surviving) + plannedCost * surviving) / area);
  }
  const costRateRunToFailure = failureCost / area;
  const costRate = Math.min(...costRates);
  const periods = costRate < costRateRunToFailure * (1 - 1e-12) ? costRates.indexOf(costRate) + 1 : null;
  return {
    periods,
    costRate: periods === null ? costRateRunToFailure : costRate,
    costRateRunToFailure,
    costRates,
  };
}

/**
 * Replacing all positions together every N periods, with failures in between replaced singly:
 * C(N) = positions [groupCost + individualCost (u_1 + … )] / N, u the expected failures per position and period.
 *
 * @param input.life element i - 1 is the chance of a life of exactly i periods; sums to 1
 * @param input.individualCost cost of one single replacement
 * @param input.groupCost cost per position of replacing all together
 * @param input.lastPeriod whether failures of the last period are still replaced singly, or wait for the group
 * @param input.most largest N looked at, default the longest life
 * @returns `costRates`: element N - 1; the best N; and the cost per period of only ever replacing singly, which may well be
 *   lower
 * @throws {RangeError} if a value is out of range
 */
export function groupReplacement(input: {
  positions: number;
  life: readonly number[];
  individualCost: number;
  groupCost: number;
  lastPeriod: "single" | "absorbed";
  most?: number;
}): { costRates: number[]; periods: number; costRate: number; costRateSingly: number } {
  const { positions, life, individualCost, groupCost, lastPeriod, most = life.length } = input;
  requireCosts("groupReplacement", { plannedCost: groupCost, failureCost: individualCost });
  requireLife("groupReplacement", life);
  if (!(positions > 0 && positions < Infinity))
    throw new RangeError("groupReplacement requires positions above 0");
  if (!(Number.isInteger(most) && most >= 1))
    throw new RangeError("groupReplacement requires at least one period");
  const failures = discreteRenewal({ life, periods: most });
  const costRates: number[] = [];
  let single = 0;
  for (let n = 1; n <= most; n++) {
    const before = single;
    single += failures[n - 1]!;
    const counted = lastPeriod === "single" ? single : before;
    costRates.push((positions * (groupCost + individualCost * counted)) / n);
  }
  const costRate = Math.min(...costRates);
  const meanLife = life.reduce((sum, chance, i) => sum + (i + 1) * chance, 0);
  return {
    costRates,
    periods: costRates.indexOf(costRate) + 1,
    costRate,
    costRateSingly: (positions * individualCost) / meanLife,
  };
}

/**
 * Long-run cost per unit of age when a position is renewed at fixed times, whatever its age, and after each failure:
 * [plannedCost + failureCost M(interval)] / interval.
 *
 * @throws {RangeError} if a cost or the interval is not above 0
 */
export function blockReplacementCost(input: { cdf: Cdf; interval: number } & ReplacementCosts): number {
  const { cdf, interval, plannedCost, failureCost } = input;
  requireCosts("blockReplacementCost", input);
  if (!(interval > 0)) throw new RangeError("blockReplacementCost requires an interval above 0");
  return (plannedCost + failureCost * renewalFunction({ cdf, horizon: interval })) / interval;
}

/**
 * Law of the life of a set that is replaced as soon as the first of its `size` parts is due, parts independent:
 * 1 - (1 - F)^size.
 *
 * @throws {RangeError} if size is not a whole number of at least 1
 */
export function setCdf(cdf: Cdf, size: number): Cdf {
  if (!Number.isSafeInteger(size) || size < 1) throw new RangeError("setCdf requires a size of at least 1");
  return (t) => -Math.expm1(size * Math.log1p(-cdf(t)));
}

function requireLife(caller: string, life: readonly number[]): void {
  const sum = life.reduce((total, chance) => total + chance, 0);
  if (!life.every((chance) => chance >= 0) || !(Math.abs(sum - 1) <= 1e-9)) {
    throw new RangeError(`${caller} requires chances of lives that sum to 1, got ${sum}`);
  }
}
