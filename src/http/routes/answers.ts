import { z } from "zod";
import { benchSteps, clocks, surfaces } from "../../domain/kind.ts";
import { limitNames } from "../../domain/wear.ts";
import { benchSheet } from "../../services/bench-sheet.ts";
import { forecastPiece } from "../../services/forecast-piece.ts";
import { lineWear } from "../../services/line-wear.ts";
import { chance, Range, share } from "../answer-schemas.ts";
import { operation } from "../operation.ts";
import { ById, Currency, Day, Id, Instant, MinorUnits, queryInteger, queryNumber } from "../schemas.ts";

const Clock = z.enum(clocks).meta({ description: "what the kind's usage is counted in" });
const Unit = z
  .string()
  .nullable()
  .meta({ description: "unit of sizes and wear; null for a graded kind: wear is then a share of life" });
const LimitName = z.enum(limitNames);

const CountRange = z
  .object({ p10: z.number().nullable(), median: z.number().nullable(), p90: z.number().nullable() })
  .meta({
    id: "CountRange",
    description: "10th percentile, median and 90th percentile; null where it is never reached",
  });
const DayRange = z
  .object({ p10: Day.nullable(), median: Day.nullable(), p90: Day.nullable() })
  .meta({ id: "DayRange", description: "days; null where they lie beyond the calendar's end" });

const RestsOn = z
  .object({
    basis: z.enum(["belief", "line", "own-readings"]).meta({
      description:
        "belief: what the trade says alone; line: readings of other pieces of the line; own-readings: this piece's as well",
    }),
    ownReadings: z.number().int(),
    ownGrades: z.number().int(),
    linePieces: z.number().int().meta({ description: "pieces of the line that were looked at" }),
    lineReadings: z.number().int().meta({ description: "looks at them: readings and grades" }),
    broken: z.number().int().meta({ description: "pieces of the line that broke by accident" }),
    runs: z.number().int().meta({ description: "runs of the line's pieces" }),
    current: z
      .boolean()
      .meta({ description: "false while newer readings of other pieces are still being fitted" }),
    sentence: z.string(),
  })
  .meta({ id: "RestsOn", description: "what a forecast rests on" });

const chances = {
  lasts: chance("it neither wears out nor breaks"),
  wearsOut: chance("it is past its limit by then"),
  breaks: chance("it breaks by accident by then"),
};

const Forecast = z
  .object({
    pieceId: Id,
    mark: z.string(),
    lineId: Id,
    sku: z.string(),
    kindCode: z.string(),
    carId: Id.nullable(),
    asOf: Instant,
    clock: Clock,
    unit: Unit,
    limit: z.object({
      name: LimitName,
      basis: z.enum(["size", "loss"]),
      value: z
        .number()
        .meta({ description: "the size, or the loss from the piece's own as-new size, in `unit`" }),
      wear: z.number().meta({ description: "the wear that this is" }),
    }),
    usage: z.number().meta({ description: "usage so far, on the clock" }),
    lastSeenAt: Instant.nullable().meta({ description: "the last reading or grade" }),
    wear: Range.meta({
      description: "wear now, in `unit`; a loss from the piece's own start is never below 0",
    }),
    sizeNow: Range.nullable().meta({ description: "the size it would be read at now" }),
    wearRate: Range.meta({
      description: "wear for each unit of the clock, on the surface its usual life is stated on",
    }),
    pastLimitChance: chance("it is past the limit now"),
    remaining: z
      .object({
        usage: CountRange.meta({ description: "on the clock, on the surface its usual life is stated on" }),
        runs: CountRange.meta({ description: "whole runs, by the calendar ahead of its car" }),
        meetings: CountRange.meta({
          description: "whole meetings it gets through; null beyond the calendar's end",
        }),
        date: DayRange.meta({ description: "the meeting at which it is finished; no meeting, no wear" }),
        calendarEndsOn: Day.nullable(),
      })
      .meta({ id: "Remaining", description: "what is left by wear alone; p10 is the cautious end" }),
    remainingQuantiles: z.array(z.object({ probability: share, usage: z.number().nullable() })).meta({
      description:
        "further usage by which it is worn out with that probability; null where that is never reached",
    }),
    nextMeeting: z
      .object({
        meetingId: Id,
        name: z.string(),
        startsOn: Day,
        runs: z.number().int(),
        usage: z.number().meta({ description: "planned usage on the clock" }),
        ...chances,
      })
      .nullable()
      .meta({ description: "null where the calendar has no meeting ahead for its car" }),
    breakage: z
      .object({
        perRun: Range.meta({ description: "breakages of a piece for each run of this driver" }),
        broken: z.number().int().meta({ description: "pieces of the line that broke for this driver" }),
        runs: z.number().int().meta({ description: "runs of this driver's pieces of the line" }),
      })
      .meta({ description: "accidents, apart from wear: the driver's own rate, drawn to that of the line" }),
    oneMoreRun: z.object(chances).meta({ description: "can it stay on for one more run?" }),
    surprises: z
      .array(
        z.object({
          at: Instant.nullable().meta({
            description: "when it was read; null for the as-new reading stated with the piece",
          }),
          usage: z.number().meta({ description: "usage it was read at, on the clock" }),
          value: z.number().nullable().meta({ description: "what was read, in `unit`" }),
          standardScore: z.number().meta({ description: "how far off the trend, in standard deviations" }),
          weight: share.meta({ description: "the weight it has in the forecast" }),
        }),
      )
      .meta({ description: "readings off the trend: weighed down, never dropped" }),
    restsOn: RestsOn,
    cautions: z.array(z.string()),
  })
  .meta({ id: "Forecast" });

const checkWorth = {
  checkGainMinorUnits: MinorUnits.meta({
    description:
      "what one more reading (or grade) is expected to save before the next meeting, in minor units; 0 where it can change nothing",
  }),
  checkGainPerMinute: z.number().min(0).meta({ description: "the same for each minute of bench time" }),
  checkWhy: z.string().meta({ description: "what the reading may decide, in one sentence" }),
};

const Tonight = z
  .object({
    minutes: z.number().meta({ description: "bench time asked for" }),
    minutesUsed: z.number().meta({ description: "bench time of the checks, never more" }),
    gainMinorUnits: MinorUnits.meta({ description: "what they are expected to save together" }),
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
    why: z.string(),
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
    minutes: z.number().meta({ description: "bench time for all that is to be changed or looked at" }),
    checkCosts: z
      .object({
        currency: Currency,
        labourMinorUnits: MinorUnits.meta({ description: "labour of one planned change" }),
        lostRunMinorUnits: MinorUnits.meta({
          description: "lost when a part without which the day is over wears out at the meeting",
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

const LineWear = z
  .object({
    lineId: Id,
    sku: z.string(),
    kindCode: z.string(),
    asOf: Instant,
    clock: Clock,
    unit: Unit,
    limits: z.object({
      basis: z.enum(["size", "loss"]),
      race: z.number().nullable(),
      club: z.number(),
      stop: z.number().nullable(),
    }),
    limitWear: z.number().meta({ description: "the wear at which a piece is finished, by the club limit" }),
    wearRate: Range.meta({ description: "wear for each unit of the clock, over the line's pieces" }),
    pieceSpread: z.number().meta({ description: "coefficient of variation of the rate from piece to piece" }),
    runSpread: z.number().meta({ description: "coefficient of variation of the wear of one run" }),
    readingSd: z.number().meta({ description: "standard deviation of one reading, in `unit`" }),
    pathExponent: z
      .number()
      .meta({ description: "wear goes with usage to this power: below 1 it slows down" }),
    newPieceLife: CountRange.meta({ description: "life of a new piece by wear alone, on the clock" }),
    surfaces: z.array(
      z.object({
        surface: z.string(),
        p10: z.number(),
        median: z.number(),
        p90: z.number(),
        learned: z.boolean().meta({ description: "false: a belief of the trade, not met in the log" }),
      }),
    ),
    conditions: z
      .array(
        z.object({
          factor: z.string().meta({ description: "what is compared, such as corner or mesh" }),
          condition: z
            .string()
            .meta({ description: "the corner, or the condition that runs were logged with" }),
          p10: z.number(),
          median: z.number(),
          p90: z.number(),
          believed: z.number().meta({ description: "what the trade believes, before the log" }),
          runs: z.number().int().meta({ description: "runs under it" }),
          share: share.meta({ description: "their share of the line's use" }),
          sentence: z.string(),
        }),
      )
      .meta({
        description:
          "how many times as fast as its other use the line wears under each condition that was met often enough; surfaces are taken out, other conditions are not",
      }),
    breakage: z.object({
      perRun: z.number().meta({ description: "breakages expected for each run, over all drivers" }),
      range: Range.meta({ description: "the same as a range" }),
      drivers: z
        .array(z.object({ driverId: Id, perRun: Range, broken: z.number().int(), runs: z.number().int() }))
        .meta({
          description: "each driver's own rate, drawn to that of the line; a driver's key sees its own only",
        }),
      broken: z.number().int(),
      runs: z.number().int(),
      lastsTenRuns: chance("a piece does not break in ten runs"),
    }),
    restsOn: z.object({ pieces: z.number().int(), readings: z.number().int(), current: z.boolean() }),
  })
  .meta({ id: "LineWear" });

export const answerOperations = [
  operation({
    method: "get",
    path: "/v1/pieces/{id}/forecast",
    operationId: "forecastPiece",
    summary: "When will this piece be worn out?",
    description:
      "Its wear now, its rate, and what is left: as usage, runs, meetings and a date read off the calendar ahead, each as a range; and its chance of lasting the next meeting and one more run.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    query: z.strictObject({
      limit: LimitName.optional().meta({ description: "which wear limit; the club's if not given" }),
      carId: Id.optional().meta({ description: "for a spare: the car whose calendar it would follow" }),
    }),
    answers: { 200: { description: "The forecast.", body: Forecast } },
    problems: [404, 409],
    example: { query: { limit: "club" } },
  })(async ({ params, query }, work) => ({ status: 200, body: await forecastPiece(work, params.id, query) })),

  operation({
    method: "get",
    path: "/v1/cars/{id}/bench-sheet",
    operationId: "benchSheet",
    summary: "What must be looked at on this car?",
    description:
      "Every fitted piece in the order of the bench, with its chance of getting through the next meeting, whether to change it, look at it or leave it, and what one more check of it is worth. With `minutes`, the checks to spend them on.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    query: z.strictObject({
      minutes: queryNumber(0, 600, "bench time to spend on checks tonight").optional(),
      labourMinorUnits: queryInteger(
        0,
        999_999_999,
        "labour of one planned change; 5 of a two-decimal currency if not given",
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

  operation({
    method: "get",
    path: "/v1/lines/{id}/wear",
    operationId: "lineWear",
    summary: "How do the pieces of this line wear?",
    description:
      "The wear rate fitted over its pieces, its spread, the effect of surfaces, and the life of a new piece.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    answers: { 200: { description: "The line's wear.", body: LineWear } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await lineWear(work, params.id) })),
];
