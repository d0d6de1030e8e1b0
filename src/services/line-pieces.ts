import type { PieceInUse } from "../domain/forecast.ts";
import { usageAtMoments, type UsedRun } from "../domain/usage.ts";
import { selectSeenWear } from "../storage/inspections.ts";
import { selectRunsOfPieces } from "../storage/line-models.ts";
import type { PieceRow } from "../storage/tables.ts";
import { ageSince } from "./keep-pieces.ts";
import { type CurrentModel, seenAtUsage } from "./line-models.ts";
import type { Work } from "./work.ts";

/**
 * Everything the log says of several pieces of one line, as their forecasts need it, in a few queries for all of them.
 * Ages in days are whole days, so that an answer stays the same for the length of a day.
 */
export async function piecesInUse(
  work: Work,
  model: CurrentModel,
  pieces: readonly PieceRow[],
): Promise<Map<string, PieceInUse>> {
  if (pieces.length === 0) return new Map();
  const { kind } = model;
  const ids = pieces.map(({ id }) => id);
  const [{ runs, firstFitted }, seen] = await Promise.all([
    selectRunsOfPieces(work.db, ids),
    selectSeenWear(work.db, ids),
  ]);
  const runsOf = grouped(runs);
  const seenOf = grouped(seen);
  const one = (piece: PieceRow): PieceInUse => {
    const { id, asNew, priorUsage, priorUsageSd } = piece;
    const ownRuns: readonly UsedRun[] = runsOf.get(id) ?? [];
    const since = ageSince(piece, firstFitted.get(id));
    const history = { clock: kind.clock, priorUsage: priorUsage ?? 0, since, runs: ownRuns };
    const [exact] = usageAtMoments(history, [work.now()]);
    const looks = seenAtUsage(kind, piece, firstFitted.get(id), ownRuns, seenOf.get(id) ?? []);
    const now =
      kind.clock === "days"
        ? { ...exact!, usage: Math.max(Math.floor(exact!.usage), looks.at(-1)?.usage ?? 0) }
        : exact!;
    return { id, asNew, priorUsage, priorUsageSd, seen: looks, now };
  };
  return new Map(pieces.map((piece) => [piece.id, one(piece)]));
}

function grouped<T extends { pieceId: string }>(rows: readonly T[]): Map<string, T[]> {
  const groups = new Map<string, T[]>();
  for (const row of rows) {
    const group = groups.get(row.pieceId);
    if (group === undefined) groups.set(row.pieceId, [row]);
    else group.push(row);
  }
  return groups;
}
