import type { Queries } from "./database.ts";

/** The car whose run named this pack last. */
export async function selectLastCarOfPack(q: Queries, packId: string): Promise<string | undefined> {
  const row = await q
    .selectFrom("runs")
    .select("carId")
    .where("packId", "=", packId)
    .orderBy("at", "desc")
    .limit(1)
    .executeTakeFirst();
  return row?.carId;
}

/** How many pieces of a kind a driver has that are not retired. */
export async function countPiecesInUse(q: Queries, driverId: string, kindId: string): Promise<number> {
  const row = await q
    .selectFrom("pieces")
    .innerJoin("lines", "lines.id", "pieces.lineId")
    .select((e) => e.fn.countAll<number>().as("pieces"))
    .where("pieces.driverId", "=", driverId)
    .where("lines.kindId", "=", kindId)
    .where("pieces.retiredAt", "is", null)
    .executeTakeFirstOrThrow();
  return Number(row.pieces);
}
