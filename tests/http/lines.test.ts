import { afterAll, beforeAll, expect, test } from "vitest";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let spur: string;
let belt: string;
let carModels: string[];
let supplier: string;
const kindId = async (code: string) => (await service.owner.get(`/v1/kinds?code=${code}`)).body.items[0].id;

beforeAll(async () => {
  service = await startTestService();
  spur = await kindId("SPR-48");
  belt = await kindId("SAV");
  carModels = [];
  for (const name of ["Thornbill", "Currawong"])
    carModels.push((await service.owner.must("POST", "/v1/car-models", { name, discipline: "touring" })).id);
  supplier = (
    await service.owner.must("POST", "/v1/suppliers", {
      name: "Harrowmead Trade",
      leadTimeDays: 6,
      leadTimeSdDays: 3,
    })
  ).id;
});
afterAll(() => service.close());

let made = 0;
const line = (more: object = {}) => ({
  sku: `SP-${++made}`,
  name: "Spur gear 87T",
  kindId: spur,
  priceMinorUnits: 900,
  ...more,
});
const add = (more: object = {}) => service.owner.must("POST", "/v1/lines", line(more));

test("POST /v1/lines takes the club's currency, and shows the kind's code, the supplier's name and what it fits", async () => {
  const body = await add({ supplierId: supplier, fits: carModels, gtin: "6291041500213" });
  expect(body).toMatchObject({
    kindCode: "SPR-48",
    supplierName: "Harrowmead Trade",
    fits: carModels,
    currency: "AUD",
    packSize: 1,
    ended: false,
    limits: null,
  });
  expect((await service.owner.get(`/v1/lines/${body.id}`)).body).toEqual(body);
});

test("GET /v1/lines filters by kind, sku, supplier, car model, and by GTIN with any number of leading zeros", async () => {
  const one = await add({ supplierId: supplier, fits: [carModels[1]], gtin: "73513537" });
  const other = await add({ kindId: belt });
  const ids = async (query: string) =>
    (await service.owner.get(`/v1/lines?${query}`)).body.items.map((item: { id: string }) => item.id);
  expect(await ids("gtin=00000073513537")).toEqual([one.id]);
  expect(await ids(`sku=${one.sku}`)).toEqual([one.id]);
  expect(await ids(`kindId=${belt}`)).toEqual([other.id]);
  expect(await ids(`carModelId=${carModels[1]}`)).toContain(one.id);
  expect(await ids(`carModelId=${carModels[0]}`)).not.toContain(one.id);
  expect(await ids(`supplierId=${supplier}`)).not.toContain(other.id);
});

test("GET /v1/lines comes in pages that join without a gap", async () => {
  const all = (await service.owner.get("/v1/lines")).body.items.map((item: { id: string }) => item.id);
  const first = (await service.owner.get("/v1/lines?limit=1")).body;
  const rest = (await service.owner.get(`/v1/lines?after=${first.next}`)).body;
  expect([...first.items, ...rest.items].map((item: { id: string }) => item.id)).toEqual(all);
});

test("a GTIN with a wrong check digit is refused with the digit that was expected", async () => {
  const answer = await service.owner.post("/v1/lines", line({ gtin: "6291041500214" }));
  expect(answer.status).toBe(422);
  expect(answer.body.errors).toEqual([{ pointer: "#/gtin", detail: expect.stringContaining("ask for 3") }]);
});

test("a line may be superseded by another, and a circle of lines is refused with its path", async () => {
  const [a, b, c] = [await add(), await add(), await add()];
  await service.owner.must("PATCH", `/v1/lines/${a.id}`, { supersededById: b.id });
  await service.owner.must("PATCH", `/v1/lines/${b.id}`, { supersededById: c.id });
  const circle = await service.owner.patch(`/v1/lines/${c.id}`, { supersededById: a.id });
  expect([circle.status, circle.body.type]).toEqual([422, "/problems/inconsistent"]);
  expect(circle.body.detail).toContain(`${c.sku} → ${a.sku} → ${b.sku} → ${c.sku}`);
  expect((await service.owner.patch(`/v1/lines/${a.id}`, { supersededById: a.id })).status).toBe(422);
  expect((await service.owner.get(`/v1/lines/${c.id}`)).body.supersededById).toBe(null);
});

test("a line is ended from the day that it names", async () => {
  const body = await add({ endedOn: "2026-12-02" });
  expect(body.ended).toBe(false);
  service.clock.now = "2026-12-02T00:00:00.000Z";
  expect((await service.owner.get(`/v1/lines/${body.id}`)).body.ended).toBe(true);
  service.clock.now = "2026-12-01T09:00:00.000Z";
});

test("limits of a line must suit its kind, and only what a fit rests on counts as new evidence", async () => {
  const body = await add();
  const path = `/v1/lines/${body.id}`;
  const evidence = async () =>
    (
      await service.db
        .selectFrom("lines")
        .select("evidence")
        .where("id", "=", body.id)
        .executeTakeFirstOrThrow()
    ).evidence;
  const backwards = { basis: "loss", race: 0.2, club: 0.1, stop: null };
  expect((await service.owner.patch(path, { limits: backwards })).body.errors[0].pointer).toBe(
    "#/limits/club",
  );
  await service.owner.must("PATCH", path, { priceMinorUnits: 950 });
  expect(await evidence()).toBe(0);
  const limits = { basis: "loss", race: 0.05, club: 0.1, stop: 0.12 };
  expect((await service.owner.must("PATCH", path, { limits, usualLife: { p10: 1, p90: 2 } })).limits).toEqual(
    limits,
  );
  expect(await evidence()).toBe(1);
  await service.owner.must("PATCH", `/v1/kinds/${spur}`, { pieceSpread: 0.31 });
  expect(await evidence()).toBe(2);
  const graded = await service.owner.post("/v1/lines", line({ kindId: belt, asNew: 3 }));
  expect(graded.body.errors).toEqual([
    { pointer: "#/asNew", detail: expect.stringContaining("only graded") },
  ]);
});

test("a line of unknown kind, supplier or car model is refused, and nothing of it is kept", async () => {
  for (const more of [{ kindId: "x" }, { supplierId: "x" }, { fits: ["x"] }, { supersededById: "x" }]) {
    const wanted = line(more);
    expect((await service.owner.post("/v1/lines", wanted)).status).toBe(404);
    expect((await service.owner.get(`/v1/lines?sku=${wanted.sku}`)).body.items).toEqual([]);
  }
});

test("the shop writes lines and suppliers, and a driver reads them", async () => {
  const shop = await service.as("shop");
  const name = { name: "Tansy Import Desk", leadTimeDays: 34, leadTimeSdDays: 12 };
  const bought = await shop.must("POST", "/v1/suppliers", name);
  expect((await shop.patch(`/v1/suppliers/${bought.id}`, { leadTimeDays: 30 })).body.leadTimeDays).toBe(30);
  const body = await shop.must("POST", "/v1/lines", line({ supplierId: bought.id }));
  const mara = (await service.owner.must("POST", "/v1/drivers", { name: "Mara Tindle" })).id;
  const driver = await service.as("driver", mara);
  expect((await driver.get(`/v1/lines/${body.id}`)).body.sku).toBe(body.sku);
  expect((await driver.get(`/v1/suppliers/${bought.id}`)).status).toBe(200);
  expect((await driver.patch(`/v1/lines/${body.id}`, { priceMinorUnits: 1 })).status).toBe(403);
});

test("the unit and direction of a kind stay once a piece of it was measured, and its limits may still change", async () => {
  const { owner, db } = service;
  const clubId = (await service.club()).id;
  const driverId = (await owner.must("POST", "/v1/drivers", { name: "Una Wickerley" })).id;
  const lineId = (await add()).id;
  const kind = (await owner.get(`/v1/kinds/${spur}`)).body;
  const inInches = { measure: { ...kind.measure, unit: "in" } };
  expect((await owner.patch(`/v1/kinds/${spur}`, inInches)).status).toBe(200);
  await owner.must("PATCH", `/v1/kinds/${spur}`, { measure: kind.measure });
  const at = "2026-11-28T20:00:00.000Z";
  const unused = { asNew: null, priorUsage: null, priorUsageSd: null, boughtOn: null, notes: null };
  const fresh = { ...unused, retiredAt: null, retiredFor: null, createdAt: at, version: 1 };
  const piece = { id: "p", clubId, driverId, lineId, mark: "spur 1", ...fresh };
  const look = {
    id: "i",
    clubId,
    pieceId: "p",
    at,
    grade: null,
    findings: "[]",
    services: "[]",
    notes: null,
  };
  const reading = {
    id: "r",
    clubId,
    inspectionId: "i",
    pieceId: "p",
    at,
    value: 15.4,
    sd: 0.02,
    confirmed: 0,
  };
  const entered = { instrument: "calliper", enteredValue: 15.4, enteredUnit: "mm" };
  await db.insertInto("pieces").values(piece).execute();
  await db
    .insertInto("inspections")
    .values({ ...look, version: 1 })
    .execute();
  await db
    .insertInto("readings")
    .values({ ...reading, ...entered })
    .execute();
  const refused = await owner.patch(`/v1/kinds/${spur}`, inInches);
  expect([refused.status, refused.body.type]).toEqual([409, "/problems/in_use"]);
  expect((await owner.patch(`/v1/kinds/${spur}`, { measure: kind.measure, runSpread: 0.5 })).status).toBe(
    200,
  );
});
