import { z } from "zod";
import { surfaces } from "../../domain/kind.ts";
import { pitList } from "../../services/pit-list.ts";
import { cautions, chance, PracticeKept, Sentence, share, Totals } from "../answer-schemas.ts";
import { operation } from "../operation.ts";
import { ById, Currency, Day, Id, Instant, MinorUnits, queryNumber } from "../schemas.ts";
import { shelfMembers } from "../stock-list-schemas.ts";
import { AdviceRule } from "../wear-schemas.ts";

const PitList = z
  .object({
    carId: Id,
    carName: z.string(),
    asOf: Instant,
    meeting: z.object({
      meetingId: Id,
      name: z.string(),
      startsOn: Day,
      surface: z.enum(surfaces),
      runs: z.number().int(),
      minutesPerRun: z.number(),
    }),
    meetingsBefore: z
      .number()
      .int()
      .meta({ description: "meetings ahead of that one, whose wear is counted too" }),
    target: share,
    currency: Currency,
    carStoppers: z.number().int().meta({ description: "fitted pieces without which the day is over" }),
    chanceDayEnds: z
      .object({
        asItIs: chance("as the car is, with nothing in the box"),
        changed: chance("with the changes made before leaving, and nothing in the box"),
        carried: chance("with the changes made and this list in the box"),
      })
      .meta({ description: "chance that a part ends the day" }),
    met: z.boolean().meta({ description: "the list keeps that chance below 1 less the target" }),
    changeBy: z
      .object({
        rule: AdviceRule,
        changeBelow: share.meta({ description: "chance of not being worn out below which it is changed" }),
      })
      .meta({ description: "what `change` goes by, as the advice of the bench sheet does" }),
    change: z.array(
      z.object({
        position: z.string(),
        pieceId: Id,
        mark: z.string(),
        lineId: Id,
        kindCode: z.string(),
        carStopper: z.boolean(),
        rule: AdviceRule,
        wearsOut: chance("it is worn out by the end of the meeting"),
        lasts: chance("it neither wears out nor breaks by then"),
        cautions,
        sentence: Sentence,
      }),
    ),
    carry: z.array(
      z.object({
        lineId: Id,
        sku: z.string(),
        name: z.string(),
        kindCode: z.string(),
        carStopper: z.boolean(),
        pieces: z.number().int().meta({ description: "how many pieces to have in the box" }),
        why: z.enum(["car-stopper", "likely", "target"]),
        chanceNeeded: chance("at least one is needed"),
        expectedNeed: z.number(),
        inBox: z.number().int(),
        atHome: z.number().int(),
        spares: z.number().int(),
        practice: PracticeKept,
        onShelf: z
          .number()
          .int()
          .meta({ description: "pieces on shelves of the club or shop, to be bought from" }),
        missing: z.number().int(),
        currency: Currency,
        costMinorUnits: MinorUnits.meta({ description: "price of the packs that hold what is missing" }),
        weightGrams: z
          .number()
          .nullable()
          .meta({ description: "what the pieces to carry weigh; null where the line states no weight" }),
        ...shelfMembers,
        cautions,
        sentence: Sentence,
      }),
    ),
    totals: Totals,
    weight: z
      .object({
        grams: z.number().meta({ description: "of the lines that state a weight" }),
        linesWithout: z.number().int().meta({ description: "lines on the list that state none" }),
      })
      .meta({ description: "what the list weighs" }),
    sentence: Sentence,
  })
  .meta({ id: "PitList" });

export const pitListOperations = [
  operation({
    method: "get",
    path: "/v1/cars/{id}/pit-list",
    operationId: "pitList",
    summary: "What goes in the box for a meeting, and what to change before leaving",
    description:
      "One change of every car-stopper, what is likely to be needed, and as much more as keeps the chance that a part ends the day below 1 less the target, the lightest first: where a line states no weight, its price stands in. What to change goes by the chance of wear, as on the bench sheet, and not by cost as change-early does: `rule` names it.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    query: z.strictObject({
      meetingId: Id.optional().meta({ description: "the next meeting of the car, if not given" }),
      target: queryNumber(
        0.5,
        0.999,
        "wanted chance that no part ends the day; 0.95 if not given",
      ).optional(),
    }),
    answers: { 200: { description: "The pit list.", body: PitList } },
    problems: [404, 409],
    example: { query: { target: "0.95" } },
  })(async ({ params, query }, work) => ({ status: 200, body: await pitList(work, params.id, query) })),
];
