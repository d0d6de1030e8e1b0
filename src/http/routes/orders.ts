import { z } from "zod";
import {
  changeOrder,
  listOrders,
  placeOrder,
  readLeadTimes,
  readOrder,
  receiveOrder,
} from "../../services/keep-orders.ts";
import { exampleIds } from "../example-ids.ts";
import { operation } from "../operation.ts";
import {
  ById,
  Currency,
  Day,
  Id,
  Instant,
  InstantIn,
  MinorUnits,
  Notes,
  PageQuery,
  pageFrom,
  pageOf,
  pageReply,
  Version,
} from "../schemas.ts";
import { GivenId, Pieces } from "./movements.ts";

const packs = z
  .number()
  .int("must be a whole number of packs")
  .min(1, "must be at least 1")
  .max(1e5)
  .meta({ description: "whole packs", example: 2 });
const PackPrice = MinorUnits.meta({
  description: "agreed price of one pack, in minor units of the line's currency",
  example: 900,
});
const promised = Day.nullable().meta({
  description: "the day that the supplier promised; null if none",
  example: "2026-12-11",
});
const count = z.number().int().min(0);

const Order = z
  .object({
    id: Id,
    supplierId: Id,
    supplierName: z.string().meta({ example: "Harrowmead Trade" }),
    locationId: Id.meta({ description: "where it is received" }),
    placedAt: Instant,
    promisedOn: promised,
    open: z.boolean().meta({ description: "is anything still expected?" }),
    closedAt: Instant.nullable(),
    notes: Notes,
    lines: z.array(
      z.object({
        lineId: Id,
        sku: z.string().meta({ example: "QB-SP-048-87" }),
        name: z.string().meta({ example: "Spur gear 87T, 48 DP, pair" }),
        packs,
        pieces: count.meta({ description: "packs times the pack size on the day of the order", example: 4 }),
        priceMinorUnits: PackPrice,
        currency: Currency,
        receivedPieces: z
          .number()
          .int()
          .meta({ description: "pieces that came so far, less what was undone", example: 3 }),
        outstandingPieces: count.meta({ description: "pieces still to come", example: 1 }),
        overPieces: count.meta({ description: "pieces that came beyond what was ordered", example: 0 }),
      }),
    ),
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Order", description: "what was ordered from a supplier, and what came of it" });

const eachOnce = (lines: readonly { lineId: string }[]) =>
  new Set(lines.map(({ lineId }) => lineId)).size === lines.length;
const OrderGiven = z.strictObject({
  supplierId: Id,
  locationId: Id.meta({ description: "where it will be received" }),
  placedAt: InstantIn,
  promisedOn: promised.default(null),
  notes: Notes.default(null),
  lines: z
    .array(
      z.strictObject({
        lineId: Id,
        packs,
        priceMinorUnits: PackPrice.optional().meta({ description: "the line's price if not given" }),
      }),
    )
    .min(1, "needs at least one line")
    .max(500)
    .refine(eachOnce, "names a line twice: add its packs up"),
});
const ReceiptGiven = z.strictObject({
  at: InstantIn,
  lines: z
    .array(z.strictObject({ id: GivenId.optional(), lineId: Id, pieces: Pieces }))
    .min(1, "needs at least one line")
    .max(500)
    .refine(eachOnce, "names a line twice: add its pieces up"),
});

const days = z.number().meta({ description: "days from order to arrival", example: 6.4 });
const LeadTimes = z
  .object({
    count: count.meta({ description: "number of deliveries observed", example: 7 }),
    meanDays: days.nullable().meta({ description: "mean in days; null before the first delivery" }),
    sdDays: days.nullable().meta({
      description: "sample standard deviation in days; null before the second delivery",
    }),
    believedMeanDays: days.meta({ description: "days from order to arrival, by the supplier's record" }),
    believedSdDays: days.meta({ description: "standard deviation of those days, by the supplier's record" }),
    observations: z.array(z.object({ placedAt: Instant, receivedAt: Instant, days })),
  })
  .meta({ id: "LeadTimes" });

const line = exampleIds.lineId;

export const orderOperations = [
  operation({
    method: "post",
    path: "/v1/orders",
    operationId: "placeOrder",
    summary: "Write down an order that was placed",
    description: "Pieces are packs times the line's pack size. Nothing is in stock before it is received.",
    tags: ["orders"],
    need: "stock:write",
    record: "orders",
    body: OrderGiven,
    answers: { 201: { description: "The order.", body: Order } },
    problems: [404],
    example: {
      body: {
        supplierId: exampleIds.supplierId,
        locationId: exampleIds.homeId,
        placedAt: "2026-11-20T19:00:00+11:00",
        promisedOn: "2026-11-27",
        notes: "with the belts of the club order",
        lines: [{ lineId: line, packs: 2, priceMinorUnits: 850 }],
      },
    },
  })(async ({ body }, work) => ({ status: 201, body: await placeOrder(work, body) })),

  operation({
    method: "get",
    path: "/v1/orders",
    operationId: "listOrders",
    summary: "List orders, the last placed first",
    description:
      "In the order in which they were placed, the newest first. A driver sees orders for their own locations, the shop those for shelves.",
    tags: ["orders"],
    need: "stock:read",
    query: z.strictObject({
      open: z
        .enum(["true", "false"])
        .transform((word) => word === "true")
        .optional()
        .meta({
          description: "true: only open orders; false: only closed ones",
          override: { type: "boolean" },
        }),
      supplierId: Id.optional().meta({ description: "only orders from this supplier" }),
      ...PageQuery,
    }),
    answers: { 200: { description: "A page of orders.", body: pageOf(Order, "OrderPage") } },
    example: { query: { open: "true" } },
  })(async ({ query: { limit, after, ...only } }, work, c) =>
    pageReply(await listOrders(work, pageFrom({ limit, after }), only), (row) => row, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/orders/{id}",
    operationId: "getOrder",
    summary: "Read an order and what came of it",
    tags: ["orders"],
    need: "stock:read",
    record: "orders",
    params: ById,
    answers: { 200: { description: "The order.", body: Order } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await readOrder(work, params.id) })),

  operation({
    method: "patch",
    path: "/v1/orders/{id}",
    operationId: "changeOrder",
    summary: "Note a new promise, close or reopen an order",
    description: "Close an order when the rest will never come, such as a cancelled back-order.",
    tags: ["orders"],
    need: "stock:write",
    record: "orders",
    params: ById,
    body: z
      .strictObject({
        promisedOn: promised,
        notes: Notes,
        closed: z.boolean().meta({ description: "true closes the order, false opens it again" }),
      })
      .partial(),
    answers: { 200: { description: "The order as it is now.", body: Order } },
    problems: [404],
    example: { body: { promisedOn: "2026-12-11", notes: "on back-order" } },
  })(async ({ params, body }, work) => ({ status: 200, body: await changeOrder(work, params.id, body) })),

  operation({
    method: "post",
    path: "/v1/orders/{id}/receipts",
    operationId: "receiveOrder",
    summary: "Receive what came of an order",
    description:
      "Writes a `received` movement for each line at the order's location. The order closes by itself when all is " +
      "there; more than was ordered is taken in and shown as `overPieces`. Lines may carry ids of your own, so that " +
      "a repeat is harmless.",
    tags: ["orders"],
    need: "stock:write",
    params: ById,
    body: ReceiptGiven,
    answers: {
      200: { description: "All of it was received before, with the same ids.", body: Order },
      201: { description: "The order with what has come now.", body: Order },
    },
    problems: [404, 409],
    example: {
      body: {
        at: "2026-11-27T18:00:00+11:00",
        lines: [{ id: "0192f0c1-7c1e-7b6a-9c1d-2f6a1b3c4d5f", lineId: line, pieces: 3 }],
      },
    },
  })(async ({ params, body }, work) => {
    const { order, repeated } = await receiveOrder(work, params.id, body);
    return { status: repeated ? 200 : 201, body: order };
  }),

  operation({
    method: "get",
    path: "/v1/suppliers/{id}/lead-times",
    operationId: "getLeadTimes",
    summary: "Read how long a supplier really took",
    description:
      "One observation for each moment at which something of an order came: days from placing the order, back-orders " +
      "included. Receipts that were undone do not count.",
    tags: ["orders"],
    need: "lines:read",
    params: ById,
    answers: { 200: { description: "Observed lead times, beside the belief.", body: LeadTimes } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await readLeadTimes(work, params.id) })),
];
