import { z } from "zod";
import {
  calculateLifeFit,
  calculateRemainingLife,
  calculateReplacementInterval,
} from "../../services/calculate-life.ts";
import {
  amount,
  believedRange,
  Life,
  magnitude,
  Quantiles,
  remainingQuantiles,
  Spread,
} from "../calculator-schemas.ts";
import { operation } from "../operation.ts";

const MOST_OBSERVATIONS = 5000;

const count = z
  .number()
  .gt(0)
  .max(1e9)
  .exactOptional()
  .meta({ description: "how many items alike; 1 if not given" });
const enteredAt = amount(
  "age at which it came under observation, as when bought second-hand; 0 if not given",
).exactOptional();
const shared = { count, enteredAt };

const Observation = z
  .discriminatedUnion("kind", [
    z.strictObject({ kind: z.literal("failed"), at: magnitude("age at failure"), ...shared }),
    z.strictObject({
      kind: z.literal("running"),
      at: amount("age so far, or when it was taken away for another reason than failing"),
      ...shared,
    }),
    z.strictObject({
      kind: z.literal("between"),
      from: amount("age at the last inspection at which it was good"),
      to: magnitude("age at the inspection that found it failed"),
      ...shared,
    }),
    z.strictObject({ kind: z.literal("before"), at: magnitude("age at which it was found failed"), count }),
  ])
  .superRefine((one, issues) => {
    const refuse = (member: string, message: string) =>
      issues.addIssue({ code: "custom", path: [member], message });
    if (one.kind === "between" && !(one.from < one.to)) refuse("to", "must be above from");
    if (one.kind === "before") return;
    const start = one.kind === "between" ? one.from : one.at;
    if (one.enteredAt !== undefined && one.enteredAt > start)
      refuse("enteredAt", "must not be above the age at which it was seen");
  })
  .meta({ id: "ObservedLife", description: "one observed life, or several alike" });

const Interval = z.object({ low: z.number().nullable(), high: z.number().nullable() }).meta({
  id: "LimitsOf95",
  description: "95 % likelihood-ratio limits; null where the observations set none",
});
const ages = { b10: Interval, median: Interval, mean: Interval };

const WeibullNumbers = z.object({ shape: z.number(), scale: z.number() }).meta({ id: "WeibullNumbers" });
const LognormalNumbers = z
  .object({ meanLog: z.number(), sdLog: z.number() })
  .meta({ id: "LognormalNumbers" });
const LifeNumbers = z.union([WeibullNumbers, LognormalNumbers]);

const LifeFit = z
  .object({
    parameters: LifeNumbers.nullable(),
    standardErrors: LifeNumbers.nullable(),
    intervals: z
      .union([
        z.object({ shape: Interval, scale: Interval, ...ages }),
        z.object({ meanLog: Interval, sdLog: Interval, ...ages }),
      ])
      .nullable(),
    logLikelihood: z.number().nullable(),
    b10: z.number().nullable().meta({ description: "age by which one in ten has failed" }),
    median: z.number().nullable(),
    mean: z.number().nullable(),
    noFit: z.string().nullable().meta({
      description:
        "why the members above are null: with a prior, observations that allow no best fit are still answered",
    }),
    posterior: z
      .object({
        parameters: z.union([
          z.object({ shape: Spread, scale: Spread }),
          z.object({ meanLog: Spread, sdLog: Spread }),
        ]),
        b10: Spread,
        median: Spread,
        life: Spread.meta({ description: "life of one new item, all that is not known included" }),
      })
      .optional()
      .meta({ description: "what is believed after the observations; left out without a prior" }),
  })
  .meta({ id: "LifeFit" });

/** Ten failures and ten items still running at 500 hours: NIST/SEMATECH e-Handbook, section 8.4.1. */
const handbook = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386];

export const lifeCalculators = [
  operation({
    method: "post",
    path: "/v1/calculators/life-fit",
    operationId: "calculateLifeFit",
    summary: "Which law of life do failures and survivors point to?",
    description:
      "Maximum likelihood from exact, running, between-inspections and found-failed lives, also of items that came second-hand. With few or no failures, give a prior. Example: ten failures among twenty items, the rest running at 500 hours; NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1, prints shape 1.7207, scale 606.5280 and log-likelihood -75.135.",
    tags: ["calculators"],
    need: "calculators:read",
    body: z.strictObject({
      distribution: z.enum(["weibull", "lognormal"]),
      observations: z.array(Observation).max(MOST_OBSERVATIONS),
      prior: z
        .strictObject({
          life: believedRange("age at failure"),
          lifeOf: z.enum(["item", "median", "scale"]).exactOptional().meta({
            description:
              "what lies in that range: an item's life (if not given), the unknown median life, or the unknown scale",
          }),
          spread: believedRange("shape, or sdLog of a log-normal life").exactOptional(),
        })
        .optional()
        .meta({
          description: "what is believed before the observations, each as the range that holds four in five",
        }),
    }),
    answers: { 200: { description: "The law of life.", body: LifeFit } },
    example: {
      body: {
        distribution: "weibull",
        observations: [
          ...handbook.map((at) => ({ kind: "failed", at })),
          { kind: "running", at: 500, count: 10 },
        ],
      },
    },
  })(({ body }) => ({ status: 200, body: calculateLifeFit(body) })),

  operation({
    method: "post",
    path: "/v1/calculators/remaining-life",
    operationId: "calculateRemainingLife",
    summary: "How long will an item of this age still last?",
    description:
      "Chance of lasting a horizon, and quantiles of what is left, given that the item is alive at its age. Example: the life fitted by the example of life-fit, at 300 hours, for 100 more: exp((300/606.528)^1.7208 - (400/606.528)^1.7208) = 0.826, by hand.",
    tags: ["calculators"],
    need: "calculators:read",
    body: z.strictObject({
      life: Life,
      age: amount("age now, in the unit of the life"),
      horizon: amount("how much longer it is to last, in the unit of the life"),
      quantiles: Quantiles,
    }),
    answers: {
      200: {
        description: "What is left.",
        body: z
          .object({
            conditionalSurvival: z
              .number()
              .meta({ description: "chance of lasting the horizon, given that it is alive now" }),
            remaining: z.object({
              quantiles: remainingQuantiles(z.number()),
              median: z.number(),
            }),
          })
          .meta({ id: "RemainingLife" }),
      },
    },
    example: {
      body: { life: { distribution: "weibull", shape: 1.7208, scale: 606.528 }, age: 300, horizon: 100 },
    },
  })(({ body }) => ({ status: 200, body: calculateRemainingLife(body) })),

  operation({
    method: "post",
    path: "/v1/calculators/replacement-interval",
    operationId: "calculateReplacementInterval",
    summary: "At what age is changing early worth it?",
    description:
      "The age at which a planned replacement is cheapest in the long run, or null where running to failure is. Example: a Weibull life of shape 2.5 and scale 1000, planned cost 1, failure cost 5, by the criterion of Barlow & Hunter (1960): age 493.05 at a cost of 0.0034620 per unit of age. A widely copied 493.19 is the lowest point of a coarse grid.",
    tags: ["calculators"],
    need: "calculators:read",
    body: z.strictObject({
      life: Life,
      plannedCost: magnitude("cost of a planned replacement, in any money unit: part and labour"),
      failureCost: magnitude("cost of a replacement after failure, in the same unit: the lost run included"),
    }),
    answers: {
      200: {
        description: "The interval, and what it is worth.",
        body: z
          .object({
            interval: z.number().nullable().meta({
              description: "age at which to replace, in the unit of the life; null: run to failure",
            }),
            costRate: z.number().meta({ description: "cost for each unit of age under that rule" }),
            costRateRunToFailure: z.number(),
            worthwhile: z
              .boolean()
              .meta({ description: "whether it saves at least 1 % of running to failure" }),
            saving: z.number().meta({ description: "share of the cost of running to failure that is saved" }),
            within: z.object({ from: z.number(), to: z.number().nullable() }).meta({
              description: "ages whose cost is within 1 % of the best; `to` null: any later age, also never",
            }),
            plannedShare: z.number().meta({ description: "share of the replacements that are planned" }),
            meanCycle: z.number().meta({ description: "mean age at replacement" }),
          })
          .meta({ id: "ReplacementInterval" }),
      },
    },
    example: {
      body: {
        life: { distribution: "weibull", shape: 2.5, scale: 1000 },
        plannedCost: 1,
        failureCost: 5,
      },
    },
  })(({ body }) => ({ status: 200, body: calculateReplacementInterval(body) })),
];
