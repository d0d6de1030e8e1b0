import { z } from "zod";
import { adviceRules } from "../domain/piece-advice.ts";
import { clocks } from "../domain/kind.ts";
import { chance } from "./answer-schemas.ts";

/** What answers about wear share. */

export const Clock = z.enum(clocks).meta({ description: "what the kind's usage is counted in" });
export const Unit = z
  .string()
  .nullable()
  .meta({ description: "unit of sizes and wear; null for a graded kind: wear is then a share of life" });
export const CountRange = z
  .object({ p10: z.number().nullable(), median: z.number().nullable(), p90: z.number().nullable() })
  .meta({
    id: "CountRange",
    description: "10th percentile, median and 90th percentile; null where it is never reached",
  });
export const RestsOn = z
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

/** What a piece may do over some runs ahead. */
export const chances = {
  lasts: chance("it neither wears out nor breaks"),
  wearsOut: chance("it is past its limit by then"),
  breaks: chance("it breaks by accident by then"),
};

/** What an advice goes by: answers that go by different rules need not agree. */
export const AdviceRule = z.enum(adviceRules).meta({
  id: "AdviceRule",
  description:
    "what the advice goes by. chance: how likely it wears out at the meeting, whatever a change costs; unseen: runs since anybody looked at it; cost: what a change costs against what a lost run costs. Answers that go by different rules need not agree",
});
