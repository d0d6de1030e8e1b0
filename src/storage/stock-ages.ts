import type { Queries } from "./database.ts";

/**
 * What came in of some lines at some locations, and when. A move from one location to another is no receipt: what was
 * moved is as old as before.
 */
export const selectReceipts = async (
  q: Queries,
  clubId: string,
  lineIds: readonly string[],
  locationIds: readonly string[],
): Promise<{ lineId: string; at: string; pieces: number }[]> =>
  lineIds.length === 0 || locationIds.length === 0
    ? []
    : q
        .selectFrom("movements")
        .leftJoin("movements as undoing", "undoing.undoesId", "movements.id")
        .select(["movements.lineId", "movements.at", "movements.quantity as pieces"])
        .where("movements.clubId", "=", clubId)
        .where("movements.lineId", "in", lineIds)
        .where("movements.locationId", "in", locationIds)
        .where("movements.quantity", ">", 0)
        .where("movements.reason", "in", ["received", "counted", "returned"])
        .where("undoing.id", "is", null)
        .orderBy("movements.at")
        .execute();

/**
 * Pieces of each line that left some locations from a moment on: sold, fitted, counted down, or moved to where no shelf
 * is. What was written off or undone does not count.
 */
export async function selectTaken(
  q: Queries,
  clubId: string,
  locationIds: readonly string[],
  from: string,
): Promise<Map<string, number>> {
  if (locationIds.length === 0) return new Map();
  const rows = await q
    .selectFrom("movements")
    .leftJoin("movements as undoing", "undoing.undoesId", "movements.id")
    .leftJoin("movements as arrival", (join) =>
      join.onRef("arrival.pairId", "=", "movements.pairId").onRef("arrival.id", "<>", "movements.id"),
    )
    .leftJoin("locations as goal", "goal.id", "arrival.locationId")
    .select((e) => ["movements.lineId", e.fn.sum<number>("movements.quantity").as("pieces")])
    .where("movements.clubId", "=", clubId)
    .where("movements.locationId", "in", locationIds)
    .where("movements.quantity", "<", 0)
    .where("movements.at", ">=", from)
    .where("movements.reason", "in", ["sold", "fitted", "counted", "moved"])
    .where("undoing.id", "is", null)
    .where((e) => e.or([e("goal.sort", "is", null), e("goal.sort", "<>", "shelf")]))
    .groupBy("movements.lineId")
    .execute();
  return new Map(rows.map(({ lineId, pieces }) => [lineId, -Number(pieces)]));
}

/** The lines of which something was ever at some locations. */
export const selectLinesKept = async (
  q: Queries,
  clubId: string,
  locationIds: readonly string[],
): Promise<string[]> =>
  locationIds.length === 0
    ? []
    : (
        await q
          .selectFrom("movements")
          .select("lineId")
          .distinct()
          .where("clubId", "=", clubId)
          .where("locationId", "in", locationIds)
          .execute()
      ).map(({ lineId }) => lineId);
