import type { Change } from "../domain/change.ts";
import { DomainError } from "../domain/errors.ts";
import type { Queries, Trx } from "../storage/database.ts";
import { getRecord } from "../storage/records.ts";
import { insertMovement, levelOf, levelsOf } from "../storage/stock-ledger.ts";
import type { LocationRow, MovementReason, MovementRow } from "../storage/tables.ts";
import { audienceOf, noteChange } from "./note-change.ts";
import { requireLocation, visibleLocations } from "./reach-locations.ts";
import type { Work } from "./work.ts";

/** A change of stock at one location, as any service asks for it inside its own transaction. */
export interface StockChange {
  lineId: string;
  locationId: string;
  /** whole pieces, at least 1, whether they are taken or put */
  quantity: number;
  reason: MovementReason;
  /** when it happened, RFC 3339 in UTC with milliseconds */
  at: string;
  /** the piece with a mark that was taken or put back, where it is one */
  pieceId?: string | null;
  orderId?: string | null;
  undoesId?: string | null;
  pairId?: string | null;
  notes?: string | null;
  /** an id from the caller, so that a repeat can be known; a new one if not given */
  id?: string | undefined;
}

/**
 * Takes pieces out of a location, and refuses to take more than are there.
 *
 * @throws {DomainError} `not_found` (line or location), `not_allowed` (location out of reach), `stock_short`
 */
export async function takeFromStock(work: Work, trx: Queries, change: StockChange): Promise<MovementRow> {
  const location = await requireLocation(work, trx, change.locationId);
  await requireLeft(work, trx, change.lineId, location, change.quantity);
  return write(work, trx, location, change, -1);
}

/**
 * Puts pieces into a location.
 *
 * @throws {DomainError} `not_found` (line or location), `not_allowed` (location out of reach)
 */
export async function putIntoStock(work: Work, trx: Queries, change: StockChange): Promise<MovementRow> {
  const location = await requireLocation(work, trx, change.locationId);
  await getRecord(trx, "lines", work.actor.clubId, change.lineId, "line");
  return write(work, trx, location, change, 1);
}

async function write(
  work: Work,
  trx: Queries,
  location: LocationRow,
  change: StockChange,
  sign: 1 | -1,
): Promise<MovementRow> {
  const { lineId, locationId, quantity, reason, at } = change;
  if (!Number.isSafeInteger(quantity) || quantity < 1)
    throw new RangeError(`a stock change requires a whole quantity of at least 1, but got ${quantity}`);
  // Looking first and writing then is safe only where nobody can write in between.
  if (!trx.isTransaction) throw new RangeError("a stock change requires a transaction");
  const row: MovementRow = {
    id: change.id ?? work.newId(),
    clubId: work.actor.clubId,
    lineId,
    locationId,
    quantity: sign * quantity,
    reason,
    at,
    pieceId: change.pieceId ?? null,
    orderId: change.orderId ?? null,
    undoesId: change.undoesId ?? null,
    pairId: change.pairId ?? null,
    notes: change.notes ?? null,
    recordedAt: work.now(),
  };
  await insertMovement(trx, row);
  const pieces = await levelOf(trx, row.clubId, lineId, locationId);
  await noteChange({ ...work, db: trx as Trx }, changeOfLevel(row, location, pieces));
  return row;
}

/**
 * What lies at a location after a movement, as the feed tells it. Why pieces moved is told by the movement, to those who
 * may read it: everyone sees what lies on a shelf.
 *
 * @param pieces what lies there now
 */
export const changeOfLevel = (
  { id: movementId, lineId, locationId, quantity }: MovementRow,
  location: LocationRow,
  pieces: number,
): Change => ({
  type: "stock-level.changed",
  subject: { kind: "line", id: lineId },
  audience: audienceOf(location, "everyone"),
  data: { locationId, locationName: location.name, pieces, quantity, movementId },
});

/** Refuses with `stock_short`, saying how many are there, where else some are, and what to do. */
async function requireLeft(
  work: Work,
  trx: Queries,
  lineId: string,
  location: LocationRow,
  wanted: number,
): Promise<void> {
  const { clubId } = work.actor;
  const line = await getRecord(trx, "lines", clubId, lineId, "line");
  const there = await levelOf(trx, clubId, lineId, location.id);
  if (there >= wanted) return;
  const names = new Map((await visibleLocations(work, trx)).map(({ id, name }) => [id, name]));
  const elsewhere = (await levelsOf(trx, clubId, { lineIds: [lineId], locationIds: [...names.keys()] }))
    .filter((level) => level.locationId !== location.id)
    .map((level) => `${level.pieces} at "${names.get(level.locationId)}"`);
  throw new DomainError(
    "stock_short",
    `There ${there === 1 ? "is" : "are"} ${there} of ${line.sku} at "${location.name}", and ${wanted} ` +
      `${wanted === 1 ? "was" : "were"} to be taken; ` +
      `${elsewhere.length === 0 ? "there are none elsewhere" : `elsewhere: ${elsewhere.join(", ")}`}. ` +
      "If more are really there, count the location first (POST /v1/stocktakes); otherwise take fewer or move some there",
  );
}
