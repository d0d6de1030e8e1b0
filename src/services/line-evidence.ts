import { type LineBreakage, lineBreakage } from "../domain/breakage.ts";
import type { Kind } from "../domain/kind.ts";
import { type UsedRun, usageAtMoments } from "../domain/usage.ts";
import { type SeenAtUsage, wearPiece } from "../domain/wear.ts";
import type { WearPiece } from "../stats/index.ts";
import type { Db } from "../storage/database.ts";
import { type SeenWear, selectSeenWear } from "../storage/inspections.ts";
import {
  type RunOfPiece,
  selectLivesOfLine,
  selectPiecesOfLine,
  selectRunsOfPieces,
} from "../storage/line-models.ts";
import type { LineRow, PieceRow } from "../storage/tables.ts";
import { ageSince } from "./keep-pieces.ts";
import { overridesOf } from "./line-overrides.ts";

/** Older pieces than this say nothing that the newer ones do not, and fitting stays bounded. */
const piecesFitted = 300;

/** The looks at one piece, each with the usage the piece had then. */
export function seenAtUsage(
  kind: Kind,
  piece: PieceRow,
  firstFittedAt: string | undefined,
  runs: readonly UsedRun[],
  seen: readonly SeenWear[],
): SeenAtUsage[] {
  const since = ageSince(piece, firstFittedAt);
  const history = { clock: kind.clock, priorUsage: piece.priorUsage ?? 0, since, runs };
  const usages = usageAtMoments(
    history,
    seen.map((one) => one.at),
  );
  return seen.map(({ at, value, sd, grade }, i) => ({ ...usages[i]!, at, value, sd, grade }));
}

function byPiece<T extends { pieceId: string }>(rows: readonly T[]): Map<string, T[]> {
  const groups = new Map<string, T[]>();
  for (const row of rows) {
    const group = groups.get(row.pieceId);
    if (group === undefined) groups.set(row.pieceId, [row]);
    else group.push(row);
  }
  return groups;
}

/** What the log says of one piece: its row, the runs that wore it and the looks at it, in the order of time. */
export interface PieceRecord {
  row: PieceRow;
  firstFittedAt: string | undefined;
  runs: readonly RunOfPiece[];
  seen: readonly SeenWear[];
}

/** What the log says of each of the newest pieces of a line, oldest piece first. */
export async function pieceRecords(db: Db, lineId: string): Promise<PieceRecord[]> {
  const rows = await selectPiecesOfLine(db, lineId, piecesFitted);
  const ids = rows.map(({ id }) => id);
  const { runs, firstFitted } = await selectRunsOfPieces(db, ids);
  const seen = await selectSeenWear(db, ids);
  const [runsOf, seenOf] = [byPiece(runs), byPiece(seen)];
  return rows.map((row) => ({
    row,
    firstFittedAt: firstFitted.get(row.id),
    runs: runsOf.get(row.id) ?? [],
    seen: seenOf.get(row.id) ?? [],
  }));
}

/** Everything in the log that speaks of how a line wears: its pieces that were looked at, as the wear line sees them. */
export async function lineEvidence(db: Db, line: LineRow, kind: Kind): Promise<WearPiece[]> {
  const overrides = overridesOf(line);
  return (await pieceRecords(db, line.id))
    .map(({ row, firstFittedAt, runs, seen }) =>
      wearPiece(kind, overrides, row, seenAtUsage(kind, row, firstFittedAt, runs, seen)),
    )
    .filter(({ observations }) => observations.length > 0);
}

/**
 * Everything in the log that speaks of how a line breaks. Each run of a piece counts, whether the piece was looked at
 * since or not: a breakage makes itself known when it happens, and is logged as the piece's end.
 */
export const breakagesOfLine = async (db: Db, lineId: string, kind: Kind): Promise<LineBreakage> =>
  lineBreakage(kind, await selectLivesOfLine(db, lineId, piecesFitted));
