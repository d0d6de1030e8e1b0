import { z } from "zod";
import {
  calculateEconomicLot,
  calculateSeasonBuy,
  calculateSparesKit,
} from "../../services/calculate-orders.ts";
import { calculateRenewals, calculateStockLevels } from "../../services/calculate-stock.ts";
import { amount, chance, Demand, Life, magnitude, WholeDemand, whole } from "../calculator-schemas.ts";
import { operation } from "../operation.ts";
import { text } from "../schemas.ts";

const packSize = whole(1, 1000, "units in a pack; 1 if not given").optional();
const minimumOrder = whole(1, 10_000, "units that an order has at least; one pack if not given").optional();

const Renewals = z
  .object({
    expected: z
      .number()
      .meta({ description: "expected replacements within the horizon, all positions together" }),
    variance: z.number(),
    probabilities: z.array(z.number()).meta({ description: "chance of 0, 1, 2, … replacements" }),
  })
  .meta({ id: "Renewals" });

const StockQuestion = z
  .strictObject({
    demand: Demand.meta({
      description: "demand for each unit of time; a table is the demand over the whole lead time",
    }),
    leadTime: z
      .strictObject({
        mean: amount("from ordering to having it, in the unit of time"),
        sd: amount("its standard deviation; 0 if not given").optional(),
      })
      .optional()
      .meta({
        description: "may be left out only with a table, which has it in it, and without a review period",
      }),
    reviewPeriod: amount("time from one look at the stock to the next; 0, always, if not given").optional(),
    target: z.strictObject({
      kind: z.enum(["cycle", "fill"]).meta({
        description: "cycle: chance of no shortage before a receipt; fill: share of the demand met at once",
      }),
      value: chance("wanted chance or share, above 0 and below 1"),
    }),
    packSize,
    minimumOrder,
  })
  .superRefine(({ demand, leadTime, reviewPeriod = 0 }, issues) => {
    const refuse = (path: string[], message: string) => issues.addIssue({ code: "custom", path, message });
    if (demand.kind !== "table" && leadTime === undefined)
      refuse(["leadTime"], "must be given, but for a table of the demand over the lead time");
    const { mean = 0, sd = 0 } = leadTime ?? {};
    if (demand.kind === "table" && reviewPeriod > 0) {
      if (!(mean > 0))
        refuse(
          ["leadTime", "mean"],
          "must be above 0 with a table and a review period: the time that the table is for",
        );
      if (sd > 0)
        refuse(
          ["leadTime", "sd"],
          "must be 0 with a table and a review period: demand over a lead time that varies says nothing of another stretch; give poisson or negative-binomial demand instead",
        );
    }
    if (sd > 3 * mean)
      refuse(
        ["leadTime", "sd"],
        "must be at most three times the mean: a lead time that unsure plans nothing",
      );
  });

const StockLevels = z
  .object({
    reorderPoint: z.number().int().meta({
      description: "units: order when on hand + on order - owed is no more; -1: order only what is owed",
    }),
    orderUpTo: z.number().int().meta({ description: "units: highest level that an order lifts to" }),
    safetyStock: z
      .number()
      .meta({ description: "units held above the mean demand of the time that the stock has to cover" }),
    cycleServiceLevel: z.number().meta({ description: "chance of no shortage before the next receipt" }),
    fillRate: z.number().meta({ description: "share of the demand met from stock at once" }),
    expectedShort: z.number().meta({
      description: "units expected to be missing at the end of the time that the stock has to cover",
    }),
    assumption: z.string().nullable().meta({
      description:
        "what the answer takes for granted beyond the request, in words: of a table with a review period, how it is carried over to other stretches of time; null where nothing",
    }),
  })
  .meta({ id: "StockLevels" });

const money = "in any money unit, the same for all costs";
const OrderQuestion = z.discriminatedUnion("kind", [
  z.strictObject({
    kind: z.literal("economic"),
    demandRate: magnitude("units for each unit of time"),
    orderCost: amount(`cost of placing one order, ${money}`),
    holdingCost: magnitude(`cost of holding one unit for one unit of time, ${money}`),
    packSize,
    minimumOrder,
  }),
  z.strictObject({
    kind: z.literal("season"),
    demand: Demand.meta({ description: "demand of the whole season: its time is 1" }),
    underCost: magnitude(`loss for each unit short, ${money}`),
    overCost: magnitude(`loss for each unit left over, ${money}`),
    packSize,
  }),
]);

const unrounded = z.number().meta({ description: "the best quantity before packs and whole units" });
const quantity = z.number().int().meta({ description: "units to order, in whole packs" });
const OrderQuantity = z
  .discriminatedUnion("kind", [
    z.object({
      kind: z.literal("economic"),
      quantity,
      unroundedQuantity: unrounded,
      costRate: z.number().meta({ description: "cost of ordering and holding for each unit of time" }),
    }),
    z.object({
      kind: z.literal("season"),
      quantity,
      unroundedQuantity: unrounded,
      criticalRatio: z.number().meta({ description: "share of seasons that the best quantity covers" }),
      cost: z.number().meta({ description: "expected loss with `quantity`, in the unit of the costs given" }),
      chanceEnough: z.number(),
      expectedShort: z.number(),
      expectedLeft: z.number(),
    }),
  ])
  .meta({ id: "OrderQuantity" });

const smallestMoney = "in whole smallest units of money, such as cents";
const KitQuestion = z
  .strictObject({
    lines: z
      .array(
        z.strictObject({
          id: text(64),
          unitCost: whole(1, 1e9, `price of one pack, ${smallestMoney}`),
          demand: WholeDemand,
          packSize,
          held: whole(0, 10_000, "units already there; 0 if not given").optional(),
        }),
      )
      .min(1)
      .max(50),
    budget: whole(0, 1e12, `most that may be spent, ${smallestMoney}; give this or target`).optional(),
    target: chance("wanted chance that no line runs short; give this or budget").optional(),
    aim: z.enum(["joint", "shortage"]).optional().meta({
      description:
        "what a budget is spent for: joint, the greatest chance that no line runs short (if not given), or shortage, the fewest units short",
    }),
  })
  .superRefine(({ lines, budget, target, aim }, issues) => {
    const refuse = (path: (string | number)[], message: string) =>
      issues.addIssue({ code: "custom", path, message });
    if ((budget === undefined) === (target === undefined))
      refuse(["budget"], "must be given, or target instead, but not both");
    if (target !== undefined && aim === "shortage")
      refuse(["aim"], "must be joint, or left out, with a target");
    const ids = lines.map(({ id }) => id);
    const again = ids.findIndex((id, i) => ids.indexOf(id) !== i);
    if (again !== -1) refuse(["lines", again, "id"], "must differ from the ids of the other lines");
  });

const kit = {
  quantities: z.array(z.object({ id: z.string(), packs: z.number().int(), units: z.number().int() })),
  cost: z.number().int().meta({ description: "in smallest units of money" }),
  jointChance: z.number().meta({ description: "chance that no line runs short, lines independent" }),
  expectedShort: z.number().meta({ description: "units expected to be missing, over all lines" }),
};
const SparesKit = z
  .object({
    ...kit,
    exact: z.boolean().meta({
      description: "the best there is; false: found by marginal analysis, as too many kits are near the best",
    }),
    curve: z
      .array(z.object(kit))
      .meta({ description: "cost against service, from nothing to this kit; at most 200 points" }),
  })
  .meta({ id: "SparesKit" });

/** Nine types with the expected demand of one repair time: course SF2863, KTH Stockholm. */
const courseKit = [
  [0.05, 6, 12],
  [0.04, 8, 14],
  [0.045, 14, 21],
  [0.05, 25, 20],
  [0.025, 12, 11],
  [0.048, 18, 45],
  [0.06, 33, 75],
  [0.035, 8, 30],
  [0.015, 12, 22],
] as const;

export const stockCalculators = [
  operation({
    method: "post",
    path: "/v1/calculators/renewals",
    operationId: "calculateRenewals",
    summary: "How many replacements will these positions need?",
    description:
      "Law of the number of replacements within a horizon, of positions that hold parts of some ages now and are refilled with new ones. Example: one new part with mean life 1 and squared coefficient of variation 0.25; Tijms (2003), table 8.1.1, prints 0.6091 expected within 1.",
    tags: ["calculators"],
    need: "calculators:read",
    body: z.strictObject({
      life: Life,
      horizon: amount("how far ahead, in the unit of the life"),
      ages: z
        .array(amount("age of the part fitted now, in the unit of the life"))
        .max(100)
        .meta({ description: "one for each position" }),
    }),
    answers: { 200: { description: "The law of the replacements.", body: Renewals } },
    example: {
      body: { life: { distribution: "weibull", shape: 2.101349, scale: 1.129063 }, horizon: 1, ages: [0] },
    },
  })(({ body }) => ({ status: 200, body: calculateRenewals(body) })),

  operation({
    method: "post",
    path: "/v1/calculators/stock-levels",
    operationId: "calculateStockLevels",
    summary: "When to order again, and how far up?",
    description:
      "The smallest reorder point that meets a target, with the level to order up to. Example: daily demand 2500 with standard deviation 500, lead time 7 days with standard deviation 7, cycle service 0.9; Chopra & Meindl, Supply Chain Management, print a safety stock of 22,491 (from memory), here rounded up to a whole reorder point.",
    tags: ["calculators"],
    need: "calculators:read",
    body: StockQuestion,
    answers: { 200: { description: "The levels, and the service they give.", body: StockLevels } },
    example: {
      body: {
        demand: { kind: "normal", mean: 2500, sd: 500 },
        leadTime: { mean: 7, sd: 7 },
        target: { kind: "cycle", value: 0.9 },
      },
    },
  })(({ body }) => ({ status: 200, body: calculateStockLevels(body) })),

  operation({
    method: "post",
    path: "/v1/calculators/order-quantity",
    operationId: "calculateOrderQuantity",
    summary: "How much to order at a time, or for a season?",
    description:
      "economic: the lot that makes ordering and holding cheapest together (Harris 1913). season: a single buy, from what a unit short and a unit left over cost. Both in whole packs. Example: 200 units a year, 50 an order, 2 a unit and year; Nahmias & Olsen, Production and Operations Analysis, print 100.",
    tags: ["calculators"],
    need: "calculators:read",
    body: OrderQuestion,
    answers: { 200: { description: "The quantity, and what it costs.", body: OrderQuantity } },
    example: { body: { kind: "economic", demandRate: 200, orderCost: 50, holdingCost: 2 } },
  })(({ body }) => ({
    status: 200,
    body:
      body.kind === "economic"
        ? { kind: "economic" as const, ...calculateEconomicLot(body) }
        : { kind: "season" as const, ...calculateSeasonBuy(body) },
  })),

  operation({
    method: "post",
    path: "/v1/calculators/spares-kit",
    operationId: "calculateSparesKit",
    summary: "Which spares to take for the money, or for a chance?",
    description:
      "The best kit for a budget, or the cheapest for a target, and the curve of cost against service. Example: nine types and a budget of 500, data of the course SF2863 at KTH Stockholm; the best kit leaves 0.632 units short on average, where marginal analysis (Fox 1966) stops at 0.8598.",
    tags: ["calculators"],
    need: "calculators:read",
    body: KitQuestion,
    answers: { 200: { description: "The kit, and the curve.", body: SparesKit } },
    example: {
      body: {
        lines: courseKit.map(([rate, time, unitCost], i) => ({
          id: `type ${i + 1}`,
          unitCost,
          demand: { kind: "poisson", rate: Number((rate * time).toPrecision(6)) },
        })),
        budget: 500,
        aim: "shortage",
      },
    },
  })(({ body }) => ({ status: 200, body: calculateSparesKit(body) })),
];
