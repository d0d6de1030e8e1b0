import { z } from "zod";
import { shelfBudget, shelfCost } from "../../services/shelf-money.ts";
import { shelfPlan } from "../../services/shelf-plan.ts";
import {
  CalendarEnd,
  chance,
  LeadTime,
  Month,
  monthOfNeed,
  Sentence,
  targetMembers,
  Totals,
} from "../answer-schemas.ts";
import {
  askedOfShelf,
  count,
  drivers,
  levels,
  need,
  orderedLine,
  orderNow,
  pool,
} from "../buying-schemas.ts";
import { operation } from "../operation.ts";
import { Currency, Day, Id, Instant, MinorUnits, queryInteger } from "../schemas.ts";
import { budgetMembers } from "./restock-plan.ts";
import { MoneyRange } from "./season.ts";

const ShelfLine = z
  .object({
    ...orderedLine,
    supplierId: Id.nullable(),
    supplierName: z.string().nullable(),
    drivers,
    inUse: count,
    need: need("pieces needed from the shelf through the day, beyond what drivers hold"),
    months: z.array(z.object(monthOfNeed)).meta({
      description:
        "the need month by month, in the club's time zone, through the day asked for; expected pieces add up to those of the whole need, ranges do not",
    }),
    peak: z.object({ month: Month, day: Day, expected: z.number() }).nullable().meta({
      description: "the month that needs most, and in it the stretch that does: it ends on this day",
    }),
    onHand: z.number().int(),
    onOrder: z.number().int(),
    ageing: z.number().int().meta({ description: "past shelf life by the day, and not counted" }),
    ...levels,
    safetyStock: z.number(),
    expectedUntilDelivery: z.number(),
    orderNow,
    stockWanted: z
      .number()
      .int()
      .meta({ description: "the smallest stock that meets the target through the day" }),
    orderBy: Day.nullable(),
    late: z.boolean(),
    chanceWithout: chance("what there is lasts through the day"),
    chanceWith: chance("it lasts with the order as well"),
    expectedShort: z.number(),
    leadTime: LeadTime,
    sentence: Sentence,
  })
  .meta({ id: "ShelfLine" });

const ShelfPlan = z
  .object({
    asOf: Instant,
    through: Day,
    ...targetMembers,
    reviewPeriodDays: z.number().int(),
    currency: Currency,
    ...pool,
    totals: Totals,
    chanceWithout: chance(
      "nothing shown runs out through the day with what lies on the shelf: the product over the lines shown",
    ),
    chanceWith: chance("the same with what is to be bought by then"),
    chanceWithAtMost: chance("no more than this, however much the lines share: that of the weakest line"),
    lines: z.array(ShelfLine),
    sentence: Sentence,
  })
  .meta({ id: "ShelfPlan" });

const shelfMoney = {
  asOf: Instant,
  through: Day,
  currency: Currency,
  calendarEndsOn: CalendarEnd,
  ...pool,
  otherCurrency: z
    .array(z.string())
    .meta({ description: "SKUs priced in another currency, which the answer leaves out" }),
  sentence: Sentence,
};
const ShelfBudget = z
  .object({ ...shelfMoney, budgetMinorUnits: MinorUnits, ...budgetMembers })
  .meta({ id: "ShelfBudget", description: "the best packs for the shelf with so much money" });
const spend = {
  expectedMinorUnits: MinorUnits.meta({
    description: "expected spend, in minor units of the currency; months and lines each add up to the total",
  }),
  rangeMinorUnits: MoneyRange,
};
const ShelfCost = z
  .object({
    ...shelfMoney,
    months: z.array(z.object({ month: Month, lastDay: Day, ...spend })),
    lines: z.array(
      z.object({
        ...{ lineId: Id, sku: z.string(), name: z.string(), drivers },
        expectedPieces: z.number().meta({ description: "pieces expected to be asked of the shelf" }),
        ...spend,
      }),
    ),
    total: z.object(spend).meta({ description: "what the months add up to; ranges do not add up" }),
  })
  .meta({ id: "ShelfCost", description: "what the shelf is likely to cost month by month" });
const through = Day.meta({ description: "last day to get through" });

export const shelfPlanOperations = [
  operation({
    method: "get",
    path: "/v1/shelf-budget",
    operationId: "shelfBudget",
    summary: "What to buy first for the shelf with so much money",
    description:
      "For the shop and the owner: the packs that raise the chance that nothing on the shelf runs out most for the money, from the pooled need of the drivers who share theirs, with the whole curve of cost against chance. Lines with fewer than three drivers behind them are left out and named.",
    tags: ["answers"],
    need: "stock:read",
    query: z.strictObject({
      through,
      budgetMinorUnits: queryInteger(0, 999_999_999, "money to spend, in minor units of the club's currency"),
    }),
    answers: { 200: { description: "The packs, and the curve.", body: ShelfBudget } },
    problems: [409],
    example: { query: { through: "2027-06-30", budgetMinorUnits: "50000" } },
  })(async ({ query }, work) => ({ status: 200, body: await shelfBudget(work, query) })),

  operation({
    method: "get",
    path: "/v1/shelf-cost",
    operationId: "shelfCost",
    summary: "What the shelf is likely to cost, month by month",
    description:
      "For the shop and the owner: expected spend and its range by month and by line from today, where packs are bought as what lies on the shelf and is on order runs out. Lines with fewer than three drivers behind them are left out and named.",
    tags: ["answers"],
    need: "stock:read",
    query: z.strictObject({ through }),
    answers: { 200: { description: "The cost.", body: ShelfCost } },
    problems: [409],
    example: { query: { through: "2027-06-30" } },
  })(async ({ query }, work) => ({ status: 200, body: await shelfCost(work, query) })),

  operation({
    method: "get",
    path: "/v1/shelf-plan",
    operationId: "shelfPlan",
    summary: "What the shelf should hold for all drivers who share their need",
    description:
      "For the shop and the owner: by line, the pooled need beyond what the drivers hold themselves, when to order again and how far up, and what to order through a day. No driver's log is shown, and no number that rests on fewer than three drivers. The review period is a week if not given.",
    tags: ["answers"],
    need: "stock:read",
    query: z.strictObject(askedOfShelf),
    answers: { 200: { description: "The plan.", body: ShelfPlan } },
    problems: [409],
    example: { query: { through: "2027-06-30", target: "0.95" } },
  })(async ({ query }, work) => ({ status: 200, body: await shelfPlan(work, query) })),
];
