import { z } from "zod";
import { findings, serviceWords } from "../../domain/piece.ts";
import { unitNames } from "../../domain/units.ts";
import {
  deleteInspection,
  listInspections,
  logInspection,
  readInspection,
} from "../../services/log-inspection.ts";
import { operation } from "../operation.ts";
import {
  ById,
  Id,
  Instant,
  InstantIn,
  Notes,
  PageQuery,
  pageFrom,
  pageOf,
  pageReply,
  text,
  Version,
} from "../schemas.ts";

const Grade = z.number().int().min(0).max(4).nullable().meta({
  description:
    "0 as new, 1 bedded in, 2 worn but serviceable, 3 change before the next meeting, 4 unfit; each is a range of wear (below 0.10, 0.40, 0.75, 1.00 of the limit, and beyond); null if not graded",
});
const Findings = z.array(z.enum(findings)).max(20).meta({ description: "what was felt or seen" });
const Services = z.array(z.enum(serviceWords)).max(20).meta({ description: "what was done" });

const Reading = z
  .object({
    id: Id,
    value: z.number().meta({ description: "in the kind's unit" }),
    sd: z.number().meta({ description: "standard deviation of one such reading, in the kind's unit" }),
    instrument: z.string(),
    enteredValue: z.number().meta({ description: "as it was sent, in `enteredUnit`" }),
    enteredUnit: z.string(),
    confirmed: z.boolean().meta({ description: "it was looked at twice" }),
  })
  .meta({ id: "Reading" });
const Inspection = z
  .object({
    id: Id,
    pieceId: Id,
    at: Instant,
    grade: Grade,
    readings: z.array(Reading),
    findings: Findings,
    services: Services,
    notes: Notes,
    version: Version,
  })
  .meta({ id: "Inspection" });

const ReadingGiven = z.strictObject({
  value: z.number().min(-1e9).max(1e9),
  unit: text(20).meta({ description: `unit of the value: ${unitNames.join(", ")}`, example: "mm" }),
  instrument: text(60)
    .nullable()
    .default(null)
    .meta({ description: "one of the kind's instruments; null for the usual one" }),
});
const InspectionGiven = z
  .strictObject({
    at: InstantIn,
    readings: z.array(ReadingGiven).max(50).default([]),
    grade: Grade.default(null),
    findings: Findings.default([]),
    services: Services.default([]),
    notes: Notes.default(null),
    confirmed: z
      .boolean()
      .default(false)
      .meta({ description: "true: the readings were questioned before, looked at again, and stand" }),
  })
  .refine(
    (one) =>
      one.readings.length + one.findings.length + one.services.length > 0 ||
      one.grade !== null ||
      one.notes !== null,
    "must say something: a reading, a grade, a finding, a service or a note",
  );

export const inspectionOperations = [
  operation({
    method: "post",
    path: "/v1/pieces/{id}/inspections",
    operationId: "logInspection",
    summary: "Log a look at a piece: readings, grade, findings, services",
    description:
      "Units are converted, never guessed. A reading that contradicts the last ones is questioned (409, `reading_questioned`) and nothing is saved; look again, and if it is right send it with `confirmed` true.",
    tags: ["inspections"],
    need: "log:write",
    record: "inspections",
    params: ById,
    body: InspectionGiven,
    answers: { 201: { description: "The inspection.", body: Inspection } },
    problems: [404, 409],
    example: {
      body: {
        at: "2026-11-29T19:40:00+11:00",
        readings: [{ value: 15.45, unit: "mm" }],
        grade: 1,
        findings: [],
        services: ["cleaned"],
        notes: "no chipped teeth",
      },
    },
  })(async ({ params, body }, work) => ({ status: 201, body: await logInspection(work, params.id, body) })),

  operation({
    method: "get",
    path: "/v1/pieces/{id}/inspections",
    operationId: "listInspections",
    summary: "List the inspections of a piece",
    description: "In the order of their times, the oldest first.",
    tags: ["inspections"],
    need: "log:read",
    params: ById,
    query: z.strictObject(PageQuery),
    answers: {
      200: {
        description: "A page of inspections, oldest first.",
        body: pageOf(Inspection, "InspectionPage"),
      },
    },
    problems: [404],
  })(async ({ params, query }, work, c) =>
    pageReply(await listInspections(work, params.id, pageFrom(query)), (one) => one, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/inspections/{id}",
    operationId: "getInspection",
    summary: "Read an inspection",
    tags: ["inspections"],
    need: "log:read",
    record: "inspections",
    params: ById,
    answers: { 200: { description: "The inspection.", body: Inspection } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await readInspection(work, params.id) })),

  operation({
    method: "delete",
    path: "/v1/inspections/{id}",
    operationId: "deleteInspection",
    summary: "Delete an inspection that was logged wrongly",
    description: "Log the right one instead.",
    tags: ["inspections"],
    need: "log:write",
    record: "inspections",
    params: ById,
    answers: { 204: { description: "The inspection and its readings are gone." } },
    problems: [404],
  })(async ({ params }, work) => {
    await deleteInspection(work, params.id);
    return { status: 204 };
  }),
];
