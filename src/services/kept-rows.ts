import { countGoingOn, selectGoingOn } from "../storage/arriving-rows.ts";
import type { ShopFeedRow } from "../storage/tables.ts";
import type { Rejected } from "./rejected-rows.ts";
import type { Work } from "./work.ts";

/**
 * What becomes of a thing whose row is rejected where the rest of the list is kept: its last good row counts on, and
 * says how old it is. A wrong price does not take a thing off the shelf.
 */

/** How a list differs from the one before, in things. */
export interface Difference {
  added: number;
  changed: number;
  gone: number;
}
export type Counts = Pick<ShopFeedRow, "rows" | "matched" | "unmatched">;
/** How many rows go on counting, and of those that an answer lists the moment at which they were said. */
export interface Kept extends Counts {
  saidAt: ReadonlyMap<string, string>;
}

/**
 * Rows of the list that counts that go on counting, because the newer row of the same thing was rejected.
 *
 * @param arrivedId the list that arrived, whose sound rows come first
 */
export async function keptRows(
  { db }: Work,
  arrivedId: string,
  { listId, listedAt }: ShopFeedRow,
  rejected: Rejected,
): Promise<Kept> {
  if (listId === null || listedAt === null || !rejected.noted)
    return { rows: 0, matched: 0, unmatched: 0, saidAt: new Map() };
  const lists = { arrived: arrivedId, before: listId };
  const counts = await countGoingOn(db, lists);
  const shown = new Set(rejected.listed.flatMap(({ sku }) => (sku === null ? [] : [sku])));
  const said = await selectGoingOn(db, lists, [...shown]);
  return { ...counts, saidAt: new Map(said.map(({ sku, saidAt }) => [sku, saidAt ?? listedAt])) };
}

/** The difference and the counts of a full list with the rows that go on counting. */
export function withKept(difference: Difference, counts: Counts, kept: Counts) {
  return {
    difference: { ...difference, gone: difference.gone - kept.rows },
    counts: {
      rows: counts.rows + kept.rows,
      matched: counts.matched + kept.matched,
      unmatched: counts.unmatched + kept.unmatched,
    },
  };
}
