import { z } from "zod";
import { shelfPlan } from "../../services/shelf-plan.ts";
import {
  chance,
  LeadTime,
  reviewPeriodDays,
  Sentence,
  target,
  targetKind,
  targetMembers,
  Totals,
} from "../answer-schemas.ts";
import { operation } from "../operation.ts";
import { Currency, Day, Id, Instant, MinorUnits } from "../schemas.ts";

const ShelfLine = z
  .object({
    lineId: Id,
    sku: z.string(),
    name: z.string(),
    supplierId: Id.nullable(),
    supplierName: z.string().nullable(),
    drivers: z.number().int().meta({ description: "drivers whose need it is: three or more" }),
    inUse: z.number().int(),
    need: z
      .object({
        expected: z.number(),
        p10: z.number().int(),
        median: z.number().int(),
        p90: z.number().int(),
      })
      .meta({ description: "pieces needed from the shelf through the day, beyond what drivers hold" }),
    peak: z
      .object({ day: Day, expected: z.number() })
      .nullable()
      .meta({ description: "the stretch that ends on this day needs most" }),
    onHand: z.number().int(),
    onOrder: z.number().int(),
    ageing: z.number().int().meta({ description: "past shelf life by the day, and not counted" }),
    reorderPoint: z.number().int(),
    orderUpTo: z.number().int(),
    safetyStock: z.number(),
    expectedUntilDelivery: z.number(),
    orderNow: z.boolean().meta({
      description: "no more is there and on order than the reorder point, and less than one orders up to",
    }),
    stockWanted: z
      .number()
      .int()
      .meta({ description: "the smallest stock that meets the target through the day" }),
    packs: z.number().int().meta({ description: "packs to order for it" }),
    packSize: z.number().int(),
    pieces: z.number().int(),
    priceMinorUnits: MinorUnits,
    currency: Currency,
    costMinorUnits: MinorUnits,
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
    driversSharing: z.number().int(),
    drivers: z.number().int(),
    totals: Totals,
    lines: z.array(ShelfLine),
    withheld: z.array(z.string()).meta({ description: "SKUs behind which fewer than three drivers stand" }),
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
    query: z.strictObject({
      through: Day.meta({ description: "last day to get through" }),
      target,
      targetKind,
      reviewPeriodDays,
    }),
    answers: { 200: { description: "The plan.", body: ShelfPlan } },
    problems: [409],
    example: { query: { through: "2027-06-30", target: "0.95" } },
  })(async ({ query }, work) => ({ status: 200, body: await shelfPlan(work, query) })),
];
