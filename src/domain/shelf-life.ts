import { pmfQuantile } from "../stats/index.ts";
import { dayAfter } from "./calendar.ts";
import type { NeedThrough } from "./restock.ts";

/** Pieces that came in at one moment. */
export interface Batch {
  at: string;
  pieces: number;
}

export interface AgeingStock {
  /** what came in, in any order */
  batches: readonly Batch[];
  /** what is left of it: the last to come in, since the first in goes out first */
  onHand: number;
  shelfLifeDays: number;
}

/** What is on hand as batches with the last day on which each is still good, the oldest first. */
export function goodUntil({
  batches,
  onHand,
  shelfLifeDays,
}: AgeingStock): { day: string; pieces: number }[] {
  const left: { day: string; pieces: number }[] = [];
  let rest = onHand;
  for (const { at, pieces } of [...batches].sort((a, b) => (a.at < b.at ? 1 : -1))) {
    const taken = Math.min(rest, pieces);
    if (taken > 0) left.unshift({ day: dayAfter(at, shelfLifeDays), pieces: taken });
    rest -= taken;
  }
  // What never came in by the book (counted up) is as old as the oldest that did, or not known to be old at all.
  return left;
}

/**
 * Pieces on hand that do not count on a day: past their shelf life by then, and not surely used before. What is used
 * before a batch ends is taken at the 10th percentile of the need by then, so that nothing is relied on twice.
 */
export function lostToAge(stock: AgeingStock, day: string, needs: readonly NeedThrough[]): number {
  let lost = 0;
  let used = 0;
  for (const batch of goodUntil(stock)) {
    if (batch.day >= day) break;
    const needed = needs.findLast((need) => need.day <= batch.day)?.needed;
    const usable = needed === undefined ? 0 : Math.max(0, pmfQuantile(needed, 0.1) - used);
    const served = Math.min(batch.pieces, usable);
    used += served;
    lost += batch.pieces - served;
  }
  return lost;
}
