import { z } from "zod";
import { clocks } from "../../domain/kind.ts";
import { changePieceEarly } from "../../services/change-piece-early.ts";
import { lineOutlook } from "../../services/line-outlook.ts";
import { seasonCost } from "../../services/season-cost.ts";
import { CalendarEnd, Month, monthOfNeed, PieceRange, scope, Sentence, share } from "../answer-schemas.ts";
import { operation } from "../operation.ts";
import { ById, Currency, Day, Id, Instant, MinorUnits, queryInteger } from "../schemas.ts";
import { AdviceRule } from "../wear-schemas.ts";

export const MoneyRange = z
  .object({ p10: MinorUnits, median: MinorUnits, p90: MinorUnits })
  .meta({ id: "MoneyRange", description: "10th percentile, median and 90th percentile, in minor units" });
const spend = { expectedMinorUnits: MinorUnits, rangeMinorUnits: MoneyRange };
const Actual = MinorUnits.meta({
  description: "orders at the price they were placed at, and what came without an order at today's price",
});
const SeasonCost = z
  .object({
    asOf: Instant,
    from: Day,
    through: Day,
    currency: Currency,
    cars: z.number().int(),
    calendarEndsOn: CalendarEnd,
    actualIsOf: z.enum(["locations", "driver"]).meta({
      description: "what was spent is known by location: for one car it is that of its driver",
    }),
    months: z.array(
      z.object({
        month: Month,
        lastDay: Day,
        actualMinorUnits: Actual.nullable().meta({
          description: "what was spent, in minor units of the currency; null for a month ahead",
        }),
        ahead: z
          .object(spend)
          .nullable()
          .meta({ description: "likely spend from today on; null for a month gone" }),
      }),
    ),
    lines: z.array(
      z.object({
        lineId: Id.meta({
          description: "the line that is bought: what replaces it, where one in use has ended",
        }),
        sku: z.string(),
        name: z.string(),
        kindCode: z.string(),
        inUse: z.number().int().meta({
          description:
            "pieces in use in these cars; 0 where money was spent on a line that is not in use any more",
        }),
        expectedPieces: z.number(),
        actualMinorUnits: Actual,
        ...spend,
      }),
    ),
    total: z.object({ actualMinorUnits: Actual, ...spend }).meta({
      description: "what the months add up to, and the lines too, actual and expected; ranges do not add up",
    }),
    otherCurrency: z.array(z.string()).meta({ description: "SKUs priced in another currency, left out" }),
    sentence: Sentence,
  })
  .meta({ id: "SeasonCost" });

const LineOutlook = z
  .object({
    lineId: Id,
    sku: z.string(),
    asOf: Instant,
    through: Day,
    inUse: z.number().int(),
    calendarEndsOn: CalendarEnd,
    months: z.array(
      z.object({
        ...monthOfNeed,
        through: z
          .object({ expected: z.number(), pieces: PieceRange })
          .meta({ description: "from now through the end of the month" }),
      }),
    ),
    sentence: Sentence,
  })
  .meta({ id: "LineOutlook" });

const ChangeEarly = z
  .object({
    pieceId: Id,
    mark: z.string(),
    lineId: Id,
    sku: z.string(),
    kindCode: z.string(),
    asOf: Instant,
    clock: z.enum(clocks),
    currency: Currency,
    rule: AdviceRule,
    changedTogether: z.number().int(),
    plannedCostMinorUnits: MinorUnits.meta({
      description: "of a planned change, parts and labour, in minor units of the currency",
    }),
    labourMinorUnits: MinorUnits.nullable().meta({
      description: "the labour in it; null where the planned cost was given as a whole",
    }),
    lostRunCostMinorUnits: MinorUnits,
    assumed: z
      .object({ plannedCost: z.boolean(), labour: z.boolean(), lostRunCost: z.boolean() })
      .meta({ description: "true where no cost was given, and a default stands" }),
    worthwhile: z.boolean(),
    changeAtUsage: z
      .number()
      .nullable()
      .meta({ description: "usage at which a planned change costs least; null where it is not worth it" }),
    within: z
      .object({ from: z.number(), to: z.number().nullable() })
      .nullable()
      .meta({ description: "usages that cost within 1 % of the least; `to` null: any later one" }),
    saving: share.meta({ description: "share of the cost of running to the end that is saved" }),
    costPerHundredMinorUnits: z.number().meta({
      description:
        "long-run cost of each 100 minutes, runs, days or cycles (the kind's clock), by the best rule",
    }),
    costPerHundredRunToEndMinorUnits: z
      .number()
      .meta({ description: "the same cost where each piece is run to its end" }),
    plannedShare: share.meta({ description: "share of the changes that are planned ones" }),
    usage: z.number().meta({ description: "usage of this piece so far" }),
    endsInNextMeeting: share.nullable(),
    changeNow: z.boolean().meta({
      description: "what its next meeting puts at risk costs more than that meeting is worth to it",
    }),
    sentence: Sentence,
  })
  .meta({ id: "ChangeEarly" });

export const seasonOperations = [
  operation({
    method: "get",
    path: "/v1/lines/{id}/outlook",
    operationId: "lineOutlook",
    summary: "How much of this line will be needed, month by month",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    query: z.strictObject({ ...scope, through: Day }),
    answers: { 200: { description: "The outlook.", body: LineOutlook } },
    problems: [404, 409, 422],
    example: { query: { through: "2027-06-30" } },
  })(async ({ params, query }, work) => ({ status: 200, body: await lineOutlook(work, params.id, query) })),

  operation({
    method: "get",
    path: "/v1/season-cost",
    operationId: "seasonCost",
    summary: "What a season costs, month by month and line by line",
    description:
      "What was spent so far beside what is likely to be spent ahead, where packs are bought as what there is runs out: 1,000 seasons followed to their end, the same ones each time. Days and months are those of the club's time zone.",
    tags: ["answers"],
    need: "answers:read",
    query: z.strictObject({ ...scope, from: Day, through: Day }),
    answers: { 200: { description: "The season's cost.", body: SeasonCost } },
    problems: [404, 409],
    example: { query: { from: "2026-10-01", through: "2027-06-30" } },
  })(async ({ query }, work) => ({ status: 200, body: await seasonCost(work, query) })),

  operation({
    method: "get",
    path: "/v1/pieces/{id}/change-early",
    operationId: "changePieceEarly",
    summary: "Is it worth changing this piece before it ends?",
    description:
      "The usage at which a planned change costs least in the long run, from the price of the part and what a lost run costs; not worth it where wear-out does not accelerate. It goes by cost, where the bench sheet and the pit list go by the chance of wear: `rule` names it, and they need not agree. Without costs given, they are those of the bench sheet: the planned change costs the parts and labour of 5 of a two-decimal currency, a lost run 25, and a fifth of that where the part does not stop the car.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    query: z.strictObject({
      plannedCostMinorUnits: queryInteger(
        1,
        999_999_999,
        "a planned change: parts and labour together, minor units; if not given, the price of the parts and labourMinorUnits",
      ).optional(),
      labourMinorUnits: queryInteger(
        0,
        999_999_999,
        "labour of one planned change, in minor units of the currency; 5 of a two-decimal currency if not given",
      ).optional(),
      lostRunCostMinorUnits: queryInteger(
        0,
        999_999_999,
        "what is lost on top when it ends in a run, minor units",
      ).optional(),
    }),
    answers: { 200: { description: "When to change it.", body: ChangeEarly } },
    problems: [404, 409],
    example: { query: { lostRunCostMinorUnits: "2500" } },
  })(async ({ params, query }, work) => ({
    status: 200,
    body: await changePieceEarly(work, params.id, query),
  })),
];
