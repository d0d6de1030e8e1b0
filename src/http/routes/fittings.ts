import { z } from "zod";
import {
  changeFitting,
  deleteFitting,
  fitPiece,
  removePiece,
  replacePiece,
  swapPieces,
} from "../../services/fit-pieces.ts";
import { exampleIds } from "../example-ids.ts";
import { operation } from "../operation.ts";
import { AsNew, Fitting, Mark, RetiredFor } from "../piece-schemas.ts";
import { ById, Id, InstantIn, text } from "../schemas.ts";

const From = text(64).default("own").meta({
  description:
    'where the new piece is taken from: a location\'s id; "own" for the driver\'s pit box or else home; "none" if it never was in stock',
});
const PieceToFit = z
  .union([
    z.strictObject({ pieceId: Id.meta({ description: "a piece that has a mark already" }) }),
    z.strictObject({
      lineId: Id,
      mark: Mark,
      asNew: AsNew.default(null),
      from: From,
    }),
  ])
  .meta({ id: "PieceToFit", description: "a piece on the books, or a new one out of stock" });
const position = text(60).meta({ description: "name of the position on the car", example: "spur" });

export const fittingOperations = [
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
