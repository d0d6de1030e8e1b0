import { DomainError, notFound } from "../domain/errors.ts";
import type { Page, PageRequest } from "../storage/records.ts";
import { keepsRejected, pageOfRejected } from "../storage/rejected-rows.ts";
import type { RejectedFaultRow, StockListRow } from "../storage/tables.ts";
import { listRecords, readRecord } from "./keep-records.ts";
import { getShop } from "./keep-shops.ts";
import type { Work } from "./work.ts";

/** How lists of a shop arrived, the newest first. */
export async function listArrivals(work: Work, id: string, page: PageRequest): Promise<Page<StockListRow>> {
  await getShop(work, id);
  return listRecords(work, "stockLists", { ...page, descending: true }, { shopId: id }, "arrivedAt");
}

/**
 * What was wrong with the rows of an arrival, in the order in which it was found.
 *
 * @throws {DomainError} `not_found` where the shop or its arrival is unknown, or a later arrival has taken the place of
 * what was kept of this one
 */
export async function listRejectedRows(
  work: Work,
  { id, arrivalId }: { id: string; arrivalId: string },
  page: PageRequest,
): Promise<Page<RejectedFaultRow>> {
  await getShop(work, id);
  const { shopId, rejected } = await readRecord(work, "stockLists", "arrival", arrivalId);
  if (shopId !== id) throw notFound("arrival", arrivalId);
  // Without this, an arrival whose faults are forgotten would look like one without any.
  if (rejected > 0 && !(await keepsRejected(work.db, arrivalId)))
    throw new DomainError(
      "not_found",
      "The rejected rows of this arrival are no longer kept, only those of the shop's last arrival are; how many it had stays in the list of arrivals",
    );
  return pageOfRejected(work.db, arrivalId, page);
}
