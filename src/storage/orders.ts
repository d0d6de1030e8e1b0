import type { Queries } from "./database.ts";
import type { Page, PageRequest } from "./records.ts";
import type { OrderLineRow, OrderRow } from "./tables.ts";

/** A line of an order, with what came of it so far. */
export interface OrderLineShown {
  lineId: string;
  sku: string;
  name: string;
  packs: number;
  pieces: number;
  priceMinorUnits: number;
  currency: string;
  /** pieces received under this order, less those whose receipt was undone */
  receivedPieces: number;
}
export interface OrderShown extends OrderRow {
  supplierName: string;
  lines: OrderLineShown[];
}

export async function insertOrder(
  q: Queries,
  order: OrderRow,
  lines: readonly OrderLineRow[],
): Promise<void> {
  await q.insertInto("orders").values(order).execute();
  await q.insertInto("orderLines").values(lines).execute();
}

/** A page of orders, the last placed first. */
export async function pageOfOrders(
  q: Queries,
  clubId: string,
  { limit, after }: PageRequest,
  only: {
    id?: string | undefined;
    open?: boolean | undefined;
    supplierId?: string | undefined;
    locationIds?: readonly string[] | undefined;
  },
): Promise<Page<OrderShown>> {
  const { id, open, supplierId, locationIds } = only;
  if (locationIds?.length === 0) return { items: [], next: null };
  const rows = await q
    .selectFrom("orders")
    .innerJoin("suppliers", "suppliers.id", "orders.supplierId")
    .selectAll("orders")
    .select("suppliers.name as supplierName")
    .where("orders.clubId", "=", clubId)
    .$if(id !== undefined, (s) => s.where("orders.id", "=", id!))
    .$if(open !== undefined, (s) => s.where("closedAt", open === true ? "is" : "is not", null))
    .$if(supplierId !== undefined, (s) => s.where("supplierId", "=", supplierId!))
    .$if(locationIds !== undefined, (s) => s.where("locationId", "in", locationIds!))
    .$if(after !== null, (s) =>
      s.where((e) =>
        e.or([
          e("placedAt", "<", String(after!.key)),
          e.and([e("placedAt", "=", String(after!.key)), e("orders.id", "<", after!.id)]),
        ]),
      ),
    )
    .orderBy("placedAt", "desc")
    .orderBy("orders.id", "desc")
    .limit(limit + 1)
    .execute();
  const shown = rows.slice(0, limit);
  const lines = await linesOf(
    q,
    shown.map((order) => order.id),
  );
  const last = shown.at(-1);
  return {
    items: shown.map((order) => ({ ...order, lines: lines.get(order.id) ?? [] })),
    next: rows.length > limit && last !== undefined ? { key: last.placedAt, id: last.id } : null,
  };
}

async function linesOf(q: Queries, orderIds: readonly string[]): Promise<Map<string, OrderLineShown[]>> {
  const byOrder = new Map<string, OrderLineShown[]>();
  if (orderIds.length === 0) return byOrder;
  const rows = await q
    .selectFrom("orderLines")
    .innerJoin("lines", "lines.id", "orderLines.lineId")
    .select(["orderId", "lineId", "sku", "name", "packs", "pieces", "orderLines.priceMinorUnits", "currency"])
    .select((e) =>
      e
        .selectFrom("movements")
        .select((m) => m.fn.sum<number | null>("quantity").as("sum"))
        .whereRef("movements.orderId", "=", "orderLines.orderId")
        .whereRef("movements.lineId", "=", "orderLines.lineId")
        .as("received"),
    )
    .where("orderId", "in", orderIds)
    .orderBy("orderLines.id")
    .execute();
  for (const { orderId, received, ...line } of rows)
    byOrder.set(orderId, [
      ...(byOrder.get(orderId) ?? []),
      { ...line, receivedPieces: Number(received ?? 0) },
    ]);
  return byOrder;
}

/** One delivery as the learning of lead times sees it. */
export interface LeadTime {
  placedAt: string;
  receivedAt: string;
  /** from placing the order to this receipt */
  days: number;
}

const msPerDay = 86_400_000;

/**
 * How long a supplier took: one observation for each moment at which something of an order came, unless its receipt
 * was undone. The oldest order first.
 */
export async function leadTimesOf(q: Queries, clubId: string, supplierId: string): Promise<LeadTime[]> {
  const rows = await q
    .selectFrom("orders")
    .innerJoin("movements", "movements.orderId", "orders.id")
    .leftJoin("movements as undoing", "undoing.undoesId", "movements.id")
    .select(["orders.id", "placedAt", "movements.at as receivedAt"])
    .distinct()
    .where("orders.clubId", "=", clubId)
    .where("orders.supplierId", "=", supplierId)
    .where("movements.reason", "=", "received")
    .where("undoing.id", "is", null)
    .orderBy("placedAt")
    .orderBy("orders.id")
    .orderBy("receivedAt")
    .execute();
  return rows.map(({ placedAt, receivedAt }) => ({
    placedAt,
    receivedAt,
    days: (Date.parse(receivedAt) - Date.parse(placedAt)) / msPerDay,
  }));
}
