import { z } from "zod";
import { lineReorderPoint } from "../../services/line-reorder-point.ts";
import { restockList } from "../../services/restock-list.ts";
import {
  CalendarEnd,
  cautions,
  chance,
  LeadTime,
  PracticeKept,
  reviewPeriodDays,
  scope,
  Sentence,
  TargetCovers,
  target,
  targetCovers,
  targetKind,
  targetMembers,
  Totals,
} from "../answer-schemas.ts";
import { levels, need, orderedLine, orderNow } from "../buying-schemas.ts";
import { operation } from "../operation.ts";
import { ById, Currency, Day, Id, Instant, MinorUnits } from "../schemas.ts";
import { shelfMembers } from "../stock-list-schemas.ts";

const RestockEntry = z
  .object({
    ...orderedLine,
    insteadOf: z.string().nullable().meta({
      description:
        "SKU of the line in use that has ended and that this one supersedes; several with commas between them. Where this line is in use as well, need and stock are those of all of them, counted once",
    }),
    kindCode: z.string(),
    inUse: z.number().int().meta({ description: "pieces in use in these cars" }),
    need: need("pieces that will be needed through the day"),
    onHand: z.number().int(),
    onOrder: z.number().int(),
    spares: z.number().int().meta({ description: "part-worn pieces that can still serve" }),
    practice: PracticeKept,
    ageing: z.number().int().meta({
      description:
        "pieces on hand, on order or part-worn that will be past their shelf life by then, and are not counted",
    }),
    keepsThrough: Day.nullable().meta({
      description:
        "the day until which what is ordered today keeps, where that is before the day of the list: packs are for the need until then, and more must be bought later; else null",
    }),
    stockWanted: z.number().int().meta({
      description:
        "pieces: the smallest stock that meets the target, or this line's part in that of the whole list",
    }),
    orderMultiplePacks: z
      .number()
      .int()
      .meta({ description: "the supplier sells multiples of so many packs" }),
    leastPacks: z.number().int().meta({
      description: "packs that would be enough without the multiple, as at a shop's counter",
    }),
    orderBy: Day.nullable().meta({
      description:
        "latest day to order, so that it arrives before the chance of running out passes the target",
    }),
    late: z
      .boolean()
      .meta({ description: "the day to order is past, so that `orderBy` is today: it may come too late" }),
    chanceWithout: chance("what there is lasts through the day"),
    chanceWith: chance("it lasts with the order as well"),
    expectedShort: z.number().meta({ description: "pieces expected to be missing without the order" }),
    ...levels,
    safetyStock: z
      .number()
      .meta({ description: "pieces, order-up-to level less those expected to be needed before a delivery" }),
    leadTime: LeadTime,
    onShelf: z.number().int().meta({
      description:
        "pieces on the club's shelves that are not counted as on hand; 0 where the whole club is asked for, whose stock they are",
    }),
    ...shelfMembers,
    cautions,
    sentence: Sentence,
    restsOn: z.object({ pieces: z.number().int(), readings: z.number().int(), current: z.boolean() }),
  })
  .meta({ id: "RestockEntry" });

const RestockList = z
  .object({
    asOf: Instant,
    through: Day,
    ...targetMembers,
    targetCovers: TargetCovers,
    reviewPeriodDays: z.number().int(),
    currency: Currency,
    cars: z.number().int().meta({ description: "number of cars that the list is for" }),
    calendarEndsOn: CalendarEnd,
    totals: Totals,
    chanceWithout: chance(
      "nothing runs out with what there is: the product over the lines, each averaged over what its own pieces share",
    ),
    chanceWith: chance(
      "the same with the orders as well; what lines share beyond that (mates, one crash) can only raise it",
    ),
    chanceWithAtMost: chance("no more than this, however much the lines share: that of the weakest line"),
    suppliers: z.array(
      z.object({
        supplierId: Id.nullable(),
        supplierName: z.string().nullable().meta({ description: "null for lines without a supplier" }),
        orderBy: Day.nullable(),
        totals: Totals,
        belowMinimumByMinorUnits: MinorUnits.meta({
          description: "what is missing to the supplier's minimum order, in minor units of the currency",
        }),
        toReachMinimum: z
          .array(
            z.object({
              lineId: Id,
              sku: z.string(),
              name: z.string(),
              packs: z.number().int(),
              costMinorUnits: MinorUnits,
            }),
          )
          .nullable()
          .meta({
            description:
              "what to take as well to reach the minimum: what will most likely be used anyway; null where nothing sensible reaches it",
          }),
        lines: z.array(RestockEntry),
      }),
    ),
    enough: z.array(RestockEntry).meta({ description: "lines of which there is enough" }),
    sentence: Sentence,
  })
  .meta({ id: "RestockList" });

const ReorderPoint = z
  .object({
    lineId: Id,
    sku: z.string(),
    boughtAs: z.string().meta({
      description: "SKU of the line that it is bought as: its own, or that of the one that supersedes it",
    }),
    insteadOf: z.string().nullable().meta({
      description:
        "SKUs of the lines in use that have ended and are bought as that one, with commas between them; their need and stock are counted with it, as on the restock list",
    }),
    asOf: Instant,
    ...targetMembers,
    reviewPeriodDays: z.number().int(),
    inUse: z.number().int(),
    ...levels,
    expectedNeed: z.number().meta({
      description:
        "pieces expected to be needed before an order of the next look arrives; with no review period, one placed now",
    }),
    safetyStock: z.number().meta({ description: "pieces, order-up-to level less expected need" }),
    chance: chance("that as many as orderUpTo last until that delivery"),
    onHand: z.number().int(),
    onOrder: z.number().int(),
    orderNow,
    leadTime: LeadTime,
    sentence: Sentence,
  })
  .meta({ id: "ReorderPoint" });

export const restockOperations = [
  operation({
    method: "get",
    path: "/v1/lines/{id}/reorder-point",
    operationId: "lineReorderPoint",
    summary: "When must this line be ordered again?",
    description:
      "The smallest stock that lasts until an order placed now arrives, and the stock to order up to, with what is on hand and on order.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    query: z.strictObject({ ...scope, target, targetKind, reviewPeriodDays }),
    answers: { 200: { description: "The reorder point.", body: ReorderPoint } },
    problems: [404],
    example: { query: { target: "0.9" } },
  })(async ({ params, query }, work) => ({
    status: 200,
    body: await lineReorderPoint(work, params.id, query),
  })),

  operation({
    method: "get",
    path: "/v1/restock-list",
    operationId: "restockList",
    summary: "What to buy through a day, from whom, by when, and for how much",
    description:
      "For one car, one driver or the whole club: the need of each line through the day as a range, what is on hand, on order and still serviceable, and the packs to order so that the target is met.",
    tags: ["answers"],
    need: "answers:read",
    query: z.strictObject({
      ...scope,
      through: Day.meta({ description: "last day to get through" }),
      target,
      targetKind,
      targetCovers,
      reviewPeriodDays,
    }),
    answers: { 200: { description: "The restock list.", body: RestockList } },
    problems: [404, 409, 422],
    example: { query: { through: "2027-06-30", target: "0.9" } },
  })(async ({ query }, work) => ({ status: 200, body: await restockList(work, query) })),
];
