import { pmfCdf } from "../stats/index.ts";

/** What to add to an order that is below the supplier's minimum: what will most likely be needed anyway. */

export interface FillLine {
  /** law of the pieces needed */
  needed: readonly number[];
  /** pieces there are, with those on the list already */
  stocked: number;
  /** pieces, and minor units, of the least that the supplier sells at once */
  unitPieces: number;
  unitPrice: number;
}

const mostUnits = 200;
/** A unit that is used with less than this chance is money in a drawer. */
const usualLeastUse = 0.02;

/**
 * Units of each line that reach the minimum, always the one whose first further piece is most likely to be used; null
 * where that takes what will hardly ever be used: freight or another supplier is then the better choice.
 *
 * @param leastUse the chance of being used that a further unit has to pass
 */
export function fillOrder(
  lines: readonly FillLine[],
  missing: number,
  leastUse: number = usualLeastUse,
): number[] | null {
  const units = lines.map(() => 0);
  let rest = missing;
  for (let step = 0; rest > 0; step++) {
    let best = -1;
    let bestUse = leastUse;
    lines.forEach((line, i) => {
      const use = 1 - pmfCdf(line.needed, line.stocked + units[i]! * line.unitPieces);
      if (line.unitPrice > 0 && use > bestUse) {
        best = i;
        bestUse = use;
      }
    });
    if (best === -1 || step === mostUnits) return null;
    units[best]!++;
    rest -= lines[best]!.unitPrice;
  }
  return units;
}
