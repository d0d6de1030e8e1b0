import type { Queries } from "./database.ts";
import type { InspectionRow, ReadingRow } from "./tables.ts";

export async function insertInspection(
  q: Queries,
  inspection: InspectionRow,
  readings: readonly ReadingRow[],
): Promise<void> {
  await q.insertInto("inspections").values(inspection).execute();
  if (readings.length > 0) await q.insertInto("readings").values(readings).execute();
}

/** Deletes an inspection with its readings. */
export async function deleteInspectionRows(q: Queries, id: string): Promise<void> {
  await q.deleteFrom("readings").where("inspectionId", "=", id).execute();
  await q.deleteFrom("inspections").where("id", "=", id).execute();
}

export const selectReadingsOf = (q: Queries, inspectionIds: readonly string[]): Promise<ReadingRow[]> =>
  inspectionIds.length === 0
    ? Promise.resolve([])
    : q.selectFrom("readings").selectAll().where("inspectionId", "in", inspectionIds).orderBy("id").execute();

/** The last readings of a piece before a moment, oldest first. */
export async function selectLastReadings(
  q: Queries,
  pieceId: string,
  before: string,
  count: number,
): Promise<ReadingRow[]> {
  const rows = await q
    .selectFrom("readings")
    .selectAll()
    .where("pieceId", "=", pieceId)
    .where("at", "<=", before)
    .orderBy("at", "desc")
    .orderBy("id", "desc")
    .limit(count)
    .execute();
  return rows.reverse();
}

/** What a look at a piece says of its wear: a reading or a grade, at a moment. */
export interface SeenWear {
  pieceId: string;
  at: string;
  value: number | null;
  sd: number | null;
  grade: number | null;
}

/** Every reading and grade of some pieces, in the order of time. */
export async function selectSeenWear(q: Queries, pieceIds: readonly string[]): Promise<SeenWear[]> {
  const seen: SeenWear[] = [];
  // SQLite takes 32,766 parameters in a statement.
  for (let i = 0; i < pieceIds.length; i += 10_000) {
    const some = pieceIds.slice(i, i + 10_000);
    const readings = await q
      .selectFrom("readings")
      .select(["pieceId", "at", "value", "sd"])
      .where("pieceId", "in", some)
      .orderBy("at")
      .orderBy("id")
      .execute();
    const grades = await q
      .selectFrom("inspections")
      .select(["pieceId", "at", "grade"])
      .where("pieceId", "in", some)
      .where("grade", "is not", null)
      .orderBy("at")
      .orderBy("id")
      .execute();
    seen.push(
      ...readings.map((r) => ({ ...r, grade: null })),
      ...grades.map((g) => ({ ...g, value: null, sd: null })),
    );
  }
  return seen.sort((a, b) => (a.at < b.at ? -1 : a.at > b.at ? 1 : 0));
}
