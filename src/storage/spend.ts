import type { Queries } from "./database.ts";

/** Money spent on a line on a day. */
export interface SpendRow {
  at: string;
  lineId: string;
  currency: string;
  minorUnits: number;
}

/**
 * What was spent at some locations over a stretch of time: orders at the price they were placed at, and what was
 * received without an order at the price of the line today.
 */
export async function selectSpend(
  q: Queries,
  clubId: string,
  locationIds: readonly string[],
  from: string,
  before: string,
): Promise<SpendRow[]> {
  if (locationIds.length === 0) return [];
  const ordered = await q
    .selectFrom("orders")
    .innerJoin("orderLines", "orderLines.orderId", "orders.id")
    .innerJoin("lines", "lines.id", "orderLines.lineId")
    .select(["placedAt as at", "lineId", "currency", "packs", "orderLines.priceMinorUnits as price"])
    .where("orders.clubId", "=", clubId)
    .where("locationId", "in", locationIds)
    .where("placedAt", ">=", from)
    .where("placedAt", "<", before)
    .orderBy("placedAt")
    .execute();
  const received = await q
    .selectFrom("movements")
    .innerJoin("lines", "lines.id", "movements.lineId")
    .leftJoin("movements as undoing", "undoing.undoesId", "movements.id")
    .select([
      "movements.at",
      "movements.lineId",
      "currency",
      "movements.quantity",
      "packSize",
      "priceMinorUnits",
    ])
    .where("movements.clubId", "=", clubId)
    .where("movements.locationId", "in", locationIds)
    .where("movements.reason", "=", "received")
    .where("movements.orderId", "is", null)
    .where("undoing.id", "is", null)
    .where("movements.at", ">=", from)
    .where("movements.at", "<", before)
    .orderBy("movements.at")
    .execute();
  return [
    ...ordered.map(({ at, lineId, currency, packs, price }) => ({
      at,
      lineId,
      currency,
      minorUnits: packs * price,
    })),
    ...received.map(({ at, lineId, currency, quantity, packSize, priceMinorUnits }) => ({
      at,
      lineId,
      currency,
      minorUnits: Math.round((quantity * priceMinorUnits) / packSize),
    })),
  ];
}
