import { z } from "zod";
import { benchSteps, surfaces } from "../../domain/kind.ts";
import { benchSheet } from "../../services/bench-sheet.ts";
import { Range, share } from "../answer-schemas.ts";
import { operation } from "../operation.ts";
import { ById, Currency, Day, Id, Instant, MinorUnits, queryInteger, queryNumber } from "../schemas.ts";
import { AdviceRule, Clock, RestsOn, Unit } from "../wear-schemas.ts";

const checkWorth = {
  checkGainMinorUnits: MinorUnits.meta({
    description:
      "what one more reading (or grade) is expected to save before the next meeting, in minor units; 0 where it can change nothing",
  }),
  checkGainPerMinute: z.number().min(0).meta({ description: "the same for each minute of bench time" }),
  checkWhy: z.string().meta({ description: "what the reading may decide, by cost, in one sentence" }),
};

const Tonight = z
  .object({
    rule: AdviceRule,
    minutes: z.number().meta({ description: "bench time asked for, minutes" }),
    minutesUsed: z.number().meta({ description: "bench time of the checks, minutes, never more" }),
    gainMinorUnits: MinorUnits.meta({
      description: "what they are expected to save together, in minor units of the currency",
    }),
    checks: z.array(
      z.object({
        position: z.string(),
        pieceId: Id,
        mark: z.string(),
        kindName: z.string(),
        check: z.string(),
        checkMinutes: z.number(),
        ...checkWorth,
      }),
    ),
  })
  .meta({
    id: "Tonight",
    description: "the checks to spend the minutes on, the most gain for each minute first",
  });

const BenchEntry = z
  .object({
    position: z.string(),
    pieceId: Id,
    mark: z.string(),
    kindCode: z.string(),
    kindName: z.string(),
    benchStep: z.enum(benchSteps),
    check: z.string().meta({ description: "what to look for" }),
    checkMinutes: z.number().meta({ description: "bench time for it, minutes" }),
    ...checkWorth,
    carStopper: z.boolean().meta({ description: "the day is over without it" }),
    usage: z.number(),
    clock: Clock,
    unit: Unit,
    wear: Range,
    limitWear: z
      .number()
      .meta({ description: "the wear at which it is finished, by the club limit, in `unit`" }),
    wearShare: Range.meta({ description: "wear as a share of the club limit" }),
    lasts: share
      .nullable()
      .meta({ description: "chance of getting through the next meeting; null with none ahead" }),
    wearsOut: share.nullable(),
    breaks: share.nullable(),
    lastSeenAt: Instant.nullable(),
    lastGrade: z.number().int().nullable(),
    runsSinceSeen: z.number().int(),
    advice: z.enum(["change", "look", "leave"]),
    rule: AdviceRule,
    why: z.string().meta({ description: "the rule and what was found, in one sentence" }),
    restsOn: RestsOn,
    cautions: z.array(z.string()),
  })
  .meta({ id: "BenchEntry" });

const BenchSheet = z
  .object({
    carId: Id,
    carName: z.string(),
    asOf: Instant,
    nextMeeting: z
      .object({
        meetingId: Id,
        name: z.string(),
        startsOn: Day,
        surface: z.enum(surfaces),
        runs: z.number().int(),
        minutesPerRun: z.number(),
      })
      .nullable(),
    ready: z.boolean().meta({ description: "nothing is to be changed, and no position is empty" }),
    minutes: z
      .number()
      .meta({ description: "bench time for all that is to be changed or looked at, minutes" }),
    adviceBy: z
      .object({
        rule: AdviceRule,
        changeBelow: share.meta({ description: "chance of not being worn out below which it is changed" }),
        lookBelow: share.meta({ description: "chance of not being worn out below which it is looked at" }),
        lookAfterRuns: z
          .number()
          .int()
          .meta({ description: "runs since it was last seen from which it is looked at anyway" }),
      })
      .meta({ description: "what the advice of the entries goes by, as that of the pit list does" }),
    checkCosts: z
      .object({
        rule: AdviceRule,
        currency: Currency,
        labourMinorUnits: MinorUnits.meta({
          description: "labour of one planned change, in minor units of the currency",
        }),
        lostRunMinorUnits: MinorUnits.meta({
          description:
            "minor units of the currency, lost when a part without which the day is over wears out at the meeting",
        }),
        lesserShare: share.meta({ description: "share of that for every other part" }),
      })
      .meta({ description: "what the worth of a check is worked out with, beside the price of the parts" }),
    tonight: Tonight.nullable().meta({ description: "null where no `minutes` were asked for" }),
    entries: z
      .array(BenchEntry)
      .meta({ description: "in the order of the bench; within a step, what is most urgent first" }),
    emptyPositions: z.array(z.string()),
    cautions: z.array(z.string()),
  })
  .meta({ id: "BenchSheet" });

export const benchSheetOperations = [
  operation({
    method: "get",
    path: "/v1/cars/{id}/bench-sheet",
    operationId: "benchSheet",
    summary: "What must be looked at on this car?",
    description:
      "Every fitted piece in the order of the bench, with its chance of getting through the next meeting, whether to change it, look at it or leave it, and what one more check of it is worth. The advice goes by the chance of wear (or by the runs it was not seen for), the worth of a check by cost, as change-early does: `rule` names it. With `minutes`, the checks to spend them on.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    query: z.strictObject({
      minutes: queryNumber(0, 600, "bench time to spend on checks tonight, minutes").optional(),
      labourMinorUnits: queryInteger(
        0,
        999_999_999,
        "labour of one planned change, in minor units of the currency; 5 of a two-decimal currency if not given",
      ).optional(),
      lostRunMinorUnits: queryInteger(
        0,
        999_999_999,
        "cost of a lost run; 25 of a two-decimal currency if not given",
      ).optional(),
    }),
    answers: { 200: { description: "The bench sheet.", body: BenchSheet } },
    problems: [404],
    example: { query: { minutes: "10" } },
  })(async ({ params, query }, work) => ({ status: 200, body: await benchSheet(work, params.id, query) })),
];
