import { selectListed } from "../storage/stock-lists.ts";
import type { ListedRow, ShopFeedRow } from "../storage/tables.ts";
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
/** A row with the moment at which it was said. */
export type KeptRow = ListedRow & { saidAt: string };

/**
 * Rows of the list that counts that go on counting, because the newer row of the same thing was rejected.
 *
 * @param arrivedId the list that arrived, whose sound rows come first
 * @param skus of rejected rows
 */
export async function keptRows(
  work: Work,
  arrivedId: string,
  { listId, listedAt }: ShopFeedRow,
  skus: ReadonlySet<string>,
): Promise<KeptRow[]> {
  if (listId === null || listedAt === null || skus.size === 0) return [];
  const wanted = [...skus];
  const sound = new Set((await selectListed(work.db, arrivedId, { skus: wanted })).map(({ sku }) => sku));
  return (await selectListed(work.db, listId, { skus: wanted }))
    .filter(({ sku }) => !sound.has(sku))
    .map((row) => ({ ...row, saidAt: row.saidAt ?? listedAt }));
}

/** The difference and the counts of a full list with the rows that go on counting. */
export function withKept(difference: Difference, counts: Counts, kept: readonly ListedRow[]) {
  return {
    difference: { ...difference, gone: difference.gone - kept.length },
    counts: {
      rows: counts.rows + kept.length,
      matched: counts.matched + kept.filter(({ lineId }) => lineId !== null).length,
      unmatched: counts.unmatched + kept.filter(({ matchedBy }) => matchedBy === null).length,
    },
  };
}
