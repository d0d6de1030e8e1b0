import type { Queries } from "./database.ts";

/** Pieces fitted to some cars now, with their line, position and whether positions are changed together. */
export const selectFittedOnCars = (q: Queries, carIds: readonly string[]) =>
  q
    .selectFrom("fittings")
    .innerJoin("positions", "positions.id", "fittings.positionId")
    .innerJoin("pieces", "pieces.id", "fittings.pieceId")
    .selectAll("pieces")
    .select(["fittings.carId", "positions.changedWith", "positions.name as position"])
    .where("fittings.carId", "in", carIds)
    .where("fittings.removedAt", "is", null)
    .orderBy("pieces.lineId")
    .orderBy("fittings.carId")
    .execute();

/** Pieces of some drivers that are neither retired nor fitted: spares with a mark, and packs. */
export const selectLoosePieces = (q: Queries, driverIds: readonly string[]) =>
  q
    .selectFrom("pieces")
    .leftJoin("fittings", (join) =>
      join.onRef("fittings.pieceId", "=", "pieces.id").on("fittings.removedAt", "is", null),
    )
    .selectAll("pieces")
    .where("pieces.driverId", "in", driverIds)
    .where("pieces.retiredAt", "is", null)
    .where("fittings.id", "is", null)
    .orderBy("pieces.lineId")
    .orderBy("pieces.id")
    .execute();

/** The last fitting of each of some loose pieces; none of a piece that was never fitted. */
export async function selectLastFittings(q: Queries, pieceIds: readonly string[]) {
  const rows = await q
    .selectFrom("fittings")
    .innerJoin("positions", "positions.id", "fittings.positionId")
    .select(["fittings.pieceId", "fittings.carId", "fittings.fittedAt", "fittings.removedAt"])
    .select(["positions.changedWith", "positions.name as position"])
    .where("fittings.pieceId", "in", pieceIds)
    .orderBy("fittings.fittedAt")
    .execute();
  return new Map(rows.map((row) => [row.pieceId, row]));
}

/** What was ordered for some locations and has not come yet, of some lines or of all, with when it was ordered. */
export async function selectOrdered(
  q: Queries,
  clubId: string,
  locationIds: readonly string[],
  lineIds?: readonly string[],
): Promise<{ lineId: string; placedAt: string; pieces: number }[]> {
  if (locationIds.length === 0 || lineIds?.length === 0) return [];
  const rows = await q
    .selectFrom("orders")
    .innerJoin("orderLines", "orderLines.orderId", "orders.id")
    .select((e) => [
      "orderLines.lineId",
      "orderLines.pieces",
      "orders.placedAt",
      e
        .selectFrom("movements")
        .select((m) => m.fn.sum<number | null>("quantity").as("sum"))
        .whereRef("movements.orderId", "=", "orders.id")
        .whereRef("movements.lineId", "=", "orderLines.lineId")
        .as("received"),
    ])
    .where("orders.clubId", "=", clubId)
    .where("orders.closedAt", "is", null)
    .where("orders.locationId", "in", locationIds)
    .$if(lineIds !== undefined, (s) => s.where("orderLines.lineId", "in", lineIds!))
    .execute();
  return rows.map(({ lineId, placedAt, pieces, received }) => ({
    lineId,
    placedAt,
    pieces: Math.max(0, pieces - Number(received ?? 0)),
  }));
}

/** Pieces of each line that were ordered for some locations and have not come yet. */
export async function selectOnOrder(
  q: Queries,
  clubId: string,
  locationIds: readonly string[],
): Promise<Map<string, number>> {
  const open = new Map<string, number>();
  for (const { lineId, pieces } of await selectOrdered(q, clubId, locationIds))
    open.set(lineId, (open.get(lineId) ?? 0) + pieces);
  return open;
}
