import { insertNew } from "./arriving-rows.ts";
import type { Queries } from "./database.ts";
import { cutPage, type Page, type PageRequest } from "./records.ts";
import type { RejectedFaultRow } from "./tables.ts";

/** What was wrong with the rows of the last list that arrived from a shop; the arrival before is forgotten with it. */

const columns = ["listId", "no", "row", "column", "sku", "detail"] as const;
type Fault = Pick<RejectedFaultRow, "row" | "column" | "sku" | "detail">;

/** Faults that wait to be written: they are given their numbers a batch at a time. */
const writtenAtOnce = 500;

/** Keeps the faults of an arrival in the place of those of the shop's arrivals before. Call it in a transaction. */
export async function replaceRejected(
  q: Queries,
  { id: listId, shopId }: { id: string; shopId: string },
  faults: readonly Fault[],
): Promise<void> {
  await q
    .deleteFrom("rejectedRows")
    .where("listId", "in", (e) => e.selectFrom("stockLists").select("id").where("shopId", "=", shopId))
    .execute();
  for (let from = 0; from < faults.length; from += writtenAtOnce) {
    const some = faults.slice(from, from + writtenAtOnce);
    const rows = some.map((fault, i) => ({ ...fault, listId, no: from + i + 1 }));
    await insertNew(q, "rejectedRows", columns, rows);
  }
}

/** Whether any fault of an arrival is kept. */
export async function keepsRejected(q: Queries, listId: string): Promise<boolean> {
  const one = await q
    .selectFrom("rejectedRows")
    .select("no")
    .where("listId", "=", listId)
    .limit(1)
    .executeTakeFirst();
  return one !== undefined;
}

/** A page of the faults of an arrival, in the order in which they were found. */
export async function pageOfRejected(
  q: Queries,
  listId: string,
  { limit, after }: PageRequest,
): Promise<Page<RejectedFaultRow>> {
  const rows = await q
    .selectFrom("rejectedRows")
    .selectAll()
    .where("listId", "=", listId)
    .$if(after !== null, (s) => s.where("no", ">", Number(after!.key)))
    .orderBy("no")
    .limit(limit + 1)
    .execute();
  return cutPage(rows, limit, (last) => ({ key: last.no, id: String(last.no) }));
}
