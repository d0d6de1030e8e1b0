import { z } from "zod";
import { changeClub, readClub } from "../../services/keep-club.ts";
import { addDriver, changeDriver, driverSeenBy } from "../../services/keep-drivers.ts";
import { listRecords, readRecord } from "../../services/keep-records.ts";
import { operation } from "../operation.ts";
import {
  ById,
  Currency,
  Id,
  Instant,
  Notes,
  PageQuery,
  pageFrom,
  pageOf,
  pageReply,
  text,
  Version,
} from "../schemas.ts";

const Club = z
  .object({
    id: Id,
    name: z.string().meta({ example: "Quillbrook Radio Car Club" }),
    currency: Currency,
    timeZone: z
      .string()
      .meta({ description: "time zone name of the IANA database", example: "Australia/Melbourne" }),
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Club" });

const isTimeZone = (name: string) => {
  try {
    new Intl.DateTimeFormat("en", { timeZone: name });
    return true;
  } catch {
    return false;
  }
};
const ClubChanges = z.strictObject({
  name: text(100).optional(),
  currency: Currency.optional(),
  timeZone: text(60)
    .refine(isTimeZone, "must be a time zone name such as Australia/Melbourne")
    .optional()
    .meta({ description: "time zone name of the IANA database" }),
});

const SharesDemand = z.boolean().meta({
  description:
    "whether what this driver's cars will need counts in the plan of the shelf; the shop sees sums over three drivers or more, never a log",
});
const Driver = z
  .object({
    id: Id,
    name: z.string().meta({ example: "Mara Tindle" }),
    notes: Notes.meta({ description: "null too where another driver's or the shop's key asks" }),
    sharesDemand: SharesDemand.nullable().meta({
      description:
        "whether what this driver's cars will need counts in the plan of the shelf; null where another driver's or the shop's key asks",
      example: true,
    }),
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Driver" });
const DriverChanges = z.strictObject({
  name: text(100).optional(),
  notes: Notes.optional(),
  sharesDemand: SharesDemand.optional(),
});
const DriverGiven = z.strictObject({
  name: text(100),
  notes: Notes.default(null),
  sharesDemand: SharesDemand.default(false),
});

export const clubOperations = [
  operation({
    method: "get",
    path: "/v1/club",
    operationId: "getClub",
    summary: "Read the club",
    tags: ["club"],
    need: "club:read",
    record: "clubs",
    answers: { 200: { description: "The club of the key.", body: Club } },
  })(async (_, work) => ({ status: 200, body: await readClub(work) })),

  operation({
    method: "patch",
    path: "/v1/club",
    operationId: "changeClub",
    summary: "Change the club's name, currency or time zone",
    tags: ["club"],
    need: "club:write",
    record: "clubs",
    concurrency: "required",
    body: ClubChanges,
    answers: { 200: { description: "The club as it is now.", body: Club } },
    example: {
      body: { name: "Quillbrook Radio Car Club", currency: "AUD", timeZone: "Australia/Melbourne" },
    },
  })(async ({ body }, work) => ({ status: 200, body: await changeClub(work, body) })),

  operation({
    method: "post",
    path: "/v1/drivers",
    operationId: "addDriver",
    summary: "Add a driver to the club",
    tags: ["club"],
    need: "club:write",
    record: "drivers",
    body: DriverGiven,
    answers: { 201: { description: "The driver.", body: Driver } },
    problems: [409],
    example: { body: { name: "Una Wickerley", notes: "two cars" } },
  })(async ({ body }, work) => ({ status: 201, body: await addDriver(work, body) })),

  operation({
    method: "get",
    path: "/v1/drivers",
    operationId: "listDrivers",
    summary: "List the drivers",
    description:
      "In the order in which they were added. Everybody sees all names; the notes and what is shared only that driver, the owner and readers.",
    tags: ["club"],
    need: "club:read",
    query: z.strictObject(PageQuery),
    answers: {
      200: {
        description: "A page of drivers, in the order in which they joined.",
        body: pageOf(Driver, "DriverPage"),
      },
    },
  })(async ({ query }, work, c) =>
    pageReply(await listRecords(work, "drivers", pageFrom(query)), driverSeenBy(work), c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/drivers/{id}",
    operationId: "getDriver",
    summary: "Read a driver",
    tags: ["club"],
    need: "club:read",
    record: "drivers",
    params: ById,
    answers: { 200: { description: "The driver.", body: Driver } },
    problems: [404],
  })(async ({ params }, work) => ({
    status: 200,
    body: driverSeenBy(work)(await readRecord(work, "drivers", "driver", params.id)),
  })),

  operation({
    method: "patch",
    path: "/v1/drivers/{id}",
    operationId: "changeDriver",
    summary: "Change a driver's name, notes, or whether their demand is shared",
    description:
      "A driver's own key may change the notes and whether the demand is shared, of that driver alone; names are the owner's.",
    tags: ["club"],
    need: "log:write",
    record: "drivers",
    params: ById,
    body: DriverChanges,
    answers: { 200: { description: "The driver as it is now.", body: Driver } },
    problems: [404, 409],
    example: { body: { notes: "drives two cars" } },
  })(async ({ params, body }, work) => ({
    status: 200,
    body: await changeDriver(work, params.id, body),
  })),
];
