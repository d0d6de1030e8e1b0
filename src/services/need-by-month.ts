import { rangeOf } from "../domain/demand-seasons.ts";
import { monthsOf } from "../domain/season-spend.ts";
import { pmfMean } from "../stats/index.ts";
import type { BoughtDemand } from "./bought-demand.ts";

/** Standard error of a 10th percentile's place with so many seasons: 1 %. */
const seasons = 1000;

export interface MonthOfNeed {
  /** YYYY-MM, and the last day of it that counts */
  month: string;
  lastDay: string;
  expected: number;
  pieces: { p10: number; median: number; p90: number };
}

/**
 * The need of what is bought as one line in each month. Expected numbers are differences of the laws' means, so that they
 * add up to the need of the whole stretch; ranges are those of seasons that are followed to their end.
 *
 * @param demand looked at on the last day of each month that counts, among others
 */
export function needByMonth(
  { parts, needs }: Pick<BoughtDemand, "parts" | "needs">,
  today: string,
  through: string,
): MonthOfNeed[] {
  const followed = parts.map((part) => part.seasons(seasons));
  const before = new Int32Array(seasons);
  let meanBefore = 0;
  return monthsOf(today, through).map(({ month, lastDay }) => {
    const at = needs.findIndex(({ day }) => day === lastDay);
    const inMonth = new Int32Array(seasons);
    for (let season = 0; season < seasons; season++) {
      const needed = followed.reduce((sum, part) => sum + part[at]![season]!, 0);
      inMonth[season] = needed - before[season]!;
      before[season] = needed;
    }
    const mean = pmfMean(needs[at]!.needed);
    const expected = Math.max(0, mean - meanBefore);
    meanBefore = mean;
    return { month, lastDay, expected, pieces: rangeOf(inMonth) };
  });
}
