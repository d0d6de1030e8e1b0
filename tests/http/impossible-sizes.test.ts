import { afterAll, beforeAll, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** A size that cannot be is refused wherever it comes in, for one of them spoils the fit of the line for everybody. */
let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
let piece: any;
const at = "2026-11-10T10:00:00Z";
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  garage = await startGarage(service);
  const given = { driverId: garage.driver.id, lineId: garage.line.id, mark: "spur 1", asNew: 15.48 };
  piece = await service.owner.must("POST", "/v1/pieces", given);
  const fitting = { position: "spur", at: "2026-11-01T10:00:00Z", piece: { pieceId: piece.id } };
  await service.owner.must("POST", `/v1/cars/${garage.car.id}/fittings`, fitting);
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

const whole = "must be from 15.385 to 15.585 mm";

it("POST and PATCH of a piece, a fitting and a replacement refuse an as-new size that cannot be: 422 at its member, and what may be", async () => {
  const { driver, line, car } = garage;
  const made = { lineId: line.id, mark: "spur 2", from: "none" };
  const ways: [string, string, (asNew: number) => object, string][] = [
    ["POST", "/v1/pieces", (asNew) => ({ driverId: driver.id, lineId: line.id, mark: "spur 2", asNew }), "#"],
    ["PATCH", `/v1/pieces/${piece.id}`, (asNew) => ({ asNew }), "#"],
    [
      "POST",
      `/v1/cars/${car.id}/fittings`,
      (asNew) => ({ position: "second spur", at, piece: { ...made, asNew } }),
      "#/piece",
    ],
    [
      "POST",
      `/v1/cars/${car.id}/replacements`,
      (asNew) => ({ position: "spur", at, piece: { ...made, asNew } }),
      "#/piece",
    ],
  ];
  for (const [method, path, body, member] of ways)
    for (const [asNew, allowed] of [
      [-10, "must be at least 0 mm"],
      [1000, whole],
      [12, whole],
    ] as const) {
      const answer = await service.owner.send(method, path, body(asNew));
      expect([path, answer.status, answer.body.type]).toEqual([path, 422, "/problems/inconsistent"]);
      expect(answer.body.errors).toEqual([
        { pointer: `${member}/asNew`, detail: expect.stringContaining(allowed) },
      ]);
    }
  const kept = await service.owner.get(`/v1/pieces?lineId=${line.id}`);
  expect(kept.body.items.map((one: any) => [one.mark, one.asNew, one.state])).toEqual([
    ["spur 1", 15.48, "fitted"],
  ]);
});

it("PATCH of a piece refuses a prior usage of more than a hundred usual lives, and takes other members as before", async () => {
  const { status, body } = await service.owner.patch(`/v1/pieces/${piece.id}`, { priorUsage: 1e9 });
  expect([status, body.errors]).toEqual([
    422,
    [{ pointer: "#/priorUsage", detail: "must be at most 103000 minutes: 100 times the usual life" }],
  ]);
  const noted = await service.owner.patch(`/v1/pieces/${piece.id}`, { notes: "front", priorUsage: 300 });
  expect([noted.status, noted.body.priorUsage, noted.body.asNew]).toEqual([200, 300, 15.48]);
});

it("a reading below 0 is refused even where it is confirmed, and nothing is kept", async () => {
  const path = `/v1/pieces/${piece.id}/inspections`;
  for (const confirmed of [false, true]) {
    const readings = [
      { value: 15.47, unit: "mm" },
      { value: -3, unit: "mm" },
    ];
    const { status, body } = await service.owner.post(path, { at, readings, confirmed });
    expect([status, body.type, body.errors]).toEqual([
      422,
      "/problems/inconsistent",
      [
        {
          pointer: "#/readings/1/value",
          detail: "must be at least 0 mm: the span over 10 teeth is never negative",
        },
      ],
    ]);
  }
  expect((await service.owner.get(path)).body.items).toEqual([]);
});

it("imports of pieces and readings refuse them at their cell", async () => {
  const faults = async (table: string, row: object) => {
    const type = { "content-type": "application/json" };
    const answer = await service.owner.send("POST", `/v1/imports/${table}`, JSON.stringify([row]), type);
    return [answer.status, ...answer.body.errors.map((one: any) => one.detail)];
  };
  const given = { driverId: garage.driver.id, lineId: garage.line.id, mark: "spur 7" };
  expect(await faults("pieces", { ...given, asNew: -5, unit: "mm" })).toEqual([
    422,
    "row 1, asNew: must be at least 0 mm: the span over 10 teeth is never negative",
  ]);
  expect(await faults("pieces", { ...given, priorUsage: 1e6 })).toEqual([
    422,
    "row 1, priorUsage: must be at most 103000 minutes: 100 times the usual life",
  ]);
  const reading = { pieceId: piece.id, at, value: -3, unit: "mm", confirmed: true };
  expect(await faults("readings", reading)).toEqual([
    422,
    "row 1, value: must be at least 0 mm: the span over 10 teeth is never negative",
  ]);
});

it("a line's own as-new size is not below 0 either", async () => {
  const { status, body } = await service.owner.patch(`/v1/lines/${garage.line.id}`, { asNew: -5 });
  expect([status, body.errors[0].pointer]).toEqual([422, "#/asNew"]);
});
