import type { ShopItem } from "../domain/stock-row.ts";
import { insertListed, noteRejected } from "../storage/arriving-rows.ts";
import type { Spool } from "../storage/spool.ts";
import type { ListedRow } from "../storage/tables.ts";
import type { Counts } from "./kept-rows.ts";
import { type Match, matcherFor } from "./match-lines.ts";
import { type ListForm, readStockList } from "./read-stock-list.ts";
import type { Rejected } from "./rejected-rows.ts";
import { together, type Work } from "./work.ts";

/** What was read of a list. */
export interface Read {
  rowsRead: number;
  rejected: Rejected;
  /** of the sound rows */
  counts: Counts;
}

/** Rows written in one short transaction: others wait for no longer than that. */
const rowsTogether = 5000;

/**
 * A row that waits to be written. A class, because V8 decides for an object literal whose objects outlive a collection
 * to make all that follow among its old objects, where they lie long after they are written.
 */
class ArrivedRow implements ListedRow {
  readonly listId: string;
  readonly rowNo: number;
  readonly sku: string;
  readonly name: string | null;
  readonly gtin: string | null;
  readonly mpn: string | null;
  readonly onHand: number | null;
  readonly priceMinorUnits: number | null;
  readonly availability: ListedRow["availability"];
  readonly leadTimeLeastDays: number | null;
  readonly leadTimeMostDays: number | null;
  readonly minimumOrder: number | null;
  readonly lineId: string | null;
  readonly matchedBy: ListedRow["matchedBy"];
  readonly saidAt = null;
  constructor(listId: string, rowNo: number, item: ShopItem, { lineId, matchedBy }: Match) {
    this.listId = listId;
    this.rowNo = rowNo;
    this.sku = item.sku;
    this.name = item.name;
    this.gtin = item.gtin;
    this.mpn = item.mpn;
    this.onHand = item.onHand;
    this.priceMinorUnits = item.priceMinorUnits;
    this.availability = item.availability;
    this.leadTimeLeastDays = item.leadTimeLeastDays;
    this.leadTimeMostDays = item.leadTimeMostDays;
    this.minimumOrder = item.minimumOrder;
    this.lineId = lineId;
    this.matchedBy = matchedBy;
  }
}

/**
 * Reads a list and writes its rows under its own id, where nobody sees them yet. No more than a batch of rows is in
 * memory at once.
 *
 * @param noting whether to note the article numbers of rejected rows, whose last good rows may go on counting
 */
export async function stageStockList(
  work: Work,
  { shopId, listId, noting }: { shopId: string; listId: string; noting: boolean },
  spool: Spool,
  form: ListForm,
  rejected: Rejected,
): Promise<Read> {
  const matcher = await matcherFor(work, work.db, shopId);
  const counts = { rows: 0, matched: 0, unmatched: 0 };
  const tally = ({ lineId, matchedBy }: ListedRow, by: 1 | -1) => {
    counts.rows += by;
    if (lineId !== null) counts.matched += by;
    if (matchedBy === null) counts.unmatched += by;
  };
  let batch: ListedRow[] = [];
  const flush = async () => {
    // In the order of the table's key, rows go into few of its pages.
    const rows = batch.sort((a, b) => (a.sku < b.sku ? -1 : a.sku > b.sku ? 1 : a.rowNo - b.rowNo));
    batch = [];
    if (rows.length > 0) {
      const again = await together(work, ({ db }) => insertListed(db, rows));
      for (const row of rows) tally(row, 1);
      for (const { row, firstRowNo } of again) {
        tally(row, -1);
        rejected.add(
          row.rowNo,
          form.columns.sku ?? "sku",
          row.sku,
          `is there twice: row ${firstRowNo} has the same article number; write one row for each`,
        );
      }
    }
    const skus = rejected.handOn();
    if (!noting || skus.length === 0) return;
    await together(work, ({ db }) => noteRejected(db, listId, skus));
    rejected.noted = true;
  };
  const rowsRead = await readStockList(spool.read(), form, rejected, {
    keep: (item, rowNo) => batch.push(new ArrivedRow(listId, rowNo, item, matcher.match(item))),
    pause: async () => {
      if (batch.length + rejected.waiting >= rowsTogether) await flush();
    },
  });
  await flush();
  return { rowsRead, rejected, counts };
}
