import { afterAll, beforeAll, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** When something happened: not in the future, for it would act at once, and not before there was anything to log. */
let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
let fitted: any;
let other: any;
let fitting: any;
const future = "2029-05-01T10:00:00Z";
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  garage = await startGarage(service);
  const { must } = service.owner;
  const made = (mark: string) =>
    must("POST", "/v1/pieces", { driverId: garage.driver.id, lineId: garage.line.id, mark });
  fitted = await made("spur 1");
  other = await made("spur 2");
  const fitAt = (position: string, pieceId: string) =>
    must("POST", `/v1/cars/${garage.car.id}/fittings`, {
      position,
      at: "2026-11-01T10:00:00Z",
      piece: { pieceId },
    });
  fitting = await fitAt("spur", fitted.id);
  await fitAt("second spur", other.id);
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

const logged = (at: string): [string, string, string, object, string][] => {
  const { car, line, supplier, home } = garage;
  const piece = { lineId: line.id, mark: "spur 3", from: "none" };
  const moved = { lineId: line.id, locationId: home.id, pieces: 1, at };
  const readings = [{ value: 15.48, unit: "mm" }];
  return [
    ["POST", "/v1/runs", "#/at", { carId: car.id, at, minutes: 5, surface: "asphalt" }, "A run"],
    ["POST", `/v1/pieces/${fitted.id}/inspections`, "#/at", { at, readings }, "An inspection"],
    ["POST", `/v1/pieces/${fitted.id}/removal`, "#/at", { at }, "A removal"],
    ["PUT", `/v1/pieces/${fitted.id}/retirement`, "#/at", { at, retiredFor: "worn" }, "A retirement"],
    ["POST", `/v1/cars/${car.id}/fittings`, "#/at", { position: "spur", at, piece }, "A fitting"],
    ["POST", `/v1/cars/${car.id}/replacements`, "#/at", { position: "spur", at, piece }, "A replacement"],
    ["POST", "/v1/swaps", "#/at", { pieceIds: [fitted.id, other.id], at }, "A swap"],
    ["PATCH", `/v1/fittings/${fitting.id}`, "#/fittedAt", { fittedAt: at }, "A fitting"],
    ["PATCH", `/v1/fittings/${fitting.id}`, "#/removedAt", { removedAt: at }, "A removal"],
    ["POST", "/v1/movements", "#/at", { ...moved, reason: "received" }, "A movement"],
    [
      "POST",
      "/v1/stocktakes",
      "#/at",
      { locationId: home.id, at, counts: [{ lineId: line.id, pieces: 3 }] },
      "A count",
    ],
    [
      "POST",
      "/v1/orders",
      "#/placedAt",
      {
        supplierId: supplier.id,
        locationId: home.id,
        placedAt: at,
        lines: [{ lineId: line.id, packs: 1 }],
      },
      "An order",
    ],
  ];
};

it("whatever is logged at a moment of the future is refused in the same words, with the member, and nothing is kept", async () => {
  for (const [method, path, pointer, body, what] of logged(future)) {
    const answer = await service.owner.send(method, path, body);
    expect([path, answer.status, answer.body.type]).toEqual([path, 409, "/problems/out_of_order"]);
    expect(answer.body.detail).toBe(
      `${what} at 2029-05-01T10:00:00.000Z is in the future; log it when it has happened`,
    );
    expect(answer.body.errors[0].pointer).toBe(pointer);
  }
  const piece = (await service.owner.get(`/v1/pieces/${fitted.id}`)).body;
  expect([piece.state, piece.retiredAt, piece.fittings.length]).toEqual(["fitted", null, 1]);
  expect((await service.owner.get("/v1/movements")).body.items).toEqual([]);
});

it("the receipt of an order cannot lie in the future either", async () => {
  const { supplier, home, line } = garage;
  const lines = [{ lineId: line.id, packs: 1 }];
  const order = await service.owner.must("POST", "/v1/orders", {
    supplierId: supplier.id,
    locationId: home.id,
    placedAt: "2026-11-20T10:00:00Z",
    lines,
  });
  const receipt = { at: future, lines: [{ lineId: line.id, pieces: 1 }] };
  const { status, body } = await service.owner.post(`/v1/orders/${order.id}/receipts`, receipt);
  expect([status, body.type, body.errors[0].pointer]).toEqual([409, "/problems/out_of_order", "#/at"]);
});

it("a clock that is some hours ahead is heeded: a removal of this evening is taken in the morning", async () => {
  const at = "2026-12-01T20:00:00Z";
  expect((await service.owner.post(`/v1/pieces/${other.id}/removal`, { at })).status).toBe(200);
});

it("a year before 1980 is a slip: every logged moment is refused with 422, its member and what is allowed", async () => {
  for (const [method, path, pointer, body] of logged("1870-06-01T10:00:00Z")) {
    const answer = await service.owner.send(method, path, body);
    expect([path, answer.status, answer.body.errors]).toEqual([
      path,
      422,
      [{ pointer, detail: "must not be before 1980-01-01: look at the year" }],
    ]);
  }
});

it("imports refuse moments of the future and before 1980 at their cell", async () => {
  const { driver, line, home } = garage;
  const faults = async (table: string, row: object) => {
    const body = JSON.stringify([row]);
    const type = { "content-type": "application/json" };
    const answer = await service.owner.send("POST", `/v1/imports/${table}`, body, type);
    return [answer.status, ...answer.body.errors.map((one: any) => `${one.pointer}: ${one.detail}`)];
  };
  const piece = { driverId: driver.id, lineId: line.id, mark: "spur 8", retiredFor: "worn" };
  expect(await faults("pieces", { ...piece, retiredAt: future })).toEqual([
    422,
    "#/rows/0/retiredAt: row 1, retiredAt: is in the future; log what became of a piece when it has happened",
  ]);
  const place = { car: "Una Wickerley / First car", position: "spur" };
  for (const [column, ats] of [
    ["fittedAt", { fittedAt: future }],
    ["removedAt", { fittedAt: "2026-10-01T10:00:00Z", removedAt: future }],
  ] as const)
    expect((await faults("pieces", { ...piece, retiredFor: undefined, ...place, ...ats }))[1]).toContain(
      `#/rows/0/${column}: `,
    );
  const count = { locationId: home.id, lineId: line.id, pieces: 2 };
  expect(await faults("stock", { ...count, at: future })).toEqual([
    422,
    "#/rows/0/at: row 1, at: is in the future; log a count when it was taken",
  ]);
  expect(await faults("stock", { ...count, at: "1870-01-01T10:00:00Z" })).toEqual([
    422,
    "#/rows/0/at: row 1, at: must not be before 1980-01-01: look at the year",
  ]);
});

it("a last day that is past is refused at its member", async () => {
  const { body } = await service.owner.get("/v1/restock-list?through=2026-11-01");
  expect([body.title, body.errors]).toEqual([
    "A time is out of order",
    [{ pointer: "#/through", detail: "is past: today is 2026-12-01" }],
  ]);
});
