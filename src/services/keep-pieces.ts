import type { Change, ChangeType } from "../domain/change.ts";
import { DomainError } from "../domain/errors.ts";
import type { Kind } from "../domain/kind.ts";
import { requirePast } from "../domain/moment.ts";
import type { KeptFor, RetiredFor } from "../domain/piece.ts";
import { pieceFaults } from "../domain/piece-size.ts";
import { usageAtMoments } from "../domain/usage.ts";
import { selectFittingOfPieceAt, updateFitting } from "../storage/fittings.ts";
import { allRecords, getRecord, insertRecord, updateRecord } from "../storage/records.ts";
import type { FittingRow, LineRow, PieceRow } from "../storage/tables.ts";
import { countEvidenceOfPiece, selectFittingsOfPiece, selectRunsOfPiece } from "../storage/usage.ts";
import { kindFromRow, requireConsistent } from "./keep-kinds.ts";
import { overridesOf } from "./line-overrides.ts";
import { noteChange, ofPiece } from "./note-change.ts";
import { matchedSet, setSize } from "./matched-sets.ts";
import { requireOwn, together, type Work } from "./work.ts";

/** Where a fitting is or was, as the feed tells it. */
export const whereOf = ({ id, carId, positionId }: FittingRow) => ({ fittingId: id, carId, positionId });

/** A piece that the actor may touch. @throws {DomainError} `not_found` or `not_allowed` */
export async function getOwnPiece(work: Work, id: string): Promise<PieceRow> {
  const piece = await getRecord(work.db, "pieces", work.actor.clubId, id, "piece");
  requireOwn(work, piece.driverId, "a piece");
  return piece;
}

/** The line and the kind of a piece. */
export async function lineAndKind(work: Work, lineId: string): Promise<{ line: LineRow; kind: Kind }> {
  const line = await getRecord(work.db, "lines", work.actor.clubId, lineId, "line");
  return {
    line,
    kind: kindFromRow(await getRecord(work.db, "kinds", work.actor.clubId, line.kindId, "kind")),
  };
}

export interface GivenPiece {
  driverId: string;
  lineId: string;
  mark: string;
  asNew: number | null;
  priorUsage: number | null;
  priorUsageSd: number | null;
  boughtOn: string | null;
  notes: string | null;
}

/** What happened to a piece, as the feed tells it. */
export function changeOfPiece(
  type: Extract<ChangeType, `piece.${string}`>,
  piece: PieceRow,
  data: Record<string, unknown> = {},
): Change {
  const { subject, audience, about } = ofPiece(piece);
  return { type, subject, audience, data: { ...about, ...data } };
}

/** Tells the feed what happened to a piece. */
export const notePiece = (work: Work, ...what: Parameters<typeof changeOfPiece>): Promise<void> =>
  noteChange(work, changeOfPiece(...what));

/**
 * Gives one physical part a mark and a history of its own.
 *
 * @param at where the request has the piece: a JSON pointer
 * @throws {DomainError} `not_found`, `not_allowed`, `inconsistent` (a size that cannot be) or `name_taken`
 */
export async function addPiece(work: Work, given: GivenPiece, at = "#"): Promise<PieceRow> {
  requireOwn(work, given.driverId, "a piece");
  await getRecord(work.db, "drivers", work.actor.clubId, given.driverId, "driver");
  await requirePossible(work, given.lineId, given, at);
  const kept = { id: work.newId(), clubId: work.actor.clubId, createdAt: work.now(), version: 1 };
  const piece: PieceRow = { ...given, ...kept, keptFor: null, retiredAt: null, retiredFor: null };
  return together(work, async (work) => {
    await insertRecord(work.db, "pieces", piece, "piece of this driver (its mark)");
    await notePiece(work, "piece.added", piece);
    return piece;
  });
}

/** @throws {DomainError} `not_found` (the line), or `inconsistent` for a size or prior usage that cannot be */
async function requirePossible(
  work: Work,
  lineId: string,
  said: Parameters<typeof pieceFaults>[1],
  at = "#",
): Promise<void> {
  const { line, kind } = await lineAndKind(work, lineId);
  requireConsistent(pieceFaults({ kind, line: overridesOf(line) }, said, at));
}

type PieceChanges = {
  [K in keyof Omit<GivenPiece, "driverId" | "lineId">]?: GivenPiece[K] | undefined;
} & { keptFor?: KeptFor | null | undefined };

/**
 * Changes the members given. A matched set is kept for practice, or races again, as a whole.
 *
 * @throws {DomainError} `not_found`, `not_allowed`, `inconsistent` or `name_taken`
 */
export async function changePiece(work: Work, id: string, changes: PieceChanges): Promise<PieceRow> {
  const before = await getOwnPiece(work, id);
  await requirePossible(work, before.lineId, changes);
  const given = Object.fromEntries(Object.entries(changes).filter(([, value]) => value !== undefined));
  return together(work, async (work) => {
    const piece = await updateRecord(work.db, "pieces", work.actor.clubId, id, given, "piece (its mark)");
    await countEvidenceOfPiece(work.db, id);
    await notePiece(work, "piece.changed", piece, { changed: Object.keys(given) });
    const { keptFor } = changes;
    if (keptFor !== undefined && keptFor !== before.keptFor) await keepSetFor(work, piece, keptFor);
    return piece;
  });
}

/** Keeps the rest of a matched set for what one of its pieces is kept for. */
async function keepSetFor(work: Work, piece: PieceRow, keptFor: KeptFor | null): Promise<void> {
  const { kind } = await lineAndKind(work, piece.lineId);
  if (setSize(kind) === 1) return;
  const own = await allRecords(work.db, "pieces", work.actor.clubId, {
    driverId: piece.driverId,
    lineId: piece.lineId,
  });
  const there = own.filter((one) => one.retiredAt === null);
  for (const { id } of await matchedSet(work, piece, there, setSize(kind))) {
    if (there.find((one) => one.id === id)!.keptFor === keptFor) continue;
    const other = await updateRecord(work.db, "pieces", work.actor.clubId, id, { keptFor }, "piece");
    await notePiece(work, "piece.changed", other, { changed: ["keptFor"] });
  }
}

/**
 * Takes a piece off for good, at a moment and for a reason; if it is fitted then, it is removed as well.
 *
 * @throws {DomainError} `piece_retired` if it already was
 */
export async function retireOwnPiece(
  work: Work,
  piece: PieceRow,
  end: { at: string; retiredFor: RetiredFor },
): Promise<PieceRow> {
  if (piece.retiredAt !== null)
    throw new DomainError(
      "piece_retired",
      `${piece.mark} was retired at ${piece.retiredAt} (${piece.retiredFor})`,
    );
  const fittings = await selectFittingsOfPiece(work.db, piece.id);
  const later = fittings.find((fitting) => fitting.fittedAt >= end.at);
  if (later !== undefined)
    throw new DomainError(
      "out_of_order",
      `${piece.mark} was fitted at ${later.fittedAt}, after it is said to have ended`,
    );
  const fitted = await selectFittingOfPieceAt(work.db, piece.id, end.at);
  if (fitted !== undefined && fitted.removedAt === null) {
    await updateFitting(work.db, fitted.id, { removedAt: end.at });
    await notePiece(work, "piece.removed", piece, { ...whereOf(fitted), at: end.at });
  }
  await countEvidenceOfPiece(work.db, piece.id);
  const changes = { retiredAt: end.at, retiredFor: end.retiredFor };
  const retired = await updateRecord(work.db, "pieces", work.actor.clubId, piece.id, changes, "piece");
  await notePiece(work, "piece.retired", retired, { at: end.at, retiredFor: end.retiredFor });
  return retired;
}

export const retirePiece = (
  work: Work,
  id: string,
  end: { at: string; retiredFor: RetiredFor },
): Promise<PieceRow> =>
  together(work, async (work) => {
    requirePast(work.now(), end.at, "A retirement");
    return retireOwnPiece(work, await getOwnPiece(work, id), end);
  });

/** Takes back a retirement that was logged wrongly; the piece is then a spare, fitted nowhere. */
export const unretirePiece = (work: Work, id: string): Promise<PieceRow> =>
  together(work, async (work) => {
    const piece = await getOwnPiece(work, id);
    if (piece.retiredAt === null) throw new DomainError("out_of_order", `${piece.mark} is not retired`);
    await countEvidenceOfPiece(work.db, id);
    const changes = { retiredAt: null, retiredFor: null };
    const kept = await updateRecord(work.db, "pieces", work.actor.clubId, id, changes, "piece");
    await notePiece(work, "piece.unretired", kept);
    return kept;
  });

/** From when a piece's days count: its purchase, or else its first fitting. */
export const ageSince = (piece: PieceRow, firstFittedAt: string | undefined): string | null =>
  piece.boughtOn === null ? (firstFittedAt ?? null) : `${piece.boughtOn}T00:00:00.000Z`;

/** A piece with where it is, its fittings and its usage so far on its kind's clock. */
export async function pieceHistory(work: Work, id: string, until = work.now()) {
  const piece = await getOwnPiece(work, id);
  const { line, kind } = await lineAndKind(work, piece.lineId);
  const fittings = await selectFittingsOfPiece(work.db, id);
  const runs = await selectRunsOfPiece(work.db, id);
  const since = ageSince(piece, fittings[0]?.fittedAt);
  const end = piece.retiredAt !== null && piece.retiredAt < until ? piece.retiredAt : until;
  const history = { clock: kind.clock, priorUsage: piece.priorUsage ?? 0, since, runs };
  const [now] = usageAtMoments(history, [end]);
  const fitted = fittings.find((fitting) => fitting.removedAt === null);
  return {
    ...piece,
    sku: line.sku,
    lineName: line.name,
    kindCode: kind.code,
    usage: { clock: kind.clock, total: now!.usage, runs: runs.length, bySurface: now!.bySurface },
    fittings,
    carId: fitted?.carId ?? null,
    positionId: fitted?.positionId ?? null,
    state:
      piece.retiredAt !== null
        ? ("retired" as const)
        : fitted === undefined
          ? ("spare" as const)
          : ("fitted" as const),
  };
}
