import { z } from "zod";
import { limitNames } from "../../domain/wear.ts";
import { forecastPiece } from "../../services/forecast-piece.ts";
import { chance, PracticeKept, Range, Sentence, share } from "../answer-schemas.ts";
import { exampleIds } from "../example-ids.ts";
import { operation } from "../operation.ts";
import { ById, Day, Id, Instant } from "../schemas.ts";
import { chances, Clock, CountRange, RestsOn, Unit } from "../wear-schemas.ts";

const LimitName = z.enum(limitNames);
const DayRange = z
  .object({ p10: Day.nullable(), median: Day.nullable(), p90: Day.nullable() })
  .meta({ id: "DayRange", description: "days; null where they lie beyond the calendar's end" });

const OverMeeting = {
  meetingId: Id,
  name: z.string(),
  startsOn: Day,
  runs: z.number().int(),
  usage: z.number().meta({ description: "planned usage on the clock" }),
  ...chances,
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
      wear: z.number().meta({ description: "the wear that this is, in `unit`" }),
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
      .object(OverMeeting)
      .nullable()
      .meta({ description: "null where the calendar has no meeting ahead for its car" }),
    practice: PracticeKept,
    throughMeeting: z
      .object({
        ...OverMeeting,
        meetingsBefore: z
          .number()
          .int()
          .meta({ description: "meetings ahead of that one, whose runs and usage are counted too" }),
        sentence: Sentence,
      })
      .nullable()
      .meta({
        description: "from now through the meeting of `meetingId`; null where none was asked for",
      }),
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
          weight: share.meta({ description: "share of its full weight that it has in the forecast, 0 to 1" }),
        }),
      )
      .meta({ description: "readings off the trend: weighed down, never dropped" }),
    restsOn: RestsOn,
    cautions: z.array(z.string()),
  })
  .meta({ id: "Forecast" });

export const forecastOperations = [
  operation({
    method: "get",
    path: "/v1/pieces/{id}/forecast",
    operationId: "forecastPiece",
    summary: "When will this piece be worn out?",
    description:
      "Its wear now, its rate, and what is left: as usage, runs, meetings and a date read off the calendar ahead, each as a range; and its chance of lasting the next meeting, one more run, and through a meeting that is asked for.",
    tags: ["answers"],
    need: "answers:read",
    params: ById,
    query: z.strictObject({
      limit: LimitName.optional().meta({ description: "which wear limit; the club's if not given" }),
      carId: Id.optional().meta({ description: "for a spare: the car whose calendar it would follow" }),
      meetingId: Id.optional().meta({
        description: "a meeting ahead: will it last from now through that one, those before it counted too?",
      }),
    }),
    answers: { 200: { description: "The forecast.", body: Forecast } },
    problems: [404, 409],
    example: { query: { limit: "club", meetingId: exampleIds.meetingId } },
  })(async ({ params, query }, work) => ({ status: 200, body: await forecastPiece(work, params.id, query) })),
];
