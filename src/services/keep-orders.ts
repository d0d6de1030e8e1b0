import { DomainError } from "../domain/errors.ts";
import { requirePast } from "../domain/moment.ts";
import { observedLeadTimes } from "../domain/lead-times.ts";
import type { Queries } from "../storage/database.ts";
import { insertOrder, leadTimesOf, type OrderShown, pageOfOrders } from "../storage/orders.ts";
import { getRecord, type Page, type PageRequest, updateRecord } from "../storage/records.ts";
import { putIntoStock } from "./move-stock.ts";
import { noteOrder } from "./note-change.ts";
import { reachableLocations, requireLocation } from "./reach-locations.ts";
import { findRepeat } from "./record-movements.ts";
import { together, type Work } from "./work.ts";

/** An order as it is answered: per line what is still to come, and what came beyond the order. */
const shown = (order: OrderShown) => ({
  ...order,
  open: order.closedAt === null,
  lines: order.lines.map((line) => ({
    ...line,
    outstandingPieces: Math.max(0, line.pieces - line.receivedPieces),
    overPieces: Math.max(0, line.receivedPieces - line.pieces),
  })),
});

/** Tells the feed that an order is as it is now, and answers it. */
async function noted(
  work: Work,
  trx: Queries,
  type: "order.placed" | "order.changed" | "order.received",
  id: string,
) {
  const order = await oneOrder(work, trx, id);
  await noteOrder(work, trx, type, order);
  return shown(order);
}

async function oneOrder(work: Work, q: Queries, id: string) {
  const { items } = await pageOfOrders(q, work.actor.clubId, { limit: 1, after: null }, { id });
  if (items[0] === undefined) throw new DomainError("not_found", `There is no order with id ${id}`);
  await requireLocation(work, q, items[0].locationId);
  return items[0];
}

export const readOrder = async (work: Work, id: string) => shown(await oneOrder(work, work.db, id));

/** Orders for locations within reach, the last placed first. */
export async function listOrders(
  work: Work,
  page: PageRequest,
  only: { open?: boolean | undefined; supplierId?: string | undefined },
): Promise<Page<ReturnType<typeof shown>>> {
  const locationIds =
    work.reach === "all" ? undefined : (await reachableLocations(work, work.db)).map(({ id }) => id);
  const { items, next } = await pageOfOrders(work.db, work.actor.clubId, page, { ...only, locationIds });
  return { items: items.map(shown), next };
}

/**
 * Writes down an order that was placed. Pieces follow from packs; the price of a pack is the line's unless another
 * was agreed.
 *
 * @throws {DomainError} `not_found` (supplier, location or line) or `not_allowed`
 */
export const placeOrder = (
  work: Work,
  given: {
    supplierId: string;
    locationId: string;
    placedAt: string;
    promisedOn: string | null;
    notes: string | null;
    lines: readonly { lineId: string; packs: number; priceMinorUnits?: number | undefined }[];
  },
) =>
  together(work, async ({ db: trx }) => {
    const { clubId } = work.actor;
    const { lines, ...members } = given;
    requirePast(work.now(), given.placedAt, "An order", "#/placedAt");
    await getRecord(trx, "suppliers", clubId, given.supplierId, "supplier");
    await requireLocation(work, trx, given.locationId);
    const id = work.newId();
    const rows = [];
    for (const { lineId, packs, priceMinorUnits } of lines) {
      const line = await getRecord(trx, "lines", clubId, lineId, "line");
      const price = priceMinorUnits ?? line.priceMinorUnits;
      const pieces = packs * line.packSize;
      rows.push({ id: work.newId(), clubId, orderId: id, lineId, packs, pieces, priceMinorUnits: price });
    }
    const kept = { id, clubId, closedAt: null, createdAt: work.now(), version: 1 };
    await insertOrder(trx, { ...members, ...kept }, rows);
    return noted(work, trx, "order.placed", id);
  });

/** Changes what was promised or noted, and closes or reopens an order. */
export const changeOrder = (
  work: Work,
  id: string,
  changes: {
    promisedOn?: string | null | undefined;
    notes?: string | null | undefined;
    closed?: boolean | undefined;
  },
) =>
  together(work, async ({ db: trx }) => {
    const order = await oneOrder(work, trx, id);
    const { closed, ...members } = changes;
    const given = Object.fromEntries(Object.entries(members).filter(([, value]) => value !== undefined));
    const closedAt = closed === true ? (order.closedAt ?? work.now()) : null;
    const row = { ...given, ...(closed === undefined ? {} : { closedAt }) };
    await updateRecord(trx, "orders", work.actor.clubId, id, row, "order");
    return noted(work, trx, "order.changed", id);
  });

/**
 * Receives what came of an order into its location, and closes the order when all is there. More than was ordered is
 * taken in and said. A repeat whose lines carry the same ids changes nothing.
 *
 * @throws {DomainError} `not_found`, `not_allowed`, `order_closed`, `out_of_order` or `name_taken`
 */
export const receiveOrder = (
  work: Work,
  id: string,
  given: {
    at: string;
    lines: readonly { id?: string | undefined; lineId: string; pieces: number }[];
  },
) =>
  together(work, async ({ db: trx }) => {
    const order = await oneOrder(work, trx, id);
    const { at } = given;
    requirePast(work.now(), at, "A receipt");
    const { locationId } = order;
    const missing = given.lines.findIndex(({ lineId }) => !order.lines.some((l) => l.lineId === lineId));
    if (missing >= 0)
      throw new DomainError(
        "not_found",
        `The line ${given.lines[missing]!.lineId} is not on this order; receive it with POST /v1/movements instead`,
        [{ pointer: `#/lines/${missing}/lineId`, detail: "is not on this order" }],
      );
    if (at < order.placedAt)
      throw new DomainError(
        "out_of_order",
        `The order was placed at ${order.placedAt}, so nothing came at ${at}`,
      );
    const fresh = [];
    for (const line of given.lines) {
      const { lineId, pieces: quantity } = line;
      const wanted = { lineId, quantity, locationId, orderId: id, reason: "received" as const, at };
      if ((await findRepeat(work, trx, line.id, wanted)) === undefined)
        fresh.push({ ...wanted, id: line.id });
    }
    if (fresh.length === 0) return { order: shown(order), repeated: true };
    if (order.closedAt !== null)
      throw new DomainError(
        "order_closed",
        `The order was closed at ${order.closedAt}; reopen it with PATCH {"closed": false}, or use POST /v1/movements`,
      );
    for (const change of fresh) await putIntoStock(work, trx, change);
    const after = shown(await oneOrder(work, trx, id));
    if (after.lines.every((line) => line.outstandingPieces === 0))
      await updateRecord(trx, "orders", work.actor.clubId, id, { closedAt: at }, "order");
    return { order: await noted(work, trx, "order.received", id), repeated: false };
  });

/** How long a supplier really took, beside what it is believed to take. */
export async function readLeadTimes(work: Work, supplierId: string) {
  const supplier = await getRecord(work.db, "suppliers", work.actor.clubId, supplierId, "supplier");
  const observations = await leadTimesOf(work.db, work.actor.clubId, supplierId);
  return {
    ...observedLeadTimes(observations.map(({ days }) => days)),
    believedMeanDays: supplier.leadTimeDays,
    believedSdDays: supplier.leadTimeSdDays,
    observations,
  };
}
