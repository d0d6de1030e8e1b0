import { DomainError } from "../domain/errors.ts";
import { requirePast } from "../domain/moment.ts";
import type { Queries } from "../storage/database.ts";
import { pageOfOrders } from "../storage/orders.ts";
import { findRecord, getRecord, type Page, type PageRequest, updateRecord } from "../storage/records.ts";
import { type NamedLevel, pageOfLevels, selectPair, selectUndoOf } from "../storage/stock-ledger.ts";
import type { MovementReason, MovementRow } from "../storage/tables.ts";
import { requireDriver } from "./keep-drivers.ts";
import { listRecords } from "./keep-records.ts";
import { putIntoStock, takeFromStock } from "./move-stock.ts";
import { noteOrder } from "./note-change.ts";
import {
  reachableLocations,
  requireLocation,
  requireVisibleLocation,
  visibleLocations,
} from "./reach-locations.ts";
import { together, type Work } from "./work.ts";

export interface MovementGiven {
  id?: string | undefined;
  reason: "received" | "returned" | "sold" | "written-off" | "moved";
  lineId: string;
  locationId: string;
  /** where moved pieces go; only for `moved` */
  toLocationId?: string | undefined;
  pieces: number;
  at: string;
  notes: string | null;
}

/**
 * The movement that a repeated request made the first time, or undefined where the id is new.
 *
 * @throws {DomainError} `name_taken` where the id belongs to a movement of other content
 */
export async function findRepeat(
  work: Work,
  trx: Queries,
  id: string | undefined,
  wanted: Partial<MovementRow>,
): Promise<MovementRow | undefined> {
  if (id === undefined) return undefined;
  const found = await findRecord(trx, "movements", work.actor.clubId, id);
  if (found === undefined) return undefined;
  const differing = (Object.keys(wanted) as (keyof MovementRow)[]).find((key) => wanted[key] !== found[key]);
  if (differing !== undefined) throw idTaken(id, differing, found[differing]);
  return found;
}

const idTaken = (id: string, member: string, kept: unknown) =>
  new DomainError(
    "name_taken",
    `The movement ${id} was recorded before with ${member} ${JSON.stringify(kept)}: give a new movement a new id, or undo that one`,
    [{ pointer: "#/id", detail: "belongs to a movement of other content" }],
  );

/**
 * Records a movement that a person made. A repeat with the same id and content changes nothing.
 *
 * @throws {DomainError} `not_found`, `not_allowed`, `stock_short` or `name_taken`
 */
export const recordMovement = (
  work: Work,
  given: MovementGiven,
): Promise<{ movement: MovementRow; repeated: boolean }> =>
  together(work, async ({ db: trx }) => {
    const { id, reason, lineId, locationId, toLocationId, pieces, at, notes } = given;
    requirePast(work.now(), at, "A movement");
    const takes = reason === "sold" || reason === "written-off" || reason === "moved";
    const wanted = { lineId, locationId, quantity: takes ? -pieces : pieces, reason, at, notes };
    const before = await findRepeat(work, trx, id, wanted);
    if (before !== undefined) {
      await requireLocation(work, trx, locationId);
      const other = (await pairOf(work, trx, before)).find((half) => half.id !== before.id);
      if (other?.locationId !== toLocationId) throw idTaken(before.id, "toLocationId", other?.locationId);
      return { movement: before, repeated: true };
    }
    const change = { lineId, locationId, quantity: pieces, reason, at, notes };
    if (reason !== "moved") {
      const movement = await (takes ? takeFromStock : putIntoStock)(work, trx, { ...change, id });
      return { movement, repeated: false };
    }
    const pairId = id ?? work.newId();
    const movement = await takeFromStock(work, trx, { ...change, id: pairId, pairId });
    await putIntoStock(work, trx, { ...change, locationId: toLocationId!, pairId });
    return { movement, repeated: false };
  });

const pairOf = async (work: Work, trx: Queries, movement: MovementRow): Promise<MovementRow[]> =>
  movement.pairId === null ? [movement] : selectPair(trx, work.actor.clubId, movement.pairId);

/**
 * Undoes a movement by a second one that names it; of a move, both ends. An order that had closed because all was
 * there is open again.
 *
 * @throws {DomainError} `not_found`, `not_allowed`, `already_undone`, `piece_fitted` or `stock_short`
 */
export const undoMovement = (work: Work, id: string): Promise<MovementRow> =>
  together(work, async ({ db: trx }) => {
    const { clubId } = work.actor;
    const movement = await getRecord(trx, "movements", clubId, id, "movement");
    await requireLocation(work, trx, movement.locationId);
    if (movement.reason === "undone")
      throw new DomainError(
        "already_undone",
        "That movement undid another; record the other one anew instead",
      );
    if (movement.reason === "fitted" || movement.pieceId !== null)
      throw new DomainError(
        "piece_fitted",
        "That movement belongs to a fitting: delete the fitting, and the stock follows",
      );
    if ((await selectUndoOf(trx, clubId, id)) !== undefined)
      throw new DomainError(
        "already_undone",
        `The movement ${id} was undone before; nothing is left to undo`,
      );
    const wasComplete = movement.orderId !== null && (await isComplete(work, trx, movement.orderId));
    const halves = await pairOf(work, trx, movement);
    const pairId = halves.length > 1 ? work.newId() : null;
    const undone: MovementRow[] = [];
    for (const half of halves) {
      const { lineId, locationId, orderId, quantity } = half;
      const back = { lineId, locationId, orderId, quantity: Math.abs(quantity), pairId, undoesId: half.id };
      const undo = quantity > 0 ? takeFromStock : putIntoStock;
      undone.push(await undo(work, trx, { ...back, reason: "undone", at: work.now() }));
    }
    if (wasComplete && !(await isComplete(work, trx, movement.orderId!)))
      await updateRecord(trx, "orders", clubId, movement.orderId!, { closedAt: null }, "order");
    if (movement.orderId !== null) {
      const { items } = await pageOfOrders(trx, clubId, { limit: 1, after: null }, { id: movement.orderId });
      await noteOrder(work, trx, "order.changed", items[0]!);
    }
    return undone.find((one) => one.undoesId === id)!;
  });

async function isComplete(work: Work, trx: Queries, orderId: string): Promise<boolean> {
  const { items } = await pageOfOrders(trx, work.actor.clubId, { limit: 1, after: null }, { id: orderId });
  return items[0]?.lines.every((line) => line.receivedPieces >= line.pieces) ?? false;
}

/** Movements at locations within reach, the last first. */
export async function listMovements(
  work: Work,
  page: PageRequest,
  only: {
    lineId?: string | undefined;
    locationId?: string | undefined;
    reason?: MovementReason | undefined;
  },
): Promise<Page<MovementRow>> {
  if (only.locationId !== undefined) await requireLocation(work, work.db, only.locationId);
  const reachable = (await reachableLocations(work, work.db)).map(({ id }) => id);
  if (reachable.length === 0) return { items: [], next: null };
  const locationId = only.locationId ?? (work.reach === "all" ? undefined : reachable);
  return listRecords(work, "movements", { ...page, descending: true }, { ...only, locationId }, "at");
}

/**
 * What lies where, as far as it may be seen.
 *
 * @throws {DomainError} `not_found` or `not_allowed` where a line, location or driver is unknown or out of reach
 */
export async function listLevels(
  work: Work,
  page: PageRequest,
  only: {
    lineId?: string | undefined;
    locationId?: string | undefined;
    driverId?: string | undefined;
  },
): Promise<Page<NamedLevel>> {
  const { lineId, locationId, driverId } = only;
  if (driverId !== undefined) await requireDriver(work, driverId, "the stock");
  if (lineId !== undefined) await getRecord(work.db, "lines", work.actor.clubId, lineId, "line");
  if (locationId !== undefined) await requireVisibleLocation(work, work.db, locationId);
  const locationIds = (await visibleLocations(work, work.db))
    .filter((location) => locationId === undefined || location.id === locationId)
    .filter((location) => driverId === undefined || location.driverId === driverId)
    .map(({ id }) => id);
  return pageOfLevels(work.db, work.actor.clubId, page, { lineId, locationIds });
}
