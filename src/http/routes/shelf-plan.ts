import { z } from "zod";
import { shelfPlan } from "../../services/shelf-plan.ts";
import { chance, LeadTime, Month, monthOfNeed, Sentence, targetMembers, Totals } from "../answer-schemas.ts";
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
import { Currency, Day, Id, Instant } from "../schemas.ts";

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
    lines: z.array(ShelfLine),
    sentence: Sentence,
  })
  .meta({ id: "ShelfPlan" });

export const shelfPlanOperations = [
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
