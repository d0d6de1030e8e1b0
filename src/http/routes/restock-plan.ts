import { z } from "zod";
import { restockPlan } from "../../services/restock-plan.ts";
import { CalendarEnd, cautions, chance, scope, Sentence } from "../answer-schemas.ts";
import { operation } from "../operation.ts";
import { Currency, Day, Id, Instant, MinorUnits, queryInteger } from "../schemas.ts";

const Parts = z.enum(["car-stoppers", "all"]);
const PerPoint = MinorUnits.nullable().meta({
  description: "money for each hundredth of chance gained; null where hardly anything is gained",
});
const named = { lineId: Id, sku: z.string(), name: z.string() };

/** The best packs for some money, and the way there: of a driver or a shelf. */
export const budgetMembers = {
  lines: z.number().int().meta({ description: "lines that were weighed against each other" }),
  spentMinorUnits: MinorUnits.meta({
    description: "what the plan costs, in minor units of the currency; never more than the budget",
  }),
  chanceWithout: chance("no such line runs out through the day with what there is"),
  chanceWith: chance("the same with what is to be bought"),
  chanceAtMost: chance("no other choice for the money reaches more than this"),
  buy: z.array(
    z.object({
      ...named,
      packs: z.number().int(),
      pieces: z.number().int(),
      costMinorUnits: MinorUnits,
      chanceWithout: chance("this line lasts with what there is"),
      chanceWith: chance("this line lasts with these packs"),
      orderMultiplePacks: z
        .number()
        .int()
        .meta({ description: "the supplier sells multiples of so many packs" }),
      cautions,
      sentence: Sentence,
    }),
  ),
  next: z
    .object({
      ...named,
      packs: z.number().int(),
      costMinorUnits: MinorUnits,
      chance: chance("no such line runs out with it as well"),
      costPerPointMinorUnits: PerPoint,
    })
    .nullable()
    .meta({ description: "what the next money would buy; null where nothing is left to gain" }),
  curve: z
    .array(
      z.object({
        spentMinorUnits: MinorUnits,
        chance: chance("no such line runs out for that money"),
        step: z
          .object({
            ...named,
            packs: z.number().int(),
            costMinorUnits: MinorUnits,
            costPerPointMinorUnits: PerPoint,
          })
          .nullable()
          .meta({ description: "what is bought last on the way there; null at the start" }),
      }),
    )
    .meta({ description: "cost against chance, step by step, beyond the budget too" }),
};

const RestockPlan = z
  .object({
    asOf: Instant,
    through: Day,
    budgetMinorUnits: MinorUnits,
    currency: Currency,
    parts: Parts,
    cars: z.number().int(),
    calendarEndsOn: CalendarEnd,
    ...budgetMembers,
    otherCurrency: z
      .array(z.string())
      .meta({ description: "SKUs priced in another currency, which the plan leaves out" }),
    sentence: Sentence,
  })
  .meta({ id: "RestockPlan" });

export const restockPlanOperations = [
  operation({
    method: "get",
    path: "/v1/restock-plan",
    operationId: "restockPlan",
    summary: "What to buy first with so much money",
    description:
      "The packs that raise the chance of no lost run through a day most for the money, the whole curve of cost against chance, and what the next money would buy.",
    tags: ["answers"],
    need: "answers:read",
    query: z.strictObject({
      ...scope,
      through: Day.meta({ description: "last day to get through" }),
      budgetMinorUnits: queryInteger(0, 999_999_999, "money to spend, in minor units of the club's currency"),
      parts: Parts.optional().meta({
        description: "car-stoppers: parts without which a run is lost (if not given); all: every part in use",
      }),
    }),
    answers: { 200: { description: "The plan.", body: RestockPlan } },
    problems: [404, 409, 422],
    example: { query: { through: "2027-06-30", budgetMinorUnits: "20000" } },
  })(async ({ query }, work) => ({ status: 200, body: await restockPlan(work, query) })),
];
