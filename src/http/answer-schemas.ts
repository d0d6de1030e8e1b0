import { z } from "zod";
import { Currency, Day, Id, MinorUnits, queryInteger, queryNumber } from "./schemas.ts";

/** What several answers share: chances, ranges, money in several currencies, targets. */

export const share = z.number().min(0).max(1);
export const chance = (description: string) => share.meta({ description: `chance, 0 to 1: ${description}` });

export const Range = z.object({ p10: z.number(), median: z.number(), p90: z.number() }).meta({
  id: "Range",
  description:
    "10th percentile, median and 90th percentile: eight in ten times the truth lies between the outer two",
});

export const Month = z.string().meta({ description: "month, YYYY-MM", example: "2027-02" });
export const PieceRange = z
  .object({ p10: z.number().int(), median: z.number().int(), p90: z.number().int() })
  .meta({ id: "PieceRange", description: "10th percentile, median and 90th percentile, in pieces" });
/** The need of one month. */
export const monthOfNeed = {
  month: Month,
  lastDay: Day,
  expected: z.number().meta({ description: "pieces expected to be needed in the month" }),
  pieces: PieceRange,
};

export const LeadTime = z
  .object({
    meanDays: z.number(),
    sdDays: z.number(),
    deliveries: z
      .number()
      .int()
      .meta({ description: "number of deliveries it was learned from; with 0 it is the supplier's promise" }),
  })
  .meta({ id: "LeadTime", description: "days from order to arrival" });

export const Totals = z
  .array(z.object({ currency: Currency, minorUnits: MinorUnits }))
  .meta({ id: "Totals", description: "money in each currency" });

export const CalendarEnd = Day.nullable().meta({
  description:
    "the day of the last meeting ahead in the calendar, beyond which no wear is counted; null where none is ahead",
});

/** Cautions of an entry whose part is bought, carried or changed. */
export const cautions = z
  .array(z.string())
  .meta({ description: "what its kind asks to take care of; the maker's instructions come first" });

export const Sentence = z.string().meta({ description: "the answer in one sentence with its numbers" });

const KeptSets = z
  .object({
    sets: z
      .number()
      .int()
      .meta({ description: "whole sets kept for practice; pieces or packs where one is a set" }),
    pieces: z.number().int().meta({ description: "pieces in those sets; they are not among `spares`" }),
    until: Day.nullable().meta({
      description:
        "the meeting at which they are finished for practice, in the median and by wear alone; null where they last as far as the calendar goes",
    }),
    sentence: Sentence,
  })
  .meta({ id: "PracticeKept", description: "sets that take the practice runs meanwhile" });
/** What is kept for practice, beside an entry about what races. */
export const PracticeKept = KeptSets.nullable().meta({
  description: "sets that are kept for practice and take the practice runs meanwhile; null where none is",
});

export const scope = {
  driverId: Id.optional().meta({ description: "only this driver's cars and stock" }),
  carId: Id.optional().meta({ description: "only this car" }),
};
export const target = queryNumber(
  0.5,
  0.999,
  "wanted chance of not running out, or share of the need to be served; 0.9 if not given",
).optional();
const TargetKind = z.enum(["cycle", "fill"]);
export const targetKind = TargetKind.optional().meta({
  description:
    "cycle: the target is the chance of not running out (if not given); fill: it is the share of the need that is served",
});
export const TargetCovers = z.enum(["line", "list"]);
export const targetCovers = TargetCovers.optional().meta({
  description:
    "line: each line is bought for the target (if not given); list: nothing on the list runs out with that chance, bought for little money (only with targetKind=cycle)",
});
export const reviewPeriodDays = queryInteger(
  0,
  366,
  "days from one look at the stock to the next; 0, watched all the time, if not given",
).optional();
export const targetMembers = { target: share, targetKind: TargetKind };
