import { v7 } from "uuid";
import { afterAll, beforeAll, expect, test } from "vitest";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let asMara: TestService["owner"];
let mara: string;
let una: string;
let hall: string;
let paddock: string;
const cars: Record<string, string> = {};

beforeAll(async () => {
  service = await startTestService();
  const { owner } = service;
  mara = (await owner.must("POST", "/v1/drivers", { name: "Mara Tindle" })).id;
  una = (await owner.must("POST", "/v1/drivers", { name: "Una Wickerley" })).id;
  asMara = await service.as("driver", mara);
  hall = (await owner.must("POST", "/v1/venues", { name: "Dunmere Hall", surface: "carpet" })).id;
  paddock = (await owner.must("POST", "/v1/venues", { name: "Gully Paddock", surface: "dusty-clay" })).id;
  const models: Record<string, string> = {};
  for (const discipline of ["touring", "buggy"])
    models[discipline] = (
      await owner.must("POST", "/v1/car-models", { name: `Model ${discipline}`, discipline })
    ).id;
  const clubId = (await service.club()).id;
  const add = async (name: string, driverId: string, carModelId: string | null) => {
    cars[name] = v7();
    const none = { raceClass: null, gearCase: null, spurTeeth: null, pinionTeeth: null, meshNote: null };
    const kept = { notes: null, createdAt: service.clock.now, version: 1 };
    const row = { id: cars[name], clubId, driverId, carModelId, name, ...none, ...kept };
    await service.db.insertInto("cars").values(row).execute();
  };
  await add("Mara's tourer", mara, models["touring"]!);
  await add("Mara's buggy", mara, models["buggy"]!);
  await add("Una's old car", una, null);
});
afterAll(() => service.close());

const add = (more: object = {}) =>
  service.owner.must("POST", "/v1/meetings", {
    name: "Round",
    startsOn: "2027-02-07",
    venueId: hall,
    ...more,
  });
const entries = async (id: string, caller = service.owner) =>
  (await caller.get(`/v1/meetings/${id}/entries`)).body.items.map(
    (e: { carName: string; attends: boolean; plannedRuns: number; stated: boolean }) => [
      e.carName,
      e.attends,
      e.plannedRuns,
      e.stated,
    ],
  );

test("a meeting takes the venue's surface, one day and six runs of 5.5 minutes unless told otherwise", async () => {
  expect(await add()).toMatchObject({
    surface: "carpet",
    days: 1,
    plannedRuns: 6,
    minutesPerRun: 5.5,
    discipline: null,
  });
  expect((await add({ surface: "asphalt" })).surface).toBe("asphalt");
  expect((await add({ venueId: null, surface: "astro" })).surface).toBe("astro");
  const bare = await service.owner.post("/v1/meetings", { name: "Round", startsOn: "2027-02-07" });
  expect([bare.status, bare.body.errors[0].pointer]).toEqual([422, "#/surface"]);
});

test("another venue brings its surface along, and a surface that is given stays", async () => {
  const { id } = await add();
  expect(await service.owner.must("PATCH", `/v1/meetings/${id}`, { venueId: paddock })).toMatchObject({
    surface: "dusty-clay",
    venueId: paddock,
    version: 2,
  });
  const wet = await service.owner.must("PATCH", `/v1/meetings/${id}`, { surface: "clay", days: 2 });
  expect(wet).toMatchObject({ surface: "clay", venueId: paddock, days: 2 });
  expect((await service.owner.must("PATCH", `/v1/meetings/${id}`, { notes: "rain" })).surface).toBe("clay");
  expect((await service.owner.patch(`/v1/meetings/${id}`, { venueId: "unknown" })).status).toBe(404);
});

test("GET /v1/meetings sorts by day, both ends included, and filters by discipline", async () => {
  for (const [startsOn, discipline] of [
    ["2028-03-05", "touring"],
    ["2028-01-09", "touring"],
    ["2028-02-06", "buggy"],
    ["2028-01-09", null],
  ])
    await add({ startsOn, discipline });
  const days = async (query: string) =>
    (await service.owner.get(`/v1/meetings?${query}`)).body.items.map(
      (m: { startsOn: string }) => m.startsOn,
    );
  expect(await days("from=2028-01-09&through=2028-03-05")).toEqual([
    "2028-01-09",
    "2028-01-09",
    "2028-02-06",
    "2028-03-05",
  ]);
  expect(await days("from=2028-01-10&through=2028-03-04")).toEqual(["2028-02-06"]);
  expect(await days("from=2028-01-01&discipline=touring")).toEqual(["2028-01-09", "2028-03-05"]);
  const first = (await service.owner.get("/v1/meetings?from=2028-01-01&limit=1")).body;
  expect(await days(`from=2028-01-01&after=${first.next}`)).toEqual([
    "2028-01-09",
    "2028-02-06",
    "2028-03-05",
  ]);
  expect((await service.owner.get("/v1/meetings?from=9.1.2028")).body.errors[0].pointer).toBe("#/from");
});

test("every car is listed with what follows from the disciplines, until an entry says otherwise", async () => {
  const { id } = await add({ discipline: "touring" });
  expect(await entries(id)).toEqual([
    ["Mara's tourer", true, 6, false],
    ["Mara's buggy", false, 0, false],
    ["Una's old car", false, 0, false],
  ]);
  const path = `/v1/meetings/${id}/entries`;
  await asMara.must("PUT", `${path}/${cars["Mara's tourer"]}`, { attends: false });
  const entered = await asMara.must("PUT", `${path}/${cars["Mara's buggy"]}`, {
    attends: true,
    plannedRuns: 3,
  });
  expect(entered).toMatchObject({
    meetingId: id,
    attends: true,
    plannedRuns: 3,
    stated: true,
    driverId: mara,
  });
  await service.owner.must("PUT", `${path}/${cars["Una's old car"]}`, { attends: true });
  expect(await entries(id)).toEqual([
    ["Mara's tourer", false, 0, true],
    ["Mara's buggy", true, 3, true],
    ["Una's old car", true, 6, true],
  ]);
  await asMara.must("PUT", `${path}/${cars["Mara's tourer"]}`, { attends: true });
  expect((await entries(id))[0]).toEqual(["Mara's tourer", true, 6, true]);
});

test("a driver sees and enters only their own cars, and writes no meetings; the shop reads no entries", async () => {
  const { id } = await add();
  expect(await entries(id, asMara)).toEqual([
    ["Mara's tourer", true, 6, false],
    ["Mara's buggy", true, 6, false],
  ]);
  const path = `/v1/meetings/${id}/entries/${cars["Una's old car"]}`;
  expect((await asMara.put(path, { attends: false })).status).toBe(403);
  expect((await asMara.post("/v1/meetings", { name: "Mine", startsOn: "2027-02-07" })).status).toBe(403);
  expect((await asMara.get(`/v1/meetings/${id}`)).status).toBe(200);
  const shop = await service.as("shop");
  expect((await shop.get(`/v1/meetings/${id}/entries`)).status).toBe(403);
  expect((await shop.get("/v1/meetings")).status).toBe(200);
});

test("an entry of an unknown car or meeting is refused", async () => {
  const { id } = await add();
  expect((await service.owner.put(`/v1/meetings/${id}/entries/unknown`, { attends: true })).status).toBe(404);
  const path = `/v1/meetings/unknown/entries/${cars["Mara's buggy"]}`;
  expect((await service.owner.put(path, { attends: true })).status).toBe(404);
  expect((await service.owner.get("/v1/meetings/unknown/entries")).status).toBe(404);
});

test("a meeting goes with its entries, and stays with them where runs were logged", async () => {
  const { id } = await add();
  const path = `/v1/meetings/${id}`;
  await asMara.must("PUT", `${path}/entries/${cars["Mara's buggy"]}`, { attends: true, plannedRuns: 2 });
  const clubId = (await service.club()).id;
  const run = {
    id: v7(),
    clubId,
    carId: cars["Mara's buggy"]!,
    at: "2027-02-07T01:00:00.000Z",
    minutes: 5.5,
  };
  const rest = { surface: "carpet", conditions: null, packId: null, knocks: 0, notes: null, version: 1 };
  await service.db
    .insertInto("runs")
    .values({ ...run, ...rest, meetingId: id })
    .execute();
  const kept = await service.owner.delete(path);
  expect([kept.status, kept.body.type]).toEqual([409, "/problems/in_use"]);
  expect((await entries(id)).find(([name]: [string]) => name === "Mara's buggy")?.[2]).toBe(2);
  await service.db.deleteFrom("runs").where("id", "=", run.id).execute();
  expect((await service.owner.delete(path)).status).toBe(204);
  expect((await service.owner.get(path)).status).toBe(404);
  expect((await service.owner.delete(path)).status).toBe(404);
});
