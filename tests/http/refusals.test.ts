import { afterAll, beforeAll, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** What a refusal says: which member, and what would do. */
let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  garage = await startGarage(service);
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

const at = "2026-11-10T10:00:00Z";
const run = (more: object) => ({ carId: garage.car.id, at, minutes: 5, surface: "asphalt", ...more });
const piece = (more: object) => ({
  driverId: garage.driver.id,
  lineId: garage.line.id,
  mark: "spur 1",
  ...more,
});

it("a run without a surface, where no meeting says one, is refused with 422 at #/surface", async () => {
  const { status, body } = await service.owner.post("/v1/runs", run({ surface: null }));
  expect([status, body.type]).toEqual([422, "/problems/inconsistent"]);
  expect(body.errors).toEqual([{ pointer: "#/surface", detail: "must be given where no meeting is named" }]);
});

it("an id in the body that nothing has is refused with 404 at its member, however deep it lies", async () => {
  const { supplier, home, line, car, kind } = garage;
  const asked: [string, object, string][] = [
    ["/v1/runs", run({ carId: "none" }), "#/carId"],
    ["/v1/runs", run({ packId: "none" }), "#/packId"],
    ["/v1/runs", run({ meetingId: "none" }), "#/meetingId"],
    ["/v1/pieces", piece({ driverId: "none" }), "#/driverId"],
    ["/v1/pieces", piece({ lineId: "none" }), "#/lineId"],
    [`/v1/cars/${car.id}/fittings`, { position: "spur", at, piece: { pieceId: "none" } }, "#/piece/pieceId"],
    ["/v1/swaps", { pieceIds: ["none", "none too"], at }, "#/pieceIds/0"],
    ["/v1/stocktakes", { locationId: "none", at, counts: [{ lineId: line.id, pieces: 1 }] }, "#/locationId"],
    [
      "/v1/orders",
      {
        supplierId: supplier.id,
        locationId: home.id,
        placedAt: at,
        lines: [
          { lineId: line.id, packs: 1 },
          { lineId: "none", packs: 1 },
        ],
      },
      "#/lines/1/lineId",
    ],
    ["/v1/lines", { sku: "T-9", name: "N", kindId: "none", priceMinorUnits: 1 }, "#/kindId"],
    ["/v1/lines", { sku: "T-9", name: "N", kindId: kind.id, priceMinorUnits: 1, fits: ["none"] }, "#/fits/0"],
  ];
  for (const [path, body, pointer] of asked) {
    const answer = await service.owner.post(path, body);
    expect([path, answer.status, answer.body.errors]).toEqual([
      path,
      404,
      [{ pointer, detail: answer.body.detail }],
    ]);
    expect(answer.body.detail).toMatch(/^There is no .* with id none$/);
  }
});

it("an unknown id of the path has no pointer, for no member is wrong", async () => {
  const { status, body } = await service.owner.post("/v1/pieces/none/removal", { at });
  expect([status, body.errors]).toEqual([404, undefined]);
});

it("a position that the car has not is refused at #/position, with those it has", async () => {
  const { status, body } = await service.owner.post(`/v1/cars/${garage.car.id}/fittings`, {
    position: "rear wing",
    at,
    piece: { lineId: garage.line.id, mark: "spur 2", from: "none" },
  });
  expect([status, body.errors[0].pointer]).toEqual([404, "#/position"]);
  expect(body.detail).toContain('"spur", "second spur"');
});

it("GET /v1/cars/{id}/pit-list: 404 for a meeting that is not there, 409 for one that is past or that the car does not attend", async () => {
  const { car } = garage;
  const meeting = (name: string, startsOn: string) =>
    service.owner.must("POST", "/v1/meetings", {
      name,
      startsOn,
      surface: "asphalt",
      plannedRuns: 5,
      minutesPerRun: 5,
    });
  const ask = async (meetingId: string) => {
    const { status, body } = await service.owner.get(`/v1/cars/${car.id}/pit-list?meetingId=${meetingId}`);
    return [status, body.type, body.errors?.[0].pointer];
  };
  expect(await ask("none")).toEqual([404, "/problems/not_found", "#/meetingId"]);
  const past = await meeting("Round 1", "2026-11-01");
  expect(await ask(past.id)).toEqual([409, "/problems/nothing_to_forecast", "#/meetingId"]);
  const ahead = await meeting("Round 2", "2026-12-20");
  await service.owner.must("PUT", `/v1/meetings/${ahead.id}/entries/${car.id}`, { attends: false });
  expect(await ask(ahead.id)).toEqual([409, "/problems/nothing_to_forecast", "#/meetingId"]);
});

it("a run of 0 minutes is refused with 422 at its minutes, logged, as one of a meeting or as a correction, unless it says a knock or a pack", async () => {
  const { car, packLine, driver } = garage;
  const { must, post, patch } = service.owner;
  const still = run({ minutes: 0, at: "2026-11-11T10:00:00Z" });
  const refused = async (answer: Promise<{ status: number; body: any }>) => {
    const { status, body } = await answer;
    return [status, body.type, body.errors?.map(({ pointer }: any) => pointer)];
  };
  const empty = (pointer: string) => [422, "/problems/inconsistent", [pointer]];
  const first = await post("/v1/runs", still);
  expect(first.body.detail).toMatch(/^minutes must be more than 0 where no knock was counted and no pack/);
  expect(await refused(post("/v1/runs", still))).toEqual(empty("#/minutes"));

  const meeting = { name: "Round 0", startsOn: "2026-11-11", surface: "asphalt", plannedRuns: 2 };
  const { id } = await must("POST", "/v1/meetings", { ...meeting, minutesPerRun: 5 });
  const ofMeeting = { runs: [run({ at: "2026-11-11T11:00:00Z" }), still] };
  expect(await refused(post(`/v1/meetings/${id}/runs`, ofMeeting))).toEqual(empty("#/runs/1/minutes"));

  const knocked = await must("POST", "/v1/runs", { ...still, knocks: 1 });
  expect(await refused(patch(`/v1/runs/${knocked.id}`, { knocks: 0 }))).toEqual(empty("#/minutes"));
  expect((await patch(`/v1/runs/${knocked.id}`, { knocks: 0, minutes: 0.1 })).status).toBe(200);
  expect(await refused(patch(`/v1/runs/${knocked.id}`, { minutes: 0 }))).toEqual(empty("#/minutes"));

  const pack = await must("POST", "/v1/pieces", { driverId: driver.id, lineId: packLine.id, mark: "pack 1" });
  const charged = run({ at: "2026-11-11T12:00:00Z", minutes: 0, packId: pack.id });
  expect((await post("/v1/runs", charged)).status).toBe(201);
  expect((await service.owner.get(`/v1/runs?carId=${car.id}`)).body.items).toHaveLength(2);
});

it("a place that a new piece cannot be taken from is refused with what may be said there", async () => {
  const { car, line } = garage;
  const { status, body } = await service.owner.post(`/v1/cars/${car.id}/fittings`, {
    ...{ position: "spur", at, piece: { lineId: line.id, mark: "spur 7", from: "home" } },
  });
  expect([status, body.errors[0].pointer]).toEqual([404, "#/piece/from"]);
  expect(body.detail).toBe(
    'There is no location with id "home": say "own" (the driver\'s pit box, or else home), "none" (it never was in stock), or the id of a location',
  );
});

it("a piece of another kind than a position takes is refused with both kinds", async () => {
  const { car, packLine } = garage;
  const { status, body } = await service.owner.post(`/v1/cars/${car.id}/fittings`, {
    ...{ position: "spur", at, piece: { lineId: packLine.id, mark: "pack 7", from: "none" } },
  });
  expect([status, body.type]).toEqual([409, "/problems/wrong_kind"]);
  expect(body.detail).toBe(
    'pack 7 is of the kind "Pack of the tests"; "spur" of this car takes "Spur of the tests"',
  );
});

it("a reading that is questioned is shown as it was entered, and a question has no full stop after it", async () => {
  const { id } = await service.owner.must("POST", "/v1/pieces", piece({ mark: "spur 8", asNew: 15.485 }));
  const looked = (value: number, unit: string) =>
    service.owner.post(`/v1/pieces/${id}/inspections`, { at, readings: [{ value, unit }] });
  const { status, body } = await looked(0.7698, "in");
  expect([status, body.errors[0].pointer]).toEqual([409, "#/readings/0/value"]);
  expect(body.detail).toMatch(
    /^0\.7698 in \(19\.55 mm\) is more than the 15\.48 mm read before, .* place\? Look again; /,
  );
  expect((await looked(15.1, "mm")).body.detail).toMatch(/\(at most about [\d.]+ mm\)\. Look again; /);
});

it("a season that ends before it begins, or lasts for years, is refused at its last day", async () => {
  const cost = (query: string) => service.owner.get(`/v1/season-cost?${query}`);
  for (const [query, type, detail] of [
    ["from=2027-02-01&through=2027-01-01", "out_of_order", "must not be before from, which is 2027-02-01"],
    [
      "from=2026-02-01&through=2031-01-01",
      "inconsistent",
      "must be at most 36 months after from, which is 2026-02-01",
    ],
  ]) {
    const { body } = await cost(query!);
    expect([body.type, body.errors]).toEqual([`/problems/${type}`, [{ pointer: "#/through", detail }]]);
  }
});
