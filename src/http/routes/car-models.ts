import { z } from "zod";
import { changeRecord, listRecords, makeRecord, readRecord } from "../../services/keep-records.ts";
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
  positive,
  text,
  Version,
} from "../schemas.ts";

/** Cars and meetings are matched by this word, so that its spelling is kept to one form. */
export const Discipline = text(40)
  .regex(
    /^[a-z0-9]+(-[a-z0-9]+)*$/,
    'must be lower-case words joined by hyphens, such as "touring" or "buggy-4wd"',
  )
  .meta({ description: "what sort of racing; cars and meetings are matched by it", example: "touring" });

const InternalRatio = positive.nullable().meta({
  description: "fixed reduction after the spur, turns of the spur for one turn of the wheel",
  example: 2.1,
});

const CarModel = z
  .object({
    id: Id,
    name: z.string().meta({ example: "Thornbill" }),
    discipline: Discipline,
    internalRatio: InternalRatio,
    notes: Notes,
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "CarModel", description: "a car as its maker sells it: what lines fit" });
const CarModelGiven = z.strictObject({
  name: text(100),
  discipline: Discipline,
  internalRatio: InternalRatio.default(null),
  notes: Notes.default(null),
});
const CarModelChanges = z
  .strictObject({ name: text(100), discipline: Discipline, internalRatio: InternalRatio, notes: Notes })
  .partial();

export const carModelOperations = [
  operation({
    method: "post",
    path: "/v1/car-models",
    operationId: "addCarModel",
    summary: "Add a car model",
    tags: ["catalogue"],
    need: "catalogue:write",
    record: "carModels",
    body: CarModelGiven,
    answers: { 201: { description: "The car model.", body: CarModel } },
    problems: [409],
    example: {
      body: { name: "Lyrebird", discipline: "touring", internalRatio: 2.0, notes: "belt drive, 190 mm" },
    },
  })(async ({ body }, work) => ({
    status: 201,
    body: await makeRecord(work, "carModels", "car model", body),
  })),

  operation({
    method: "get",
    path: "/v1/car-models",
    operationId: "listCarModels",
    summary: "List the car models",
    description: "In the order in which they were added.",
    tags: ["catalogue"],
    need: "catalogue:read",
    query: z.strictObject({
      discipline: Discipline.optional().meta({ description: "only models of this discipline" }),
      ...PageQuery,
    }),
    answers: { 200: { description: "A page of car models.", body: pageOf(CarModel, "CarModelPage") } },
    example: { query: { discipline: "touring" } },
  })(async ({ query }, work, c) =>
    pageReply(
      await listRecords(work, "carModels", pageFrom(query), { discipline: query.discipline }),
      (row) => row,
      c.req.url,
    ),
  ),

  operation({
    method: "get",
    path: "/v1/car-models/{id}",
    operationId: "getCarModel",
    summary: "Read a car model",
    tags: ["catalogue"],
    need: "catalogue:read",
    record: "carModels",
    params: ById,
    answers: { 200: { description: "The car model.", body: CarModel } },
    problems: [404],
  })(async ({ params }, work) => ({
    status: 200,
    body: await readRecord(work, "carModels", "car model", params.id),
  })),

  operation({
    method: "patch",
    path: "/v1/car-models/{id}",
    operationId: "changeCarModel",
    summary: "Change a car model",
    tags: ["catalogue"],
    need: "catalogue:write",
    record: "carModels",
    params: ById,
    body: CarModelChanges,
    answers: { 200: { description: "The car model as it is now.", body: CarModel } },
    problems: [404, 409],
    example: { body: { internalRatio: 2.05 } },
  })(async ({ params, body }, work) => ({
    status: 200,
    body: await changeRecord(work, "carModels", "car model", params.id, body),
  })),
];
