import { packsFor } from "./restock.ts";

/** What a season's need costs where whole packs are bought as soon as what there is runs out. */

export interface SpendTerms {
  /** pieces there are already */
  held: number;
  packSize: number;
  orderMultiplePacks: number;
  priceMinorUnits: number;
}

/**
 * Spend in each month of each season, in minor units.
 *
 * @param needed pieces needed through the end of each month, one list of seasons per month
 */
export function spendByMonth(needed: readonly Int32Array[], terms: SpendTerms): Float64Array[] {
  const bought = new Int32Array(needed[0]?.length ?? 0);
  return needed.map((month) =>
    Float64Array.from(month, (pieces, season) => {
      const packs = packsFor(pieces - terms.held, terms);
      const more = Math.max(0, packs - bought[season]!);
      bought[season]! += more;
      return more * terms.priceMinorUnits;
    }),
  );
}

/** The months of a stretch of days as YYYY-MM with the last day of each that counts. */
export function monthsOf(from: string, through: string): { month: string; lastDay: string }[] {
  const months: { month: string; lastDay: string }[] = [];
  for (let month = from.slice(0, 7); month <= through.slice(0, 7); month = monthAfter(month)) {
    const end = new Date(Date.parse(`${monthAfter(month)}-01T00:00:00.000Z`) - 86_400_000)
      .toISOString()
      .slice(0, 10);
    months.push({ month, lastDay: end < through ? end : through });
  }
  return months;
}

const monthAfter = (month: string): string => {
  const [year, number] = month.split("-").map(Number) as [number, number];
  return number === 12
    ? `${String(year + 1).padStart(4, "0")}-01`
    : `${String(year).padStart(4, "0")}-${String(number + 1).padStart(2, "0")}`;
};
