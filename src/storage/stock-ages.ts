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
