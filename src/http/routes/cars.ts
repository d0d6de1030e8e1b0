import { z } from "zod";
import { addCar, addPosition, fittedCar, getOwnCar, removePosition } from "../../services/keep-cars.ts";
import { askedDriver } from "../../services/keep-drivers.ts";
import { changeRecord, listRecords } from "../../services/keep-records.ts";
import { exampleIds } from "../example-ids.ts";
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

const gearCase = z
  .enum(["open", "vented", "closed"])
  .nullable()
  .meta({ description: "how the gears are covered: dust reaches open ones, grease stays in closed ones" });
const teeth = z.number().int().min(5).max(200).nullable().meta({ description: "number of teeth" });

const carFields = {
  name: text(80).meta({
    description: "what the driver calls it; unique for the driver",
    example: "Thornbill",
  }),
  carModelId: Id.nullable(),
  raceClass: text(80).nullable().meta({ description: "the class it races in", example: "Touring club" }),
  gearCase,
  spurTeeth: teeth,
  pinionTeeth: teeth,
  meshNote: text(500)
    .nullable()
    .meta({ description: "how the mesh is set, for the next time", example: "paper, motor slot 2" }),
  notes: Notes,
};
const Car = z
  .object({ id: Id, driverId: Id, ...carFields, createdAt: Instant, version: Version })
  .meta({ id: "Car" });

const positionFields = {
  name: text(60).meta({ description: "where on the car; unique on the car", example: "front-left tyre" }),
  kindId: Id.meta({ description: "the kind of part it takes" }),
  changedWith: text(40).nullable().meta({
    description: "positions of a car with the same word here are changed together",
    example: "tyres",
  }),
};
const Position = z
  .object({ id: Id, carId: Id, ...positionFields, createdAt: Instant })
  .meta({ id: "Position" });
const PositionGiven = z.strictObject({
  ...positionFields,
  changedWith: positionFields.changedWith.default(null),
});

const FittedPosition = Position.extend({
  kindCode: z.string(),
  fitted: z
    .object({
      fittingId: Id,
      pieceId: Id,
      mark: z.string(),
      lineId: Id,
      sku: z.string(),
      lineName: z.string(),
      fittedAt: Instant,
    })
    .nullable()
    .meta({ description: "the piece there now; null where nothing is fitted" }),
}).meta({ id: "FittedPosition" });
const FittedCar = Car.extend({ positions: z.array(FittedPosition) }).meta({ id: "FittedCar" });

const CarGiven = z.strictObject({
  driverId: Id,
  name: carFields.name,
  carModelId: carFields.carModelId.default(null),
  raceClass: carFields.raceClass.default(null),
  gearCase: gearCase.default(null),
  spurTeeth: teeth.default(null),
  pinionTeeth: teeth.default(null),
  meshNote: carFields.meshNote.default(null),
  notes: Notes.default(null),
  positions: z.array(PositionGiven).max(200).default([]),
});
const CarChanges = z.strictObject(carFields).partial();

export const carOperations = [
  operation({
    method: "post",
    path: "/v1/cars",
    operationId: "addCar",
    summary: "Put a car on the books, with its positions",
    tags: ["cars"],
    need: "log:write",
    record: "cars",
    body: CarGiven,
    answers: { 201: { description: "The car with its positions.", body: FittedCar } },
    problems: [404, 409],
    example: {
      body: {
        driverId: exampleIds.driverId,
        name: "Second car",
        carModelId: exampleIds.carModelId,
        raceClass: "Touring club",
        gearCase: "vented",
        spurTeeth: 87,
        pinionTeeth: 28,
        meshNote: "paper, motor slot 2",
        positions: [{ name: "spur", kindId: exampleIds.kindId, changedWith: "gears" }],
      },
    },
  })(async ({ body }, work) => {
    const { positions, ...car } = body;
    const { id } = await addCar(work, car, positions);
    return { status: 201, body: await fittedCar(work, id) };
  }),

  operation({
    method: "get",
    path: "/v1/cars",
    operationId: "listCars",
    summary: "List the cars",
    description: "In the order in which they were added.",
    tags: ["cars"],
    need: "log:read",
    query: z.strictObject({ ...PageQuery, driverId: Id.optional() }),
    answers: {
      200: {
        description: "A page of cars, in the order in which they were put on the books.",
        body: pageOf(Car, "CarPage"),
      },
    },
    problems: [404],
  })(async ({ query }, work, c) => {
    const driverId = await askedDriver(work, query.driverId);
    return pageReply(await listRecords(work, "cars", pageFrom(query), { driverId }), (row) => row, c.req.url);
  }),

  operation({
    method: "get",
    path: "/v1/cars/{id}",
    operationId: "getCar",
    summary: "Read a car, with what is fitted at each position",
    tags: ["cars"],
    need: "log:read",
    record: "cars",
    params: ById,
    answers: { 200: { description: "The car.", body: FittedCar } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await fittedCar(work, params.id) })),

  operation({
    method: "patch",
    path: "/v1/cars/{id}",
    operationId: "changeCar",
    summary: "Change a car's class, gearing or notes",
    tags: ["cars"],
    need: "log:write",
    record: "cars",
    params: ById,
    body: CarChanges,
    answers: { 200: { description: "The car as it is now.", body: Car } },
    problems: [404, 409],
    example: { body: { pinionTeeth: 27, meshNote: "paper, motor slot 3" } },
  })(async ({ params, body }, work) => {
    await getOwnCar(work, params.id);
    const changed = await changeRecord(work, "cars", "car of this driver", params.id, body, [
      ["carModels", body.carModelId, "car model"],
    ]);
    return { status: 200, body: changed };
  }),

  operation({
    method: "post",
    path: "/v1/cars/{id}/positions",
    operationId: "addPosition",
    summary: "Add a position to a car",
    tags: ["cars"],
    need: "log:write",
    params: ById,
    body: PositionGiven,
    answers: { 201: { description: "The position.", body: Position } },
    problems: [404, 409],
    example: { body: { name: "layshaft", kindId: exampleIds.kindId, changedWith: null } },
  })(async ({ params, body }, work) => ({ status: 201, body: await addPosition(work, params.id, body) })),

  operation({
    method: "delete",
    path: "/v1/cars/{id}/positions/{positionId}",
    operationId: "removePosition",
    summary: "Remove a position where no piece was ever fitted",
    tags: ["cars"],
    need: "log:write",
    params: z.object({ id: Id, positionId: Id }),
    answers: { 204: { description: "The position is gone." } },
    problems: [404, 409],
  })(async ({ params }, work) => {
    await removePosition(work, params.id, params.positionId);
    return { status: 204 };
  }),
];
