import { z } from "zod";
import { listLevels, listMovements, recordMovement, undoMovement } from "../../services/record-movements.ts";
import { takeStock } from "../../services/take-stock.ts";
import { exampleIds } from "../example-ids.ts";
import { operation } from "../operation.ts";
import { ById, Id, Instant, InstantIn, Notes, PageQuery, pageFrom, pageOf, pageReply } from "../schemas.ts";
import { LocationSort } from "./locations.ts";

/** An id that the caller makes, so that a request can be sent again after a broken connection. */
export const GivenId = z
  .uuid({ error: "must be a UUID that you made, such as 0192f0c1-7c1e-7b6a-9c1d-2f6a1b3c4d5e" })
  .meta({
    description:
      "a new UUID of your own: sending the same again then changes nothing; one is made if not given",
    example: "0192f0c1-7c1e-7b6a-9c1d-2f6a1b3c4d5e",
  });
export const Pieces = z
  .number()
  .int("must be a whole number of pieces")
  .min(1, "must be at least 1")
  .max(1e6)
  .meta({ description: "whole pieces", example: 4 });
const PiecesCounted = z
  .number()
  .int("must be a whole number of pieces")
  .min(0, "must be at least 0")
  .max(1e6)
  .meta({ description: "whole pieces that are really there", example: 3 });

const Reason = z.enum([
  "received",
  "fitted",
  "returned",
  "counted",
  "sold",
  "written-off",
  "moved",
  "undone",
]);

const Movement = z
  .object({
    id: Id,
    lineId: Id,
    locationId: Id,
    quantity: z
      .number()
      .int()
      .meta({ description: "pieces that came; negative for pieces that went", example: -1 }),
    reason: Reason,
    at: Instant,
    pieceId: Id.nullable().meta({ description: "the piece with a mark that was fitted or came back" }),
    orderId: Id.nullable().meta({ description: "the order under which it came" }),
    undoesId: Id.nullable().meta({ description: "the movement that this one undoes" }),
    pairId: Id.nullable().meta({ description: "the same for both ends of a move" }),
    notes: Notes,
    recordedAt: Instant,
  })
  .meta({ id: "Movement", description: "pieces of one line that came to a location or went from it" });

const MovementGiven = z
  .strictObject({
    id: GivenId.optional(),
    reason: z
      .enum(["received", "returned", "sold", "written-off", "moved"], {
        error:
          'must be "received", "returned", "sold", "written-off" or "moved"; a count goes to /v1/stocktakes, a fitting to the car',
      })
      .meta({
        description:
          "received: came from outside without an order; returned: came back unused; sold: over the counter or to another racer; written-off: lost, spoilt or given away; moved: went to another location",
      }),
    lineId: Id,
    locationId: Id.meta({
      description: "where the pieces come to; for sold, written-off and moved, where from",
    }),
    toLocationId: Id.optional().meta({ description: "where moved pieces go to" }),
    pieces: Pieces,
    at: InstantIn,
    notes: Notes.default(null),
  })
  .superRefine(({ reason, locationId, toLocationId }, issues) => {
    const fault = (message: string) => issues.addIssue({ code: "custom", path: ["toLocationId"], message });
    if (reason === "moved" && toLocationId === undefined) fault("must say where the pieces are moved to");
    if (reason !== "moved" && toLocationId !== undefined)
      fault('must be left out unless the reason is "moved"');
    if (toLocationId === locationId) fault("must be another location than locationId");
  });

const Level = z
  .object({
    lineId: Id,
    sku: z.string().meta({ example: "QB-SP-048-87" }),
    lineName: z.string().meta({ example: "Spur gear 87T, 48 DP, pair" }),
    locationId: Id,
    locationName: z.string().meta({ example: "Mara's pit box" }),
    sort: LocationSort,
    driverId: Id.nullable(),
    pieces: z.number().int().meta({ description: "whole pieces that lie there", example: 3 }),
  })
  .meta({ id: "StockLevel", description: "the sum of the movements of one line at one location" });

const Stocktake = z
  .object({
    locationId: Id,
    at: Instant,
    counts: z.array(
      z.object({
        lineId: Id,
        countedPieces: z.number().int(),
        expectedPieces: z.number().int().meta({ description: "what the ledger held at that moment" }),
        difference: z.number().int().meta({ description: "pieces: counted less expected", example: -1 }),
        movementId: Id.nullable().meta({ description: "the movement that was written, if any" }),
      }),
    ),
  })
  .meta({ id: "Stocktake" });

const { lineId: line, pitBoxId: pitBox, homeId: home } = exampleIds;

export const movementOperations = [
  operation({
    method: "post",
    path: "/v1/movements",
    operationId: "recordMovement",
    summary: "Record that pieces came, went or were moved",
    description:
      "The ledger only grows, and no location falls below zero. Give an `id` of your own and a repeat is harmless: " +
      "the same content answers 200 with what was recorded, other content 409. A move writes two movements with one `pairId`.",
    tags: ["stock"],
    need: "stock:write",
    body: MovementGiven,
    answers: {
      200: { description: "It was recorded before, with the same content.", body: Movement },
      201: { description: "The movement; for a move, the end at `locationId`.", body: Movement },
    },
    problems: [404, 409],
    example: {
      body: {
        id: "0192f0c1-7c1e-7b6a-9c1d-2f6a1b3c4d5e",
        reason: "moved",
        lineId: line,
        locationId: home,
        toLocationId: pitBox,
        pieces: 2,
        at: "2026-11-28T20:15:00+11:00",
        notes: "packed for the meeting",
      },
    },
  })(async ({ body }, work) => {
    const { movement, repeated } = await recordMovement(work, body);
    return { status: repeated ? 200 : 201, body: movement };
  }),

  operation({
    method: "get",
    path: "/v1/movements",
    operationId: "listMovements",
    summary: "List movements, the last first",
    description:
      "In the order of their times, the newest first. A driver sees those at their own locations, the shop those at shelves.",
    tags: ["stock"],
    need: "stock:read",
    query: z.strictObject({
      lineId: Id.optional().meta({ description: "only of this line" }),
      locationId: Id.optional().meta({ description: "only at this location" }),
      reason: Reason.optional().meta({ description: "only for this reason" }),
      ...PageQuery,
    }),
    answers: { 200: { description: "A page of movements.", body: pageOf(Movement, "MovementPage") } },
    problems: [404],
    example: { query: { reason: "written-off" } },
  })(async ({ query: { limit, after, ...only } }, work, c) =>
    pageReply(await listMovements(work, pageFrom({ limit, after }), only), (row) => row, c.req.url),
  ),

  operation({
    method: "post",
    path: "/v1/movements/{id}/undo",
    operationId: "undoMovement",
    summary: "Undo a movement by a second one",
    description:
      "Of a move both ends are undone. A movement that belongs to a fitting is undone by deleting the fitting. " +
      "An order that had closed because all had come is open again when a receipt is undone.",
    tags: ["stock"],
    need: "stock:write",
    params: ById,
    answers: { 201: { description: "The movement that undoes it.", body: Movement } },
    problems: [404, 409],
  })(async ({ params }, work) => ({ status: 201, body: await undoMovement(work, params.id) })),

  operation({
    method: "get",
    path: "/v1/stock-levels",
    operationId: "listStockLevels",
    summary: "List what lies where",
    description:
      "In the order in which the lines were added, and for each line the locations. Levels are sums of movements. Without a line only levels above zero are listed; with one, every location " +
      "that you may see is, so that a zero is an answer. A driver sees their own locations and the shelves.",
    tags: ["stock"],
    need: "stock:read",
    query: z.strictObject({
      lineId: Id.optional().meta({ description: "only of this line, zeros included" }),
      locationId: Id.optional().meta({ description: "only at this location" }),
      driverId: Id.optional().meta({ description: "only at this driver's locations" }),
      ...PageQuery,
    }),
    answers: {
      200: {
        description: "A page of levels, by line and then location.",
        body: pageOf(Level, "StockLevelPage"),
      },
    },
    problems: [404],
    example: { query: { lineId: line } },
  })(async ({ query: { limit, after, ...only } }, work, c) =>
    pageReply(await listLevels(work, pageFrom({ limit, after }), only), (row) => row, c.req.url),
  ),

  operation({
    method: "post",
    path: "/v1/stocktakes",
    operationId: "takeStock",
    summary: "Enter a count, and let the ledger follow",
    description:
      "Each difference to what the ledger held at that moment is written as a `counted` movement, all or none; " +
      "movements after the count stay. Lines that are not named stay as they are. Entering the same count twice writes nothing the second time.",
    tags: ["stock"],
    need: "stock:write",
    body: z.strictObject({
      locationId: Id,
      at: InstantIn,
      counts: z
        .array(z.strictObject({ lineId: Id, pieces: PiecesCounted }))
        .min(1, "needs at least one line")
        .max(2000)
        .refine(
          (counts) => new Set(counts.map(({ lineId }) => lineId)).size === counts.length,
          "counts a line twice: add its pieces up",
        ),
    }),
    answers: { 201: { description: "What was counted, expected and written.", body: Stocktake } },
    problems: [404, 409],
    example: {
      body: { locationId: pitBox, at: "2026-11-28T21:00:00+11:00", counts: [{ lineId: line, pieces: 3 }] },
    },
  })(async ({ body }, work) => ({
    status: 201,
    body: { locationId: body.locationId, at: body.at, counts: await takeStock(work, body) },
  })),
];
