import { z } from "zod";
import { surfaces } from "../../domain/kind.ts";
import { changeRecord, listRecords, makeRecord, readRecord } from "../../services/keep-records.ts";
import type { VenueRow } from "../../storage/tables.ts";
import { operation } from "../operation.ts";
import {
  ById,
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

export const SurfaceWord = z.enum(surfaces).meta({
  description: "what the cars run on; it changes wear by factors",
  example: "asphalt",
});
const Direction = z
  .enum(["clockwise", "anticlockwise"])
  .nullable()
  .meta({ description: "which way round; null where it changes", example: "clockwise" });

const Venue = z
  .object({
    id: Id,
    name: z.string().meta({ example: "Ferris Lane" }),
    surface: SurfaceWord,
    direction: Direction,
    notes: Notes,
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Venue", description: "a place where meetings are held" });
const venueFromRow = (row: VenueRow) => ({ ...row, surface: row.surface as z.infer<typeof SurfaceWord> });

const VenueGiven = z.strictObject({
  name: text(100),
  surface: SurfaceWord,
  direction: Direction.default(null),
  notes: Notes.default(null),
});
const VenueChanges = z
  .strictObject({ name: text(100), surface: SurfaceWord, direction: Direction, notes: Notes })
  .partial();

export const venueOperations = [
  operation({
    method: "post",
    path: "/v1/venues",
    operationId: "addVenue",
    summary: "Add a venue",
    tags: ["catalogue"],
    need: "catalogue:write",
    record: "venues",
    body: VenueGiven,
    answers: { 201: { description: "The venue.", body: Venue } },
    problems: [409],
    example: {
      body: { name: "Saltmarsh Hall", surface: "carpet", direction: "anticlockwise", notes: "Friday nights" },
    },
  })(async ({ body }, work) => ({
    status: 201,
    body: venueFromRow(await makeRecord(work, "venues", "venue", body)),
  })),

  operation({
    method: "get",
    path: "/v1/venues",
    operationId: "listVenues",
    summary: "List the venues",
    description: "In the order in which they were added.",
    tags: ["catalogue"],
    need: "catalogue:read",
    query: z.strictObject(PageQuery),
    answers: { 200: { description: "A page of venues.", body: pageOf(Venue, "VenuePage") } },
  })(async ({ query }, work, c) =>
    pageReply(await listRecords(work, "venues", pageFrom(query)), venueFromRow, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/venues/{id}",
    operationId: "getVenue",
    summary: "Read a venue",
    tags: ["catalogue"],
    need: "catalogue:read",
    record: "venues",
    params: ById,
    answers: { 200: { description: "The venue.", body: Venue } },
    problems: [404],
  })(async ({ params }, work) => ({
    status: 200,
    body: venueFromRow(await readRecord(work, "venues", "venue", params.id)),
  })),

  operation({
    method: "patch",
    path: "/v1/venues/{id}",
    operationId: "changeVenue",
    summary: "Change a venue",
    description: "Meetings that are in the calendar already keep the surface they were given.",
    tags: ["catalogue"],
    need: "catalogue:write",
    record: "venues",
    params: ById,
    body: VenueChanges,
    answers: { 200: { description: "The venue as it is now.", body: Venue } },
    problems: [404, 409],
    example: { body: { surface: "coarse-asphalt", notes: "resurfaced in spring" } },
  })(async ({ params, body }, work) => ({
    status: 200,
    body: venueFromRow(await changeRecord(work, "venues", "venue", params.id, body)),
  })),
];
