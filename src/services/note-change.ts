import type { Audience, Change } from "../domain/change.ts";
import { insertChange, insertChanges } from "../storage/changes.ts";
import type { Queries, Trx } from "../storage/database.ts";
import type { OrderShown } from "../storage/orders.ts";
import { getRecord } from "../storage/records.ts";
import type { LocationRow } from "../storage/tables.ts";
import type { Work } from "./work.ts";

/**
 * Tells the feed of changes what has just happened. Call it where it happens, in the same transaction: then the feed
 * holds what was kept, and nothing else.
 *
 * @throws {RangeError} outside a transaction
 */
export async function noteChange(work: Work, change: Change): Promise<void> {
  if (!work.db.isTransaction) throw new RangeError("noteChange requires a transaction");
  await insertChange(work.db, work.actor.clubId, change, { at: work.now(), by: work.actor.name });
  work.wake?.();
}

/**
 * The same for the many changes of an import, in their order: they are written several hundred at a time, and made as
 * they are written.
 *
 * @throws {RangeError} outside a transaction
 */
export async function noteChanges(work: Work, changes: Iterable<Change>): Promise<void> {
  if (!work.db.isTransaction) throw new RangeError("noteChanges requires a transaction");
  await insertChanges(work.db, work.actor.clubId, changes, { at: work.now(), by: work.actor.name });
  work.wake?.();
}

/** Who may see what happens to a piece. */
export const ofPiece = (piece: { id: string; driverId: string; mark: string; lineId: string }) => ({
  subject: { kind: "piece" as const, id: piece.id },
  audience: { driverId: piece.driverId },
  about: { mark: piece.mark, lineId: piece.lineId },
});

/** Who may see what lies at a location, or was ordered for it. */
export const audienceOf = (location: LocationRow, atShelf: "everyone" | "shop"): Audience =>
  location.driverId === null ? atShelf : { driverId: location.driverId };

/** Tells the feed that an order is as it is now. Drivers see those for their own places, the shop those for shelves. */
export async function noteOrder(
  work: Work,
  trx: Queries,
  type: "order.placed" | "order.changed" | "order.received",
  order: OrderShown,
): Promise<void> {
  const { id, supplierId, locationId, promisedOn, closedAt } = order;
  const location = await getRecord(trx, "locations", work.actor.clubId, locationId, "location");
  const lines = order.lines.map(({ lineId, pieces, receivedPieces }) => ({ lineId, pieces, receivedPieces }));
  const data = { supplierId, locationId, promisedOn, open: closedAt === null, lines };
  const audience = audienceOf(location, "shop");
  await noteChange({ ...work, db: trx as Trx }, { type, subject: { kind: "order", id }, audience, data });
}

/** Tells that an import has kept rows: one entry, after those of what it added or changed. */
export const noteImport = (work: Work, table: string, counts: { rowsKept: number }): Promise<void> => {
  const { driverId } = work.actor;
  const audience = driverId !== null ? { driverId } : work.reach === "shelf" ? "shop" : "club";
  const subject = { kind: "import" as const, id: work.newId() };
  return noteChange(work, {
    type: "import.finished",
    subject,
    audience,
    data: { table, rowsKept: counts.rowsKept },
  });
};
