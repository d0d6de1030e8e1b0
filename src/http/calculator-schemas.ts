import { z } from "zod";

/**
 * Building blocks of the calculators. Their numbers are bounded far outside anything that is measured or paid for, and
 * so near that a square or a quotient of two of them keeps its digits.
 */

const LARGEST = 1e12;
const SMALLEST = 1e-12;
const bounds = `from ${SMALLEST} to ${LARGEST}`;

/** A size, usage, age or rate above 0. */
export const magnitude = (description: string) =>
  z
    .number()
    .min(SMALLEST, `must be a number ${bounds}: choose a unit that suits`)
    .max(LARGEST, `must be a number ${bounds}: choose a unit that suits`)
    .meta({ description });

/** The same, or 0. */
export const amount = (description: string) => z.number().min(0).max(LARGEST).meta({ description });

/** A reading, which may be on either side of 0. */
export const reading = (description: string) => z.number().min(-LARGEST).max(LARGEST).meta({ description });

export const whole = (least: number, most: number, description: string) =>
  z.number().int("must be a whole number").min(least).max(most).meta({ description });

/** A probability that is neither sure nor impossible. */
export const chance = (description: string) => z.number().min(1e-6).max(0.999999).meta({ description });

export const Quantiles = z
  .array(chance("probability, above 0 and below 1"))
  .min(1)
  .max(20)
  .optional()
  .meta({ description: "which quantiles to give; 0.05, 0.1, 0.25, 0.5, 0.75, 0.9 and 0.95 if not given" });

const inOrder = (p10: number, p90: number) => p10 < p90;
/** A range in which four of five lie. */
export const believedRange = (of: string) =>
  z
    .strictObject({
      p10: magnitude(`one in ten is below: ${of}`),
      p90: magnitude("one in ten is above, in the same unit"),
    })
    .refine(({ p10, p90 }) => inOrder(p10, p90), { path: ["p90"], error: "must be above p10" });

export const Life = z
  .discriminatedUnion("distribution", [
    z.strictObject({
      distribution: z.literal("weibull"),
      shape: z
        .number()
        .min(0.1)
        .max(1000)
        .meta({ description: "below 1 failures come early, 1 is chance alone, above 1 is wearing out" }),
      scale: magnitude("age that 37 % survive, in any unit, which all ages of the request share"),
    }),
    z.strictObject({
      distribution: z.literal("lognormal"),
      meanLog: z.number().min(-25).max(25).meta({
        description: "mean of the natural logarithm of the life; its exponential is the median life",
      }),
      sdLog: z
        .number()
        .min(0.001)
        .max(8)
        .meta({ description: "standard deviation of the natural logarithm of the life" }),
    }),
  ])
  .meta({ id: "Life", description: "a law of life" });

const Poisson = z.strictObject({
  kind: z.literal("poisson"),
  rate: amount("expected units for each unit of time, one at a time and at random"),
});
const Normal = z.strictObject({
  kind: z.literal("normal"),
  mean: amount("expected units for each unit of time"),
  sd: amount("standard deviation of the units of one unit of time"),
});
const NegativeBinomial = z
  .strictObject({
    kind: z.literal("negative-binomial"),
    mean: magnitude("expected units for each unit of time"),
    variance: magnitude("variance of the units of one unit of time, above the mean"),
  })
  .refine(({ mean, variance }) => variance > mean * (1 + 1e-6), {
    path: ["variance"],
    error: "must be above the mean; where it is not, take a Poisson demand",
  });
const Table = z.strictObject({
  kind: z.literal("table"),
  probabilities: z
    .array(z.number().min(0).max(1))
    .min(1)
    .max(2000)
    .refine(
      (chances) => Math.abs(chances.reduce((sum, p) => sum + p, 0) - 1) <= 1e-9,
      "must sum to 1; write the last ones with more digits, or divide all by their sum",
    )
    .meta({ description: "chance of needing 0, 1, 2, … units; they sum to 1" }),
});

export const Demand = z.discriminatedUnion("kind", [Poisson, Normal, NegativeBinomial, Table]).meta({
  id: "Demand",
  description: "demand for each unit of time; a table is for the whole time asked about",
});
export const WholeDemand = z
  .discriminatedUnion("kind", [Poisson, NegativeBinomial, Table])
  .meta({ id: "WholeDemand", description: "units needed in the time that the kit has to last" });

export const Spread = z
  .object({ p10: z.number(), median: z.number(), p90: z.number() })
  .meta({ id: "Spread", description: "10th percentile, median and 90th percentile" });

export const remainingQuantiles = (usage: z.ZodType<number | null>) =>
  z
    .array(z.object({ probability: z.number(), usage }))
    .meta({ description: "further usage by which it is finished with that probability" });
