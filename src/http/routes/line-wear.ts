import { z } from "zod";
import { lineWear } from "../../services/line-wear.ts";
import { chance, Range, share } from "../answer-schemas.ts";
import { operation } from "../operation.ts";
import { ById, Id, Instant } from "../schemas.ts";
import { Clock, CountRange, Unit } from "../wear-schemas.ts";

const LineWear = z
  .object({
    lineId: Id,
    sku: z.string(),
    kindCode: z.string(),
    asOf: Instant,
    clock: Clock,
    unit: Unit,
    limits: z.object({
      basis: z.enum(["size", "loss"]),
      race: z.number().nullable(),
      club: z.number(),
      stop: z.number().nullable(),
    }),
    limitWear: z.number().meta({ description: "the wear at which a piece is finished, by the club limit" }),
    wearRate: Range.meta({ description: "wear for each unit of the clock, over the line's pieces" }),
    pieceSpread: z.number().meta({ description: "coefficient of variation of the rate from piece to piece" }),
    runSpread: z.number().meta({ description: "coefficient of variation of the wear of one run" }),
    readingSd: z.number().meta({ description: "standard deviation of one reading, in `unit`" }),
    pathExponent: z
      .number()
      .meta({ description: "wear goes with usage to this power: below 1 it slows down" }),
    newPieceLife: CountRange.meta({ description: "life of a new piece by wear alone, on the clock" }),
    surfaces: z.array(
      z.object({
        surface: z.string(),
        p10: z.number(),
        median: z.number(),
        p90: z.number(),
        learned: z.boolean().meta({ description: "false: a belief of the trade, not met in the log" }),
      }),
    ),
    conditions: z
      .array(
        z.object({
          factor: z.string().meta({ description: "what is compared, such as corner or mesh" }),
          condition: z
            .string()
            .meta({ description: "the corner, or the condition that runs were logged with" }),
          p10: z.number(),
          median: z.number(),
          p90: z.number(),
          believed: z
            .number()
            .meta({ description: "how many times as fast by what the trade believes, before the log" }),
          runs: z.number().int().meta({ description: "runs under it" }),
          share: share.meta({ description: "their share of the line's use" }),
          sentence: z.string(),
        }),
      )
      .meta({
        description:
          "how many times as fast as its other use the line wears under each condition that was met often enough; surfaces are taken out, other conditions are not",
      }),
    breakage: z.object({
      perRun: z.number().meta({ description: "breakages expected for each run, over all drivers" }),
      range: Range.meta({ description: "the same as a range" }),
      drivers: z
        .array(z.object({ driverId: Id, perRun: Range, broken: z.number().int(), runs: z.number().int() }))
        .meta({
          description: "each driver's own rate, drawn to that of the line; a driver's key sees its own only",
        }),
      broken: z.number().int(),
      runs: z.number().int(),
      lastsTenRuns: chance("a piece does not break in ten runs"),
    }),
    restsOn: z.object({ pieces: z.number().int(), readings: z.number().int(), current: z.boolean() }),
  })
  .meta({ id: "LineWear" });

export const lineWearOperations = [
  operation({
    method: "get",
    path: "/v1/lines/{id}/wear",
    operationId: "lineWear",
    summary: "How do the pieces of this line wear?",
    description:
      "The wear rate fitted over its pieces, its spread, the effect of surfaces, and the life of a new piece.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    answers: { 200: { description: "The line's wear.", body: LineWear } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await lineWear(work, params.id) })),
];
