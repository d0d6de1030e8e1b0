import { DomainError } from "../domain/errors.ts";
import type { Trx } from "../storage/database.ts";
import { selectFittedMovement } from "../storage/fitted-movements.ts";
import { allRecords, findRecord } from "../storage/records.ts";
import { levelOf } from "../storage/stock-ledger.ts";
import type { PieceRow } from "../storage/tables.ts";
import { putIntoStock, takeFromStock } from "./move-stock.ts";
import type { Work } from "./work.ts";

/**
 * Where a driver takes a spare from when none is named: the pit box, then home, then any other place of theirs
 * (the club's shelf only if it is named).
 */
const order = ["pit-box", "home", "shelf"];

async function locationWithStock(work: Work, piece: PieceRow): Promise<string> {
  const own = await allRecords(work.db, "locations", work.actor.clubId, { driverId: piece.driverId });
  own.sort((a, b) => order.indexOf(a.sort) - order.indexOf(b.sort));
  for (const location of own)
    if ((await levelOf(work.db, work.actor.clubId, piece.lineId, location.id)) > 0) return location.id;
  throw new DomainError(
    "stock_short",
    'None is in stock at home or in the pit box: take a stocktake first, name another location in "from", or give "none" if it never was in stock',
  );
}

/** A place that is named by its id. @throws {DomainError} `not_found`, with what may be said instead */
async function locationNamed(work: Work, id: string): Promise<string> {
  if ((await findRecord(work.db, "locations", work.actor.clubId, id)) === undefined)
    throw new DomainError(
      "not_found",
      `There is no location with id "${id}": say "own" (the driver's pit box, or else home), "none" (it never was in stock), or the id of a location`,
      [],
      id,
    );
  return id;
}

/** Takes one piece of the line out of stock for fitting. `from` is a location's id, or "own" for the first with stock. */
export async function takeNewPiece(
  work: Work,
  { piece, from, at }: { piece: PieceRow; from: string; at: string },
) {
  const locationId = from === "own" ? await locationWithStock(work, piece) : await locationNamed(work, from);
  const movement = {
    lineId: piece.lineId,
    locationId,
    quantity: 1,
    reason: "fitted" as const,
    at,
    pieceId: piece.id,
  };
  return takeFromStock(work, work.db as Trx, movement);
}

/** Puts back what a fitting took out of stock, when that fitting is deleted as never having happened. */
export async function undoFittedMovement(work: Work, pieceId: string): Promise<void> {
  const movement = await selectFittedMovement(work.db, work.actor.clubId, pieceId);
  if (movement === undefined) return;
  const { lineId, locationId, quantity, id } = movement;
  const back = {
    lineId,
    locationId,
    quantity: -quantity,
    reason: "undone" as const,
    at: work.now(),
    undoesId: id,
  };
  await putIntoStock(work, work.db as Trx, { ...back, pieceId });
}
