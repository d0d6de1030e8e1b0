import { DomainError } from "../domain/errors.ts";
import { requirePast } from "../domain/moment.ts";
import type { RetiredFor } from "../domain/piece.ts";
import {
  getPosition,
  insertFitting,
  selectFittingAtPosition,
  selectFittingOfPieceAt,
  selectOverlaps,
  updateFitting,
} from "../storage/fittings.ts";
import { deleteRecord, getRecord } from "../storage/records.ts";
import type { CarRow, FittingRow, PieceRow } from "../storage/tables.ts";
import { countEvidenceOfPiece, selectFittingsOfPiece } from "../storage/usage.ts";
import { getOwnCar } from "./keep-cars.ts";
import { addPiece, getOwnPiece, lineAndKind, notePiece, retireOwnPiece, whereOf } from "./keep-pieces.ts";
import { takeNewPiece, undoFittedMovement } from "./take-new-piece.ts";
import { together, type Work } from "./work.ts";

/** Either a piece that is already on the books, or a new one out of stock. */
export type PieceToFit =
  | { pieceId: string }
  | { lineId: string; mark: string; asNew: number | null; from: string };

/**
 * Refuses a span at which the piece is fitted elsewhere, or something else is fitted there: a piece is in one place
 * at a time, and a position holds one piece.
 */
async function requireFree(
  work: Work,
  piece: PieceRow,
  span: { positionId: string; fittedAt: string; removedAt: string | null },
  exceptId: string | null = null,
): Promise<void> {
  const [overlap] = await selectOverlaps(work.db, { pieceId: piece.id, ...span }, exceptId);
  if (overlap === undefined) return;
  const when = `from ${overlap.fittedAt} ${overlap.removedAt === null ? "on" : `to ${overlap.removedAt}`}`;
  throw overlap.pieceId === piece.id
    ? new DomainError(
        "piece_fitted",
        `${piece.mark} is fitted ${when}; remove it first, or give another time`,
      )
    : new DomainError(
        "position_occupied",
        `${overlap.mark} is fitted there ${when}; replace it, remove it first, or give another time`,
      );
}

async function fitIn(
  work: Work,
  car: CarRow,
  piece: PieceRow,
  positionName: string,
  at: string,
): Promise<FittingRow> {
  const position = await getPosition(work.db, work.actor.clubId, car.id, positionName);
  const { line, kind } = await lineAndKind(work, piece.lineId);
  if (position.kindId !== line.kindId) {
    const wanted = await getRecord(work.db, "kinds", work.actor.clubId, position.kindId, "kind");
    throw new DomainError(
      "wrong_kind",
      `${piece.mark} is of the kind "${kind.name}"; "${positionName}" of this car takes "${wanted.name}"`,
    );
  }
  if (kind.usedBy === "pack")
    throw new DomainError("wrong_kind", `${piece.mark} is a pack: it is named with each run, not fitted`);
  if (piece.retiredAt !== null && piece.retiredAt <= at)
    throw new DomainError(
      "piece_retired",
      `${piece.mark} was retired at ${piece.retiredAt} (${piece.retiredFor})`,
    );
  await requireFree(work, piece, { positionId: position.id, fittedAt: at, removedAt: null });
  const span = { pieceId: piece.id, carId: car.id, positionId: position.id, fittedAt: at, removedAt: null };
  const row: FittingRow = { id: work.newId(), clubId: work.actor.clubId, version: 1, ...span };
  await insertFitting(work.db, row);
  await countEvidenceOfPiece(work.db, piece.id);
  await notePiece(work, "piece.fitted", piece, { ...whereOf(row), position: position.name, at });
  return row;
}

/** The piece named, or the new one, taken out of stock in this transaction. */
async function pieceFor(work: Work, car: CarRow, wanted: PieceToFit, at: string): Promise<PieceRow> {
  if ("pieceId" in wanted) return getOwnPiece(work, wanted.pieceId);
  const { lineId, mark, asNew, from } = wanted;
  const unused = { priorUsage: null, priorUsageSd: null, boughtOn: null, notes: null };
  const piece = await addPiece(work, { driverId: car.driverId, lineId, mark, asNew, ...unused }, "#/piece");
  if (from !== "none") await takeNewPiece(work, { piece, from, at });
  return piece;
}

/** Fits a piece at a position of a car. A new one leaves the stock in the same transaction. */
export const fitPiece = (
  work: Work,
  carId: string,
  given: { position: string; at: string; piece: PieceToFit },
): Promise<FittingRow> =>
  together(work, async (work) => {
    requirePast(work.now(), given.at, "A fitting");
    const car = await getOwnCar(work, carId);
    const piece = await pieceFor(work, car, given.piece, given.at);
    return fitIn(work, car, piece, given.position, given.at);
  });

async function removeIn(work: Work, fitting: FittingRow, piece: PieceRow, at: string): Promise<FittingRow> {
  if (at <= fitting.fittedAt)
    throw new DomainError(
      "out_of_order",
      `${piece.mark} was fitted at ${fitting.fittedAt}; it cannot come off at ${at}`,
    );
  await countEvidenceOfPiece(work.db, fitting.pieceId);
  await notePiece(work, "piece.removed", piece, { ...whereOf(fitting), at });
  return updateFitting(work.db, fitting.id, { removedAt: at });
}

/** Takes a piece off the car, to be a spare, or for good if a reason to retire it is given. */
export const removePiece = (
  work: Work,
  pieceId: string,
  given: { at: string; retiredFor: RetiredFor | null },
): Promise<FittingRow> =>
  together(work, async (work) => {
    requirePast(work.now(), given.at, "A removal");
    const piece = await getOwnPiece(work, pieceId);
    const fitting = (await selectFittingsOfPiece(work.db, pieceId)).find((f) => f.removedAt === null);
    if (fitting === undefined)
      throw new DomainError("piece_not_fitted", `${piece.mark} is not fitted to any car now`);
    const removed = await removeIn(work, fitting, piece, given.at);
    if (given.retiredFor !== null)
      await retireOwnPiece(work, piece, { at: given.at, retiredFor: given.retiredFor });
    return removed;
  });

/**
 * Replaces what is fitted at a position, in one transaction: the old piece comes off (retired, or kept as a spare),
 * the new one leaves the stock and goes on.
 */
export const replacePiece = (
  work: Work,
  carId: string,
  given: { position: string; at: string; retiredFor: RetiredFor | null; piece: PieceToFit },
): Promise<{ removed: FittingRow; fitted: FittingRow }> =>
  together(work, async (work) => {
    requirePast(work.now(), given.at, "A replacement");
    const car = await getOwnCar(work, carId);
    const position = await getPosition(work.db, work.actor.clubId, carId, given.position);
    const fitting = await selectFittingAtPosition(work.db, position.id, given.at);
    if (fitting === undefined)
      throw new DomainError(
        "position_empty",
        `Nothing is fitted at "${given.position}" at ${given.at}; fit a piece instead`,
      );
    const old = await getOwnPiece(work, fitting.pieceId);
    const removed = await removeIn(work, fitting, old, given.at);
    if (given.retiredFor !== null)
      await retireOwnPiece(work, old, { at: given.at, retiredFor: given.retiredFor });
    const piece = await pieceFor(work, car, given.piece, given.at);
    return { removed, fitted: await fitIn(work, car, piece, given.position, given.at) };
  });

/** Lets two fitted pieces change places (corners, or cars), at one moment. */
export const swapPieces = (
  work: Work,
  given: { pieceIds: readonly [string, string]; at: string },
): Promise<FittingRow[]> =>
  together(work, async (work) => {
    requirePast(work.now(), given.at, "A swap");
    const before = await Promise.all(
      given.pieceIds.map(async (id) => {
        const piece = await getOwnPiece(work, id);
        const fitting = await selectFittingOfPieceAt(work.db, id, given.at);
        if (fitting === undefined || fitting.removedAt !== null)
          throw new DomainError(
            "piece_not_fitted",
            `${piece.mark} is not fitted at ${given.at}, or comes off later`,
          );
        const position = await getRecord(
          work.db,
          "positions",
          work.actor.clubId,
          fitting.positionId,
          "position",
        );
        return { piece, fitting, position, car: await getOwnCar(work, fitting.carId) };
      }),
    );
    for (const { fitting, piece } of before) await removeIn(work, fitting, piece, given.at);
    const [a, b] = before as [(typeof before)[number], (typeof before)[number]];
    return [
      await fitIn(work, b.car, a.piece, b.position.name, given.at),
      await fitIn(work, a.car, b.piece, a.position.name, given.at),
    ];
  });

async function ownFitting(work: Work, id: string): Promise<{ fitting: FittingRow; piece: PieceRow }> {
  const fitting = await getRecord(work.db, "fittings", work.actor.clubId, id, "fitting");
  return { fitting, piece: await getOwnPiece(work, fitting.pieceId) };
}

/** Corrects when a piece was fitted or removed; a `removedAt` of null says that it is still fitted. */
export const changeFitting = (
  work: Work,
  id: string,
  changes: { fittedAt?: string | undefined; removedAt?: string | null | undefined },
): Promise<FittingRow> =>
  together(work, async (work) => {
    const { fittedAt: on, removedAt: off } = changes;
    if (on !== undefined) requirePast(work.now(), on, "A fitting", "#/fittedAt");
    if (off !== undefined && off !== null) requirePast(work.now(), off, "A removal", "#/removedAt");
    const { fitting, piece } = await ownFitting(work, id);
    const fittedAt = changes.fittedAt ?? fitting.fittedAt;
    const removedAt = changes.removedAt === undefined ? fitting.removedAt : changes.removedAt;
    if (removedAt !== null && removedAt <= fittedAt)
      throw new DomainError("out_of_order", `A piece fitted at ${fittedAt} cannot come off at ${removedAt}`);
    if (piece.retiredAt !== null && (removedAt === null || removedAt > piece.retiredAt))
      throw new DomainError(
        "piece_retired",
        `${piece.mark} was retired at ${piece.retiredAt}: it came off by then`,
      );
    await requireFree(work, piece, { positionId: fitting.positionId, fittedAt, removedAt }, id);
    await countEvidenceOfPiece(work.db, piece.id);
    await notePiece(work, "piece.fitting-changed", piece, { ...whereOf(fitting), fittedAt, removedAt });
    return updateFitting(work.db, id, { fittedAt, removedAt });
  });

/** Deletes a fitting that never happened. What it took out of stock goes back. */
export const deleteFitting = (work: Work, id: string): Promise<void> =>
  together(work, async (work) => {
    const { fitting, piece } = await ownFitting(work, id);
    await countEvidenceOfPiece(work.db, piece.id);
    await deleteRecord(work.db, "fittings", work.actor.clubId, id, "fitting");
    await notePiece(work, "piece.fitting-deleted", piece, whereOf(fitting));
    if ((await selectFittingsOfPiece(work.db, piece.id)).length === 0)
      await undoFittedMovement(work, piece.id);
  });
