import { currencyDecimals } from "../domain/money.ts";

/** Bench labour of one change, and what a lost run costs: its share of the entry, the tyres and the drive there (common practice, no source). */
const inTwoDecimals = { labour: 500, lostRun: 2500 };
/** A part that does not end the day when it is worn out costs this share of a lost run (common practice, no source). */
export const lesserShare = 0.2;

/** What a change and a lost run cost where nobody says, in minor units of a currency. */
export function usualCosts(currency: string): { labourMinorUnits: number; lostRunMinorUnits: number } {
  const scale = 10 ** (currencyDecimals(currency) - 2);
  return {
    labourMinorUnits: Math.round(inTwoDecimals.labour * scale),
    lostRunMinorUnits: Math.round(inTwoDecimals.lostRun * scale),
  };
}
