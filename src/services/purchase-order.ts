import { selectClub } from "../storage/clubs.ts";
import { allRecords, getRecord } from "../storage/records.ts";
import { readOrder } from "./keep-orders.ts";
import { totalsOf } from "./needs-ahead.ts";
import type { Work } from "./work.ts";

/**
 * An order as the supplier needs it: who orders, where it goes, and each line with the numbers that the supplier may
 * know it by, and what it costs at the price agreed.
 *
 * @throws {DomainError} `not_found` or `not_allowed`
 */
export async function purchaseOrder(work: Work, id: string) {
  const order = await readOrder(work, id);
  const { clubId } = work.actor;
  const [club, lines, location] = await Promise.all([
    selectClub(work.db, clubId),
    allRecords(work.db, "lines", clubId),
    getRecord(work.db, "locations", clubId, order.locationId, "location"),
  ]);
  const byId = new Map(lines.map((line) => [line.id, line]));
  const priced = order.lines.map((line) => {
    const { gtin = null, makersPartNumber = null } = byId.get(line.lineId) ?? {};
    return { ...line, gtin, makersPartNumber, costMinorUnits: line.packs * line.priceMinorUnits };
  });
  return {
    ...order,
    clubName: club.name,
    locationName: location.name,
    lines: priced,
    totals: totalsOf(priced),
  };
}
