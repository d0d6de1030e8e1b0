import { z } from "zod";
import { clocks } from "../../domain/kind.ts";
import { lineAccuracy } from "../../services/line-accuracy.ts";
import { Sentence, share } from "../answer-schemas.ts";
import { operation } from "../operation.ts";
import { ById, Id, Instant } from "../schemas.ts";

const CoverageAt = z
  .object({
    level: share.meta({ description: "share of outcomes that the ranges claim to hold, 0 to 1" }),
    inside: z.number().int().meta({ description: "number of outcomes that lay in their range" }),
    share: share.meta({ description: "their share" }),
    limits: z.object({ low: share, high: share }).meta({
      description:
        "95 % limits of the true share (Clopper and Pearson 1934), as if forecasts were independent",
    }),
    enough: z.boolean().meta({ description: "at least 30 forecasts; with fewer this is no evidence" }),
    asStated: z.boolean().meta({ description: "the level lies within the limits" }),
  })
  .meta({ id: "CoverageAt" });

const scoreboard = {
  forecasts: z.number().int(),
  coverage: z.array(CoverageAt).meta({ description: "of the central ranges of 50, 80 and 95 %" }),
  meanCrps: z.number().nullable().meta({
    description:
      "mean continuous ranked probability score, smaller is better: of a reading in the unit of wear, of a grade in grades, of an end of life in usage",
  }),
  bias: z
    .number()
    .nullable()
    .meta({ description: "mean of outcome less median, in the same unit; above 0: more than forecast" }),
};

const LineAccuracy = z
  .object({
    lineId: Id,
    sku: z.string(),
    kindCode: z.string(),
    asOf: Instant,
    clock: z.enum(clocks),
    unit: z.string().nullable().meta({ description: "unit of wear; null for a graded kind" }),
    scheme: z.object({
      evenings: z.number().int().meta({ description: "evenings in the log that give rise to a forecast" }),
      eveningsScored: z.number().int(),
      seed: z.number().int().meta({ description: "what the evenings are drawn with" }),
      sentence: Sentence,
    }),
    accuracy: z
      .array(
        z.object({
          target: z.enum(["reading", "grade", "end"]).meta({
            description: "reading, grade: the next look at a piece; end: the usage at which it was finished",
          }),
          ...scoreboard,
          pieces: z.number().int().meta({
            description:
              "pieces that the forecasts are of; forecasts of one piece are not independent of each other",
          }),
          known: z.number().int().meta({
            description:
              "forecasts whose outcome is known. An end that had not come by the last look counts in the coverage, put beyond it by chance; score and bias are of known ones, which are the earlier ones",
          }),
          enough: z.boolean().meta({ description: "at least 30 forecasts" }),
          naive: z
            .object({
              ...scoreboard,
              ourMeanCrps: z.number().nullable().meta({ description: "our score for the same forecasts" }),
            })
            .meta({ description: "the straight line through each piece's own readings, for comparison" }),
          sentence: Sentence,
        }),
      )
      .meta({ description: "empty while no piece has been looked at twice" }),
  })
  .meta({ id: "LineAccuracy" });

export const accuracyOperations = [
  operation({
    method: "get",
    path: "/v1/lines/{id}/accuracy",
    operationId: "lineAccuracy",
    summary: "How far are the forecasts of this line to be trusted?",
    description:
      "A back-test on the club's own log: what would have been forecast on past evenings from what was known then, and what happened. Figures are pooled over the pieces of all drivers.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    answers: {
      200: { description: "How often the ranges held, and how far off they were.", body: LineAccuracy },
    },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await lineAccuracy(work, params.id) })),
];
