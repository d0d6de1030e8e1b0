import { z } from "zod";
import { addLocation, readLocation, renameLocation } from "../../services/keep-locations.ts";
import { listLocations } from "../../services/reach-locations.ts";
import { operation } from "../operation.ts";
import { ById, Id, Instant, PageQuery, pageFrom, pageOf, pageReply, text, Version } from "../schemas.ts";

export const LocationSort = z.enum(["home", "pit-box", "shelf"]).meta({
  description: "a driver's home or pit box, or the club shop's shelf",
  example: "pit-box",
});
const DriverId = Id.nullable().meta({ description: "whose it is; null for a shelf" });

const Location = z
  .object({
    id: Id,
    name: z.string().meta({ example: "Mara's pit box" }),
    sort: LocationSort,
    driverId: DriverId,
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Location", description: "where pieces lie" });

export const locationOperations = [
  operation({
    method: "post",
    path: "/v1/locations",
    operationId: "addLocation",
    summary: "Add a home, a pit box or a shelf",
    description:
      "A driver's key adds its own homes and pit boxes and may leave `driverId` out; the shop's key adds shelves.",
    tags: ["stock"],
    need: "stock:write",
    record: "locations",
    body: z.strictObject({
      name: text(100),
      sort: LocationSort,
      driverId: DriverId.optional(),
    }),
    answers: { 201: { description: "The location.", body: Location } },
    problems: [404],
    example: { body: { name: "Trailer shelf", sort: "shelf" } },
  })(async ({ body }, work) => ({ status: 201, body: await addLocation(work, body) })),

  operation({
    method: "get",
    path: "/v1/locations",
    operationId: "listLocations",
    summary: "List the locations whose levels you may read",
    description:
      "In the order in which they were added. A driver sees their own and the shelves, the shop the shelves, others all.",
    tags: ["stock"],
    need: "stock:read",
    query: z.strictObject({
      sort: LocationSort.optional(),
      driverId: Id.optional().meta({ description: "only locations of this driver" }),
      ...PageQuery,
    }),
    answers: { 200: { description: "A page of locations.", body: pageOf(Location, "LocationPage") } },
    problems: [404],
    example: { query: { sort: "shelf" } },
  })(async ({ query: { limit, after, ...only } }, work, c) =>
    pageReply(await listLocations(work, pageFrom({ limit, after }), only), (row) => row, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/locations/{id}",
    operationId: "getLocation",
    summary: "Read a location",
    tags: ["stock"],
    need: "stock:read",
    record: "locations",
    params: ById,
    answers: { 200: { description: "The location.", body: Location } },
    problems: [404],
  })(async ({ params }, work) => ({
    status: 200,
    body: await readLocation(work, params.id),
  })),

  operation({
    method: "patch",
    path: "/v1/locations/{id}",
    operationId: "renameLocation",
    summary: "Rename a location",
    description: "Its sort and its driver stay, for its movements were made there.",
    tags: ["stock"],
    need: "stock:write",
    record: "locations",
    params: ById,
    body: z.strictObject({ name: text(100).optional() }),
    answers: { 200: { description: "The location as it is now.", body: Location } },
    problems: [404],
    example: { body: { name: "Grey pit box" } },
  })(async ({ params, body }, work) => ({
    status: 200,
    body: await renameLocation(work, params.id, body.name),
  })),
];
