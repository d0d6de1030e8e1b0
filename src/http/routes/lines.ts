import { z } from "zod";
import { gtinFault } from "../../domain/gtin.ts";
import { addLine, changeLine, listLines, readLine } from "../../services/keep-lines.ts";
import { exampleIds } from "../example-ids.ts";
import { operation } from "../operation.ts";
import {
  ById,
  Currency,
  Day,
  Id,
  Instant,
  MinorUnits,
  Notes,
  PageQuery,
  pageFrom,
  pageOf,
  pageReply,
  text,
  Version,
} from "../schemas.ts";
import { LifeRange, Limits } from "./kinds.ts";

const Gtin = z
  .string()
  .superRefine((code, issues) => {
    const fault = gtinFault(code);
    if (fault !== undefined) issues.addIssue({ code: "custom", message: fault });
  })
  .meta({
    description: "GTIN of 8, 12, 13 or 14 digits with its check digit: the digits under the barcode",
    example: "6291041500213",
  });
const Sku = text(60).meta({ description: "the club's own article number", example: "QB-SP-048-87" });
const count = z.number().int("must be a whole number").min(1, "must be at least 1").max(1e6);

const members = {
  gtin: Gtin.nullable(),
  makersPartNumber: text(60)
    .nullable()
    .meta({ description: "article number of the maker", example: "SG-4887" }),
  supplierId: Id.nullable().meta({ description: "who supplies it, or null" }),
  packSize: count.meta({ description: "pieces in one pack", example: 2 }),
  orderMultiplePacks: count.meta({ description: "packs are ordered in multiples of this", example: 1 }),
  priceMinorUnits: MinorUnits.meta({
    description: "price of one pack in minor units of `currency`, such as cents",
    example: 900,
  }),
  leadTimeDays: z.number().min(0).max(3650).nullable().meta({
    description: "days from order to arrival, where it differs from the supplier's",
    example: 21,
  }),
  shelfLifeDays: z.number().int().min(1).max(36_500).nullable().meta({
    description: "days that an unused piece keeps, where it differs from the kind's",
    example: 730,
  }),
  weightGrams: z.number().positive().max(1e5).nullable().meta({
    description: "what one piece weighs, grams: the box for the pits is packed by it",
    example: 6.5,
  }),
  asNew: z.number().min(-1e9).max(1e9).nullable().meta({
    description: "catalogue size of a new piece in the kind's unit, where it differs from the kind's",
    example: 15.485,
  }),
  limits: Limits.nullable().meta({ description: "wear limits, where they differ from the kind's" }),
  usualLife: LifeRange.nullable().meta({ description: "life by wear, where it differs from the kind's" }),
  supersededById: Id.nullable().meta({ description: "the line that is sold in its place" }),
  endedOn: Day.nullable().meta({ description: "the day from which it is no longer to be had" }),
  notes: Notes,
  fits: z.array(Id).max(500).meta({ description: "car models it fits" }),
};

const Line = z
  .object({
    id: Id,
    sku: Sku,
    name: z.string().meta({ example: "Spur gear 87T, 48 DP, pair" }),
    kindId: Id,
    kindCode: z.string().meta({ example: "SPR-48" }),
    ...members,
    supplierName: z.string().nullable().meta({ example: "Harrowmead Trade" }),
    currency: Currency,
    ended: z.boolean().meta({ description: "is `endedOn` reached today, in the club's time zone?" }),
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Line", description: "a part as a shop sells it" });

const noRepeats = (ids: readonly string[]) => new Set(ids).size === ids.length;
const fitsGiven = members.fits.refine(noRepeats, "names a car model twice");
const LineGiven = z.strictObject({
  sku: Sku,
  name: text(160),
  kindId: Id,
  currency: Currency.optional().meta({ description: "the club's currency if not given" }),
  ...members,
  gtin: members.gtin.default(null),
  makersPartNumber: members.makersPartNumber.default(null),
  supplierId: members.supplierId.default(null),
  packSize: members.packSize.default(1),
  orderMultiplePacks: members.orderMultiplePacks.default(1),
  leadTimeDays: members.leadTimeDays.default(null),
  shelfLifeDays: members.shelfLifeDays.default(null),
  weightGrams: members.weightGrams.default(null),
  asNew: members.asNew.default(null),
  limits: members.limits.default(null),
  usualLife: members.usualLife.default(null),
  supersededById: members.supersededById.default(null),
  endedOn: members.endedOn.default(null),
  notes: members.notes.default(null),
  fits: fitsGiven.default([]),
});
const LineChanges = z
  .strictObject({ sku: Sku, name: text(160), currency: Currency, ...members, fits: fitsGiven })
  .partial();

export const lineOperations = [
  operation({
    method: "post",
    path: "/v1/lines",
    operationId: "addLine",
    summary: "Add a line",
    description:
      "A line is of one kind for good. Size, limits and life are taken from the kind unless the line has its own; " +
      "they are in the kind's unit and on its clock. The price is for one pack.",
    tags: ["lines"],
    need: "lines:write",
    record: "lines",
    body: LineGiven,
    answers: { 201: { description: "The line.", body: Line } },
    problems: [404, 409],
    example: {
      body: {
        sku: "QB-SP-048-90",
        gtin: "6291041500213",
        makersPartNumber: "SG-4890",
        name: "Spur gear 90T, 48 DP, pair",
        kindId: exampleIds.kindId,
        supplierId: exampleIds.supplierId,
        packSize: 2,
        orderMultiplePacks: 5,
        priceMinorUnits: 900,
        weightGrams: 6.5,
        usualLife: { p10: 350, p90: 900 },
        fits: [exampleIds.carModelId],
      },
    },
  })(async ({ body }, work) => ({ status: 201, body: await addLine(work, body) })),

  operation({
    method: "get",
    path: "/v1/lines",
    operationId: "listLines",
    summary: "List lines, by kind, number, supplier or the car they fit",
    description: "In the order in which they were added.",
    tags: ["lines"],
    need: "lines:read",
    query: z.strictObject({
      kindId: Id.optional().meta({ description: "only lines of this kind" }),
      sku: Sku.optional().meta({ description: "only the line with this article number" }),
      gtin: Gtin.optional().meta({
        description: "only lines with this GTIN, whatever number of leading zeros it was kept with",
      }),
      carModelId: Id.optional().meta({ description: "only lines that fit this car model" }),
      supplierId: Id.optional().meta({ description: "only lines of this supplier" }),
      ...PageQuery,
    }),
    answers: { 200: { description: "A page of lines.", body: pageOf(Line, "LinePage") } },
    example: { query: { gtin: "6291041500213" } },
  })(async ({ query: { limit, after, ...filter } }, work, c) =>
    pageReply(await listLines(work, pageFrom({ limit, after }), filter), (line) => line, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/lines/{id}",
    operationId: "getLine",
    summary: "Read a line",
    tags: ["lines"],
    need: "lines:read",
    record: "lines",
    params: ById,
    answers: { 200: { description: "The line.", body: Line } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await readLine(work, params.id) })),

  operation({
    method: "patch",
    path: "/v1/lines/{id}",
    operationId: "changeLine",
    summary: "Change a line: its price, supplier, end, or what it fits",
    description:
      "Members that are not given stay. `fits` replaces the whole list. A line may be superseded by another, " +
      "but not in a circle.",
    tags: ["lines"],
    need: "lines:write",
    record: "lines",
    concurrency: "required",
    params: ById,
    body: LineChanges,
    answers: { 200: { description: "The line as it is now.", body: Line } },
    problems: [404, 409],
    example: { body: { priceMinorUnits: 950, endedOn: "2027-02-07" } },
  })(async ({ params, body }, work) => ({ status: 200, body: await changeLine(work, params.id, body) })),
];
