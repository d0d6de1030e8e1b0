import { z } from "zod";
import { benchSteps, clocks, surfaces } from "../../domain/kind.ts";
import { addKind, changeKind, kindFromRow } from "../../services/keep-kinds.ts";
import { listRecords, readRecord } from "../../services/keep-records.ts";
import { operation } from "../operation.ts";
import {
  ById,
  Id,
  Instant,
  PageQuery,
  pageFrom,
  pageOf,
  pageReply,
  positive,
  text,
  Version,
} from "../schemas.ts";

const size = z.number().min(-1e9).max(1e9);
const share = z.number().min(0).max(1);

const Measure = z
  .strictObject({
    quantity: text(80).meta({ description: "what is measured", example: "span over 10 teeth" }),
    unit: text(20).meta({
      description: "unit of every size, limit and reading of the kind",
      example: "mm",
    }),
    direction: z
      .enum(["falls", "rises"])
      .meta({ description: "what the value does as the piece wears: tread falls, play rises" }),
    asNew: size.meta({ description: "catalogue size of a new piece, in `unit`", example: 15.485 }),
    asNewSd: z.number().min(0).max(1e9).meta({
      description: "standard deviation of new pieces, in `unit`",
      example: 0.02,
    }),
    miscountStep: positive.nullable().optional().meta({
      description:
        "how far a reading is off where one tooth too many is spanned, in `unit`; for gears, null or left out for others",
      example: 1.563,
    }),
    instruments: z
      .array(
        z.strictObject({
          name: text(60).meta({ example: "calliper" }),
          repeatabilitySd: positive.meta({
            description: "standard deviation of repeated readings by a patient hand, in `unit`",
            example: 0.018,
          }),
          resolution: positive.meta({ description: "smallest step shown, in `unit`", example: 0.01 }),
        }),
      )
      .min(1, "needs at least one instrument")
      .max(20)
      .meta({ description: "the usual one first" }),
  })
  .meta({ id: "Measure", description: "what is measured on a piece, and how well" });

export const Limits = z
  .strictObject({
    basis: z.enum(["size", "loss"]).meta({
      description: "are the limits sizes of the piece, or losses from the piece's own first reading?",
    }),
    race: size.nullable().meta({ description: "past it the piece is slower than a new one", example: 0.05 }),
    club: size.meta({ description: "the limit that forecasts use", example: 0.08 }),
    practice: size.nullable().optional().meta({
      description:
        "up to it a piece that is finished for racing may be used in practice, in the unit of the kind, from club to stop; null or left out: pieces are not kept for practice",
      example: 0.09,
    }),
    stop: size.nullable().meta({ description: "past it the piece is not to be run", example: 0.1 }),
  })
  .meta({
    id: "Limits",
    description: "wear limits in the unit of the kind, in the order in which a wearing piece reaches them",
  });

export const LifeRange = z
  .strictObject({
    p10: positive.meta({ description: "one piece in ten is worn out by then", example: 350 }),
    p90: positive.meta({ description: "nine pieces in ten are worn out by then", example: 900 }),
  })
  .meta({
    id: "LifeRange",
    description: "life by wear alone on the kind's clock, on the surface of multiplier 1",
  });

const code = text(30)
  .regex(
    /^[A-Z0-9]+(-[A-Z0-9]+)*$/,
    "must be capital letters and digits, in parts joined by hyphens, such as SPR-48",
  )
  .meta({ description: "short name by which lists and imports know the kind", example: "SPR-48" });

const details = {
  benchStep: z.enum(benchSteps).meta({ description: "when it is looked at on the bench" }),
  measure: Measure.nullable().meta({ description: "null where the kind is only graded, 0 to 4" }),
  limits: Limits.nullable().meta({ description: "null exactly where `measure` is null" }),
  usualLife: LifeRange,
  pieceSpread: z.number().min(0).max(3).meta({
    description: "coefficient of variation of the wear rate from piece to piece",
    example: 0.3,
  }),
  runSpread: z.number().min(0).max(3).meta({
    description: "coefficient of variation of the wear of one run",
    example: 0.6,
  }),
  surfaces: z.partialRecord(z.enum(surfaces), positive).meta({
    description: "how many times as fast each surface wears it; a surface that is not named counts as 1",
  }),
  usedBy: z
    .enum(["fitting", "pack"])
    .meta({ description: "is it fitted at a position, or a pack that each run names?" }),
  changeRule: z
    .enum(["alone", "pair", "set", "with-mate"])
    .meta({ description: "what is changed together with a worn piece" }),
  changedTogether: z.number().int().min(1).max(100).meta({
    description: "how many pieces are changed together",
    example: 1,
  }),
  mateCode: code.nullable().meta({
    description: "code of the kind whose wear decides whether this one is changed with it",
    example: "SPR-48",
  }),
  breakagePerRun: share.meta({
    description: "chance that one run of an average driver ends a piece by accident",
    example: 0.002,
  }),
  shelfLifeDays: z.number().int().min(1).max(36_500).nullable().meta({
    description: "days after which an unused piece is no longer good; null where it keeps",
    example: 730,
  }),
  carStopper: z.boolean().meta({ description: "is the day over without it?" }),
  checkMinutes: z.number().min(0).max(600).meta({
    description: "minutes of bench time for one look or reading",
    example: 3,
  }),
  check: text(1000).meta({ description: "what to look for" }),
  cautions: z.array(text(1000)).max(20).meta({ description: "what may hurt people or the car" }),
  source: text(1000).meta({ description: "where the figures come from" }),
};

const Kind = z
  .object({
    id: Id,
    code,
    name: z.string().meta({ example: "Spur gear, 48 DP" }),
    clock: z.enum(clocks).meta({ description: "what makes a piece older" }),
    shipped: z.boolean().meta({ description: "did it come with the service?" }),
    ...details,
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Kind", description: "what the trade knows of a sort of part" });

const KindGiven = z.strictObject({
  code,
  name: text(100),
  clock: z.enum(clocks),
  ...details,
  surfaces: details.surfaces.default({}),
  usedBy: details.usedBy.default("fitting"),
  changeRule: details.changeRule.default("alone"),
  changedTogether: details.changedTogether.default(1),
  mateCode: details.mateCode.default(null),
  shelfLifeDays: details.shelfLifeDays.default(null),
  carStopper: details.carStopper.default(false),
  cautions: details.cautions.default([]),
  source: details.source.default("the club's own experience"),
});
const KindChanges = z.strictObject({ name: text(100), ...details }).partial();

export const kindOperations = [
  operation({
    method: "post",
    path: "/v1/kinds",
    operationId: "addKind",
    summary: "Add a kind of part of the club's own",
    description:
      "Sizes, limits and readings of a kind share one unit. Limits come in the order race, club, stop as the piece " +
      "wears; a kind without a measure is only graded and has no limits. Unknown lives are fine as a wide range: the log overrules it.",
    tags: ["catalogue"],
    need: "catalogue:write",
    record: "kinds",
    body: KindGiven,
    answers: { 201: { description: "The kind.", body: Kind } },
    problems: [409],
    example: {
      body: {
        code: "WING-MNT",
        name: "Rear wing mount bush",
        clock: "minutes",
        benchStep: "fasteners",
        measure: {
          quantity: "play at the wing edge",
          unit: "mm",
          direction: "rises",
          asNew: 0.1,
          asNewSd: 0.03,
          instruments: [{ name: "feeler gauge", repeatabilitySd: 0.05, resolution: 0.05 }],
        },
        limits: { basis: "size", race: null, club: 1, stop: 1.5 },
        usualLife: { p10: 200, p90: 900 },
        pieceSpread: 0.4,
        runSpread: 0.6,
        surfaces: { "coarse-asphalt": 1.3, "dusty-clay": 1.8 },
        breakagePerRun: 0.001,
        checkMinutes: 1,
        check: "Rock the wing by its edge and look for cracks at the screw.",
      },
    },
  })(async ({ body }, work) => ({ status: 201, body: await addKind(work, body) })),

  operation({
    method: "get",
    path: "/v1/kinds",
    operationId: "listKinds",
    summary: "List the kinds of part",
    description: "In the order in which they were added.",
    tags: ["catalogue"],
    need: "catalogue:read",
    query: z.strictObject({
      code: code.optional().meta({ description: "only the kind with this code" }),
      ...PageQuery,
    }),
    answers: {
      200: {
        description: "A page of kinds, those that came with the service first.",
        body: pageOf(Kind, "KindPage"),
      },
    },
    example: { query: { code: "SPR-48" } },
  })(async ({ query }, work, c) =>
    pageReply(
      await listRecords(work, "kinds", pageFrom(query), { code: query.code }),
      kindFromRow,
      c.req.url,
    ),
  ),

  operation({
    method: "get",
    path: "/v1/kinds/{id}",
    operationId: "getKind",
    summary: "Read a kind of part",
    tags: ["catalogue"],
    need: "catalogue:read",
    record: "kinds",
    params: ById,
    answers: { 200: { description: "The kind.", body: Kind } },
    problems: [404],
  })(async ({ params }, work) => ({
    status: 200,
    body: kindFromRow(await readRecord(work, "kinds", "kind", params.id)),
  })),

  operation({
    method: "patch",
    path: "/v1/kinds/{id}",
    operationId: "changeKind",
    summary: "Change what the club holds of a kind of part",
    description:
      "Members that are not given stay. The code and the clock stay in any case, and so do unit and direction once a " +
      "piece of the kind was measured. Every forecast of the kind follows the change.",
    tags: ["catalogue"],
    need: "catalogue:write",
    record: "kinds",
    concurrency: "required",
    params: ById,
    body: KindChanges,
    answers: { 200: { description: "The kind as it is now.", body: Kind } },
    problems: [404, 409],
    example: { body: { usualLife: { p10: 250, p90: 1100 }, source: "our own log of two seasons" } },
  })(async ({ params, body }, work) => ({ status: 200, body: await changeKind(work, params.id, body) })),
];
