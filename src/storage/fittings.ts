import { DomainError } from "../domain/errors.ts";
import type { Queries } from "./database.ts";
import type { FittingRow, PieceRow, PositionRow } from "./tables.ts";

/** A position of a car by its name, which is unique on the car. */
export async function getPosition(
  q: Queries,
  clubId: string,
  carId: string,
  name: string,
): Promise<PositionRow> {
  const positions = await selectPositions(q, clubId, carId);
  const found = positions.find((position) => position.name === name);
  if (found === undefined)
    throw new DomainError(
      "not_found",
      `The car has no position "${name}"; it has ${positions.map((p) => `"${p.name}"`).join(", ") || "none yet"}`,
      [{ pointer: "#/position", detail: "is not a position of the car" }],
    );
  return found;
}

export const selectPositions = (q: Queries, clubId: string, carId: string): Promise<PositionRow[]> =>
  q
    .selectFrom("positions")
    .selectAll()
    .where("carId", "=", carId)
    .where("clubId", "=", clubId)
    .orderBy("id")
    .execute();

/** Fittings of the piece or of the position that overlap a span of time, other than the one named. */
export function selectOverlaps(
  q: Queries,
  span: { pieceId: string; positionId: string; fittedAt: string; removedAt: string | null },
  exceptId: string | null = null,
): Promise<(FittingRow & Pick<PieceRow, "mark">)[]> {
  return q
    .selectFrom("fittings")
    .innerJoin("pieces", "pieces.id", "fittings.pieceId")
    .selectAll("fittings")
    .select("pieces.mark")
    .where((e) =>
      e.or([e("fittings.pieceId", "=", span.pieceId), e("fittings.positionId", "=", span.positionId)]),
    )
    .where((e) => e.or([e("fittings.removedAt", "is", null), e("fittings.removedAt", ">", span.fittedAt)]))
    .$if(span.removedAt !== null, (s) => s.where("fittings.fittedAt", "<", span.removedAt))
    .$if(exceptId !== null, (s) => s.where("fittings.id", "!=", exceptId))
    .execute();
}

/** The fitting of a piece that covers a moment, if any. */
export const selectFittingOfPieceAt = (
  q: Queries,
  pieceId: string,
  at: string,
): Promise<FittingRow | undefined> =>
  q
    .selectFrom("fittings")
    .selectAll()
    .where("pieceId", "=", pieceId)
    .where("fittedAt", "<=", at)
    .where((e) => e.or([e("removedAt", "is", null), e("removedAt", ">", at)]))
    .executeTakeFirst();

/** The fitting at a position that covers a moment, if any. */
export const selectFittingAtPosition = (
  q: Queries,
  positionId: string,
  at: string,
): Promise<FittingRow | undefined> =>
  q
    .selectFrom("fittings")
    .selectAll()
    .where("positionId", "=", positionId)
    .where("fittedAt", "<=", at)
    .where((e) => e.or([e("removedAt", "is", null), e("removedAt", ">", at)]))
    .executeTakeFirst();

/** What is fitted to a car now: each position's fitting with its piece. */
export const selectFittedNow = (q: Queries, carId: string) =>
  q
    .selectFrom("fittings")
    .innerJoin("pieces", "pieces.id", "fittings.pieceId")
    .innerJoin("lines", "lines.id", "pieces.lineId")
    .select([
      "fittings.id as fittingId",
      "fittings.positionId",
      "fittings.pieceId",
      "fittings.fittedAt",
      "pieces.mark",
      "pieces.lineId",
      "lines.name as lineName",
      "lines.sku",
    ])
    .where("fittings.carId", "=", carId)
    .where("fittings.removedAt", "is", null)
    .execute();

export async function insertFitting(q: Queries, row: FittingRow): Promise<void> {
  await q.insertInto("fittings").values(row).execute();
}

export async function updateFitting(
  q: Queries,
  id: string,
  changes: Partial<Pick<FittingRow, "fittedAt" | "removedAt">>,
): Promise<FittingRow> {
  return q
    .updateTable("fittings")
    .set((e) => ({ ...changes, version: e("version", "+", 1) }))
    .where("id", "=", id)
    .returningAll()
    .executeTakeFirstOrThrow();
}
