import { z } from "zod";
import { changeRecord, listRecords, makeRecord, readRecord } from "../../services/keep-records.ts";
import { operation } from "../operation.ts";
import {
  ById,
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

const days = z.number().min(0, "must be at least 0 days").max(3650, "must be at most 3650 days");
const members = {
  leadTimeDays: days.meta({
    description: "days from order to arrival that the supplier is believed to take, on average",
    example: 6,
  }),
  leadTimeSdDays: days.meta({
    description: "standard deviation of the lead time in days; 0 only for one who is never late or early",
    example: 3,
  }),
  minimumOrderMinorUnits: MinorUnits.meta({
    description: "smallest order the supplier takes, in minor units of the club's currency; 0 for none",
    example: 15000,
  }),
};

const Supplier = z
  .object({
    id: Id,
    name: z.string().meta({ example: "Harrowmead Trade" }),
    ...members,
    notes: Notes,
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Supplier", description: "where lines are bought" });
const SupplierGiven = z.strictObject({
  name: text(100),
  ...members,
  minimumOrderMinorUnits: members.minimumOrderMinorUnits.default(0),
  notes: Notes.default(null),
});
const SupplierChanges = z.strictObject({ name: text(100), ...members, notes: Notes }).partial();

export const supplierOperations = [
  operation({
    method: "post",
    path: "/v1/suppliers",
    operationId: "addSupplier",
    summary: "Add a supplier",
    tags: ["lines"],
    need: "lines:write",
    record: "suppliers",
    body: SupplierGiven,
    answers: { 201: { description: "The supplier.", body: Supplier } },
    problems: [409],
    example: {
      body: {
        name: "Tansy Import Desk",
        leadTimeDays: 34,
        leadTimeSdDays: 12,
        minimumOrderMinorUnits: 60000,
        notes: "orders on the last Friday of the month",
      },
    },
  })(async ({ body }, work) => ({
    status: 201,
    body: await makeRecord(work, "suppliers", "supplier", body),
  })),

  operation({
    method: "get",
    path: "/v1/suppliers",
    operationId: "listSuppliers",
    summary: "List the suppliers",
    description: "In the order in which they were added.",
    tags: ["lines"],
    need: "lines:read",
    query: z.strictObject(PageQuery),
    answers: { 200: { description: "A page of suppliers.", body: pageOf(Supplier, "SupplierPage") } },
  })(async ({ query }, work, c) =>
    pageReply(await listRecords(work, "suppliers", pageFrom(query)), (row) => row, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/suppliers/{id}",
    operationId: "getSupplier",
    summary: "Read a supplier",
    tags: ["lines"],
    need: "lines:read",
    record: "suppliers",
    params: ById,
    answers: { 200: { description: "The supplier.", body: Supplier } },
    problems: [404],
  })(async ({ params }, work) => ({
    status: 200,
    body: await readRecord(work, "suppliers", "supplier", params.id),
  })),

  operation({
    method: "patch",
    path: "/v1/suppliers/{id}",
    operationId: "changeSupplier",
    summary: "Change a supplier",
    tags: ["lines"],
    need: "lines:write",
    record: "suppliers",
    concurrency: "required",
    params: ById,
    body: SupplierChanges,
    answers: { 200: { description: "The supplier as it is now.", body: Supplier } },
    problems: [404, 409],
    example: { body: { leadTimeDays: 9, leadTimeSdDays: 4 } },
  })(async ({ params, body }, work) => ({
    status: 200,
    body: await changeRecord(work, "suppliers", "supplier", params.id, body),
  })),
];
