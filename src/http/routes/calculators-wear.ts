import { z } from "zod";
import { calculateGearSpan, calculateRollout } from "../../services/calculate-gearing.ts";
import { calculateWear } from "../../services/calculate-wear.ts";
import {
  amount,
  believedRange,
  magnitude,
  Quantiles,
  reading,
  remainingQuantiles,
  Spread,
  whole,
} from "../calculator-schemas.ts";
import { operation } from "../operation.ts";
import { text } from "../schemas.ts";

const MOST_PIECES = 50;
const MOST_READINGS = 10_000;

const Readings = z
  .array(
    z.strictObject({
      usage: amount("usage when it was read"),
      value: reading("what was read, in the unit of `asNew` and `limit`"),
    }),
  )
  .superRefine((readings, issues) => {
    const back = readings.findIndex(({ usage }, j) => j > 0 && usage < readings[j - 1]!.usage);
    if (back !== -1)
      issues.addIssue({
        code: "custom",
        path: [back, "usage"],
        message: "must not be below the usage of the reading before: usage never goes back",
      });
  })
  .meta({ description: "in order of usage; none for a piece that was not looked at" });

const WearPath = z.enum(["learned", "straight"]);
const WearQuestion = z
  .strictObject({
    asNew: reading("reading of a new piece"),
    limit: reading(
      "reading at which a piece is finished: above asNew where readings rise, below where they fall",
    ),
    expectedLife: believedRange("usage from new to the limit").optional().meta({
      description:
        "range of usage in which eight pieces of ten are expected to reach the limit; guessed, wide, from the readings if not given",
    }),
    quantiles: Quantiles,
    path: WearPath.optional().meta({
      description:
        "learned: wear may slow down or speed up, and how much is learned (if not given); straight: wear goes in proportion to usage",
    }),
    pieces: z.array(z.strictObject({ id: text(64), readings: Readings })).max(MOST_PIECES),
  })
  .superRefine(({ asNew, limit, pieces }, issues) => {
    const refuse = (path: (string | number)[], message: string) =>
      issues.addIssue({ code: "custom", path, message });
    if (!(Math.abs(limit - asNew) >= 1e-9 * Math.max(Math.abs(limit), Math.abs(asNew), 1e-3)))
      refuse(["limit"], "must differ from asNew: their difference is what may wear off");
    const seen = new Set<string>();
    for (const [i, { id }] of pieces.entries()) {
      if (seen.has(id)) refuse(["pieces", i, "id"], "must differ from the ids of the other pieces");
      seen.add(id);
    }
    const readings = pieces.reduce((sum, piece) => sum + piece.readings.length, 0);
    if (readings > MOST_READINGS) refuse(["pieces"], `must have at most ${MOST_READINGS} readings in all`);
  });

const WearFit = z
  .object({
    population: z.object({
      rate: Spread.meta({ description: "wear for each unit of usage, over the pieces of such a line" }),
      pieceSpread: z
        .number()
        .meta({ description: "coefficient of variation of the rate from piece to piece" }),
      runSpread: z.number().meta({
        description:
          "coefficient of variation of the wear of one run; a run is `belief.usagePerRun` of usage",
      }),
      readingSd: z.number().meta({ description: "standard deviation of one reading" }),
      pathExponent: z
        .number()
        .meta({ description: "wear goes with usage to this power: below 1 it slows down" }),
    }),
    pieces: z.array(
      z.object({
        id: z.string(),
        usage: z.number().meta({ description: "usage at the last reading, from which `remaining` counts" }),
        wear: Spread.meta({ description: "distance from asNew towards the limit now" }),
        rate: Spread.meta({ description: "wear for each unit of usage over the next run" }),
        remaining: z
          .object({
            quantiles: remainingQuantiles(z.number().nullable()).meta({
              description:
                "further usage by which the limit is passed with that probability; null where that is never reached",
            }),
            median: z.number().nullable(),
            mean: z
              .number()
              .optional()
              .meta({ description: "mean further usage; left out where the law has none" }),
          })
          .meta({
            description: "further usage to the limit, given that it is not passed yet; 0 if it surely is",
          }),
        pastLimitProbability: z.number().meta({ description: "chance that it is past the limit now" }),
      }),
    ),
    belief: z
      .object({
        expectedLife: z.object({ p10: z.number(), p90: z.number() }),
        expectedLifeFrom: z.enum(["stated", "readings"]).meta({
          description:
            "stated: as the request says; readings: a fifth to five times the life that the last readings point to, so that the answer rests on the readings",
        }),
        pieceSpread: z.number(),
        runSpread: z.number(),
        usagePerRun: z.number().meta({ description: "a twentieth of the middle of expectedLife" }),
        readingSd: z.number().meta({
          description: "error of a reading, from how readings scatter about their neighbours",
        }),
        path: WearPath,
      })
      .meta({ description: "what was supposed before the readings were looked at; they correct all of it" }),
  })
  .meta({ id: "WearFit" });

/** Three GaAs lasers of Meeker & Escobar (1998), Table C.17, at 250, 500, … 2000 hours. */
const lasers = {
  101: [0.4741, 0.9255, 2.1147, 2.7168, 3.511, 4.3415, 4.9076, 5.4782],
  102: [0.7078, 1.2175, 1.8955, 2.2954, 2.865, 3.7454, 4.4192, 4.9894],
  103: [0.7074, 1.1651, 1.7253, 1.9888, 2.5325, 2.9695, 3.2977, 3.9354],
};

const Gear = z
  .strictObject({
    moduleMm: magnitude("module, in mm; give this or diametralPitch").optional(),
    diametralPitch: magnitude("teeth for each inch of pitch diameter; give this or moduleMm").optional(),
    teeth: whole(3, 10_000, "teeth of the gear"),
    pressureAngleDegrees: z
      .number()
      .min(5)
      .max(40)
      .optional()
      .meta({ description: "degrees; 20 if not given" }),
    profileShift: z.number().min(-2).max(2).optional().meta({ description: "in modules; 0 if not given" }),
    teethSpanned: whole(1, 10_000, "teeth between the jaws; what suits the gear if not given").optional(),
    newSpanMm: magnitude(
      "span of this gear when it was new, mm; goes before the computed one, as moulded gears are often shifted",
    ).optional(),
    measuredSpanMm: magnitude("span now, over the same teeth, mm").optional(),
  })
  .superRefine(({ moduleMm, diametralPitch, teeth, teethSpanned, newSpanMm, measuredSpanMm }, issues) => {
    const refuse = (member: string, message: string) =>
      issues.addIssue({ code: "custom", path: [member], message });
    if ((moduleMm === undefined) === (diametralPitch === undefined))
      refuse("moduleMm", "must be given, or diametralPitch instead, but not both");
    if (teethSpanned !== undefined && teethSpanned > teeth)
      refuse("teethSpanned", "must not be more than the teeth of the gear");
    if (newSpanMm !== undefined && measuredSpanMm === undefined)
      refuse("measuredSpanMm", "must be given where newSpanMm is");
  });

const GearSpan = z
  .object({
    moduleMm: z.number(),
    diametralPitch: z.number(),
    teethSpanned: z.number().int(),
    asNewSpanMm: z.number().meta({ description: "span of an unworn gear, mm, computed" }),
    contactDiameterMm: z.number().meta({ description: "diameter at which the jaws touch, mm" }),
    onFlank: z
      .boolean()
      .meta({ description: "they touch the flank well inside tip and root; if not, span other teeth" }),
    toothThicknessMm: z.number().meta({ description: "of one unworn tooth, along the pitch circle, mm" }),
    toothChordMm: z.number().meta({ description: "the same as the chord that a tooth calliper reads, mm" }),
    wear: z
      .object({
        spanLossMm: z.number(),
        toothThinningMm: z
          .number()
          .meta({ description: "tooth thickness lost at the pitch line, mm; below 0 if the span has grown" }),
        shareOfClubLimit: z.number(),
        limits: z.object({ raceMm: z.number(), clubMm: z.number(), stopMm: z.number() }).meta({
          description: "thinning of 0.1, 0.2 and 0.3 modules: slower than new, change it, not to be run",
        }),
      })
      .nullable()
      .meta({ description: "null without a measuredSpanMm" }),
  })
  .meta({ id: "GearSpan" });

const Drive = z
  .strictObject({
    spurTeeth: whole(1, 10_000, "teeth of the spur"),
    pinionTeeth: whole(1, 10_000, "teeth of the pinion"),
    internalRatio: z
      .number()
      .min(0.01)
      .max(100)
      .default(1)
      .meta({ description: "ratio of the gears or belts behind the spur; 1 if there are none" }),
    tyreDiameterMm: magnitude("diameter of the tyre when new, mm"),
    wornTyreDiameterMm: magnitude("diameter of the tyre now, mm").optional(),
  })
  .refine(({ tyreDiameterMm, wornTyreDiameterMm }) => !(wornTyreDiameterMm! > tyreDiameterMm), {
    path: ["wornTyreDiameterMm"],
    error: "must not be above tyreDiameterMm",
  });

const Rollout = z
  .object({
    finalDriveRatio: z.number().meta({ description: "ratio: turns of the motor for one turn of the wheels" }),
    rolloutMm: z.number().meta({ description: "way of the car for one turn of the motor, mm" }),
    wornTyre: z
      .object({
        rolloutMm: z.number(),
        rolloutLost: z.number().meta({ description: "share of the rollout that is lost" }),
        exactPinionTeeth: z.number().meta({ description: "teeth that would restore it exactly" }),
        pinionTeeth: z.number().int().meta({ description: "teeth of the nearest pinion there is" }),
      })
      .nullable()
      .meta({ description: "null without a wornTyreDiameterMm" }),
  })
  .meta({ id: "Rollout" });

export const wearCalculators = [
  operation({
    method: "post",
    path: "/v1/calculators/wear-fit",
    operationId: "calculateWearFit",
    summary: "What do readings say of wear, and of what is left?",
    description:
      "Fits one line of alike pieces from their readings, and forecasts each piece. All usages are in one unit of your choice, all readings in another. Example: three lasers with a limit of 10 % more current, read to 2000 hours (Meeker & Escobar 1998, Table C.17); the first passed it at about 3780 hours, 1780 hours later.",
    tags: ["calculators"],
    need: "calculators:read",
    body: WearQuestion,
    answers: { 200: { description: "The line, and each piece.", body: WearFit } },
    example: {
      body: {
        asNew: 0,
        limit: 10,
        pieces: Object.entries(lasers).map(([id, values]) => ({
          id,
          readings: values.map((value, i) => ({ usage: 250 * (i + 1), value })),
        })),
      },
    },
  })(async ({ body }) => ({ status: 200, body: await calculateWear(body) })),

  operation({
    method: "post",
    path: "/v1/calculators/gear-span",
    operationId: "calculateGearSpan",
    summary: "What span has this gear as new, and how worn are its teeth?",
    description:
      "Span over teeth of an involute spur gear, and the tooth thinning that a measured span means. Example: module 2, 20 teeth measure 15.321 mm over 3, touching at a diameter of 40.59 mm (a public gear-calculator page); the measured span is ours.",
    tags: ["calculators"],
    need: "calculators:read",
    body: Gear,
    answers: { 200: { description: "The span, and the wear.", body: GearSpan } },
    example: { body: { moduleMm: 2, teeth: 20, teethSpanned: 3, measuredSpanMm: 15.121 } },
  })(({ body }) => ({ status: 200, body: calculateGearSpan(body) })),

  operation({
    method: "post",
    path: "/v1/calculators/rollout",
    operationId: "calculateRollout",
    summary: "How far does the car go for one turn of the motor?",
    description:
      "Final drive ratio and rollout, and which pinion makes up for a worn tyre. Example: a tyre of 1.8 in at 3.2 to 1 rolls out 1.767 in, which is 44.88 mm (a public forum's worked example); the worn diameter is ours.",
    tags: ["calculators"],
    need: "calculators:read",
    body: Drive,
    answers: { 200: { description: "Ratio and rollout.", body: Rollout } },
    example: {
      body: {
        spurTeeth: 96,
        pinionTeeth: 30,
        internalRatio: 1,
        tyreDiameterMm: 45.72,
        wornTyreDiameterMm: 44.2,
      },
    },
  })(({ body }) => ({ status: 200, body: calculateRollout(body) })),
];
