import { z } from "zod";
import { clocks, surfaces } from "../../domain/kind.ts";
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
import { AsNew, Fitting, fittedNow, KeptFor, Mark, RetiredFor } from "../piece-schemas.ts";
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
  Version,
} from "../schemas.ts";

const State = z.enum(pieceStates);
const usage = z.number().min(0).max(1e9);

const pieceFields = {
  mark: Mark,
  asNew: AsNew,
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
    keptFor: KeptFor,
    retiredAt: Instant.nullable(),
    retiredFor: RetiredFor.nullable(),
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Piece" });
const ListedPiece = Piece.extend({
  state: State,
  ...fittedNow,
}).meta({ id: "ListedPiece" });
const PieceHistory = Piece.extend({
  state: State,
  ...fittedNow,
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
const PieceChanges = z.strictObject({ ...pieceFields, keptFor: KeptFor }).partial();

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
    description: "In the order in which they were added.",
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
    summary: "Correct a piece's mark, as-new reading or prior usage, or keep it for practice",
    description:
      "Members that are not given stay. `keptFor` is set for the whole pair or set that was fitted together last.",
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
];
