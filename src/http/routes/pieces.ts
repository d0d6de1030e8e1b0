import { z } from "zod";
import { clocks, surfaces } from "../../domain/kind.ts";
import { retirements } from "../../domain/piece.ts";
import {
  changeFitting,
  deleteFitting,
  fitPiece,
  removePiece,
  replacePiece,
  swapPieces,
} from "../../services/fit-pieces.ts";
import {
  addPiece,
  changePiece,
  pieceHistory,
  retirePiece,
  unretirePiece,
} from "../../services/keep-pieces.ts";
import { listPieces } from "../../services/list-pieces.ts";
import { pieceStates } from "../../storage/pieces.ts";
import { exampleIds } from "../example-ids.ts";
import { operation } from "../operation.ts";
import {
  ById,
  Day,
  Id,
  Instant,
  InstantIn,
  Notes,
  PageQuery,
  pageFrom,
  pageOf,
  pageReply,
  text,
  Version,
} from "../schemas.ts";

const RetiredFor = z.enum(retirements).meta({ description: "why a piece was taken off for good" });
const State = z.enum(pieceStates);
const size = z.number().min(-1e9).max(1e9);
const usage = z.number().min(0).max(1e9);

const pieceFields = {
  mark: text(60).meta({ description: "what is written on it; unique for the driver", example: "set 2, FL" }),
  asNew: size
    .nullable()
    .meta({ description: "reading when new, in the kind's unit; null if it was not taken" }),
  priorUsage: usage.nullable().meta({
    description:
      "usage it brought along, on the kind's clock: an estimate for a second-hand piece, null for a new one",
  }),
  priorUsageSd: usage.nullable().meta({
    description: "how far that estimate may be off (one standard deviation), on the kind's clock",
  }),
  boughtOn: Day.nullable(),
  notes: Notes,
};
const Piece = z
  .object({
    id: Id,
    driverId: Id,
    lineId: Id,
    ...pieceFields,
    retiredAt: Instant.nullable(),
    retiredFor: RetiredFor.nullable(),
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Piece" });
const ListedPiece = Piece.extend({
  state: State,
  carId: Id.nullable().meta({ description: "the car it is fitted to now" }),
  positionId: Id.nullable(),
}).meta({ id: "ListedPiece" });
const Fitting = z
  .object({
    id: Id,
    pieceId: Id,
    carId: Id,
    positionId: Id,
    fittedAt: Instant,
    removedAt: Instant.nullable().meta({ description: "null while it is fitted" }),
    version: Version,
  })
  .meta({ id: "Fitting" });
const PieceHistory = Piece.extend({
  state: State,
  sku: z.string(),
  lineName: z.string(),
  kindCode: z.string(),
  usage: z.object({
    clock: z.enum(clocks),
    total: z.number().meta({ description: "usage so far on the clock, prior usage included" }),
    runs: z.number().int().meta({ description: "logged runs that wore it" }),
    bySurface: z
      .partialRecord(z.enum(surfaces), z.number())
      .meta({ description: "logged usage on each surface" }),
  }),
  fittings: z.array(Fitting).meta({ description: "every fitting, oldest first" }),
}).meta({ id: "PieceHistory" });

const PieceGiven = z.strictObject({
  driverId: Id,
  lineId: Id,
  mark: pieceFields.mark,
  asNew: pieceFields.asNew.default(null),
  priorUsage: pieceFields.priorUsage.default(null),
  priorUsageSd: pieceFields.priorUsageSd.default(null),
  boughtOn: pieceFields.boughtOn.default(null),
  notes: Notes.default(null),
});
const PieceChanges = z.strictObject(pieceFields).partial();

const From = text(64).default("own").meta({
  description:
    'where the new piece is taken from: a location\'s id; "own" for the driver\'s pit box or else home; "none" if it never was in stock',
});
const PieceToFit = z
  .union([
    z.strictObject({ pieceId: Id.meta({ description: "a piece that has a mark already" }) }),
    z.strictObject({
      lineId: Id,
      mark: pieceFields.mark,
      asNew: pieceFields.asNew.default(null),
      from: From,
    }),
  ])
  .meta({ id: "PieceToFit", description: "a piece on the books, or a new one out of stock" });
const position = text(60).meta({ description: "name of the position on the car", example: "spur" });

export const pieceOperations = [
  operation({
    method: "post",
    path: "/v1/pieces",
    operationId: "addPiece",
    summary: "Give one physical part a mark and a history",
    description:
      "A second-hand piece of unknown use gets an estimate of its prior usage and how far that may be off.",
    tags: ["pieces"],
    need: "log:write",
    record: "pieces",
    body: PieceGiven,
    answers: { 201: { description: "The piece, a spare so far.", body: Piece } },
    problems: [404, 409],
    example: {
      body: {
        driverId: exampleIds.driverId,
        lineId: exampleIds.lineId,
        mark: "spur 9",
        asNew: 15.49,
        boughtOn: "2026-11-14",
      },
    },
  })(async ({ body }, work) => ({ status: 201, body: await addPiece(work, body) })),

  operation({
    method: "get",
    path: "/v1/pieces",
    operationId: "listPieces",
    summary: "List pieces",
    tags: ["pieces"],
    need: "log:read",
    query: z.strictObject({
      ...PageQuery,
      driverId: Id.optional(),
      lineId: Id.optional(),
      carId: Id.optional(),
      state: State.optional(),
    }),
    answers: {
      200: { description: "A page of pieces, oldest first.", body: pageOf(ListedPiece, "PiecePage") },
    },
    example: { query: { state: "fitted", limit: "20" } },
    problems: [404],
  })(async ({ query: { limit, after, ...only } }, work, c) =>
    pageReply(await listPieces(work, pageFrom({ limit, after }), only), (row) => row, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/pieces/{id}",
    operationId: "getPiece",
    summary: "Read a piece: its fittings, and its usage so far",
    tags: ["pieces"],
    need: "log:read",
    record: "pieces",
    params: ById,
    answers: { 200: { description: "The piece with its history.", body: PieceHistory } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await pieceHistory(work, params.id) })),

  operation({
    method: "patch",
    path: "/v1/pieces/{id}",
    operationId: "changePiece",
    summary: "Correct a piece's mark, as-new reading or prior usage",
    tags: ["pieces"],
    need: "log:write",
    record: "pieces",
    params: ById,
    body: PieceChanges,
    answers: { 200: { description: "The piece as it is now.", body: Piece } },
    problems: [404, 409],
    example: { body: { notes: "turned over once" } },
  })(async ({ params, body }, work) => ({ status: 200, body: await changePiece(work, params.id, body) })),

  operation({
    method: "put",
    path: "/v1/pieces/{id}/retirement",
    operationId: "retirePiece",
    summary: "Take a piece off for good",
    description: "If it is fitted then, it is removed as well.",
    tags: ["pieces"],
    need: "log:write",
    record: "pieces",
    params: ById,
    body: z.strictObject({ at: InstantIn, retiredFor: RetiredFor }),
    answers: { 200: { description: "The piece as it ended.", body: Piece } },
    problems: [404, 409],
    example: { body: { at: "2026-11-30T19:00:00+11:00", retiredFor: "worn" } },
  })(async ({ params, body }, work) => ({ status: 200, body: await retirePiece(work, params.id, body) })),

  operation({
    method: "delete",
    path: "/v1/pieces/{id}/retirement",
    operationId: "unretirePiece",
    example: { params: { id: exampleIds.retiredPieceId } },
    summary: "Take back a retirement that was logged wrongly",
    tags: ["pieces"],
    need: "log:write",
    record: "pieces",
    params: ById,
    answers: { 200: { description: "The piece, a spare again.", body: Piece } },
    problems: [404, 409],
  })(async ({ params }, work) => ({ status: 200, body: await unretirePiece(work, params.id) })),

  operation({
    method: "post",
    path: "/v1/cars/{id}/fittings",
    operationId: "fitPiece",
    summary: "Fit a piece at a position",
    description: "A new piece leaves the stock in the same transaction. Its clock starts with the next run.",
    tags: ["pieces"],
    need: "log:write",
    params: ById,
    body: z.strictObject({ position, at: InstantIn, piece: PieceToFit }),
    answers: { 201: { description: "The fitting.", body: Fitting } },
    problems: [404, 409],
    example: {
      body: {
        position: "second spur",
        at: "2026-11-29T18:30:00+11:00",
        piece: { pieceId: exampleIds.sparePieceId },
      },
    },
  })(async ({ params, body }, work) => ({ status: 201, body: await fitPiece(work, params.id, body) })),

  operation({
    method: "post",
    path: "/v1/cars/{id}/replacements",
    operationId: "replacePiece",
    summary: "Replace what is fitted at a position",
    description:
      "The old piece comes off, retired for a reason or kept as a spare (`retiredFor` null); the new one leaves the stock and goes on: all in one transaction.",
    tags: ["pieces"],
    need: "log:write",
    params: ById,
    body: z.strictObject({
      position,
      at: InstantIn,
      retiredFor: RetiredFor.nullable().default(null),
      piece: PieceToFit,
    }),
    answers: {
      201: {
        description: "Both fittings: the one that ended and the one that began.",
        body: z.object({ removed: Fitting, fitted: Fitting }).meta({ id: "Replacement" }),
      },
    },
    problems: [404, 409],
    example: {
      body: {
        position: "spur",
        at: "2026-11-30T19:10:00+11:00",
        retiredFor: "worn",
        piece: { lineId: exampleIds.lineId, mark: "spur 4", asNew: 15.48, from: "own" },
      },
    },
  })(async ({ params, body }, work) => ({ status: 201, body: await replacePiece(work, params.id, body) })),

  operation({
    method: "post",
    path: "/v1/pieces/{id}/removal",
    operationId: "removePiece",
    summary: "Take a piece off the car",
    tags: ["pieces"],
    need: "log:write",
    params: ById,
    body: z.strictObject({ at: InstantIn, retiredFor: RetiredFor.nullable().default(null) }),
    answers: { 200: { description: "The fitting as it ended.", body: Fitting } },
    problems: [404, 409],
    example: { body: { at: "2026-11-30T19:00:00+11:00" } },
  })(async ({ params, body }, work) => ({ status: 200, body: await removePiece(work, params.id, body) })),

  operation({
    method: "post",
    path: "/v1/swaps",
    operationId: "swapPieces",
    summary: "Let two fitted pieces change places",
    description: "Between corners of one car or between two cars, at one moment.",
    tags: ["pieces"],
    need: "log:write",
    body: z.strictObject({ pieceIds: z.tuple([Id, Id]), at: InstantIn }),
    answers: {
      201: {
        description: "The two fittings that began.",
        body: z.object({ fittings: z.array(Fitting) }).meta({ id: "Swap" }),
      },
    },
    problems: [404, 409],
    example: {
      body: { pieceIds: [exampleIds.tyreId, exampleIds.otherTyreId], at: "2026-11-30T19:05:00+11:00" },
    },
  })(async ({ body }, work) => ({ status: 201, body: { fittings: await swapPieces(work, body) } })),

  operation({
    method: "patch",
    path: "/v1/fittings/{id}",
    operationId: "changeFitting",
    summary: "Correct when a piece was fitted or removed",
    description: "`removedAt` null says that it is still fitted. Usage follows by itself.",
    tags: ["pieces"],
    need: "log:write",
    record: "fittings",
    params: ById,
    body: z.strictObject({ fittedAt: InstantIn.optional(), removedAt: InstantIn.nullable().optional() }),
    answers: { 200: { description: "The fitting as it is now.", body: Fitting } },
    problems: [404, 409],
    example: { body: { fittedAt: "2026-02-07T18:00:00+11:00" } },
  })(async ({ params, body }, work) => ({ status: 200, body: await changeFitting(work, params.id, body) })),

  operation({
    method: "delete",
    path: "/v1/fittings/{id}",
    operationId: "deleteFitting",
    summary: "Delete a fitting that never happened",
    description: "What it took out of stock goes back.",
    tags: ["pieces"],
    need: "log:write",
    record: "fittings",
    params: ById,
    answers: { 204: { description: "The fitting is gone." } },
    problems: [404, 409],
  })(async ({ params }, work) => {
    await deleteFitting(work, params.id);
    return { status: 204 };
  }),
];
