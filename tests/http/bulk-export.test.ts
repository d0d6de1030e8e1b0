import { afterEach, beforeEach, describe, expect, it } from "vitest";
import { exportedNames, exportRows } from "../../src/services/export-rows.ts";
import { LineModels } from "../../src/services/line-models.ts";
import { exportColumns } from "../../src/services/tables-out.ts";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

type Garage = Awaited<ReturnType<typeof startGarage>>;
let service: TestService;
let garage: Garage;
const now = "2026-11-29T20:00:00.000Z";
beforeEach(async () => {
  service = await startTestService(now);
  garage = await startGarage(service);
});
afterEach(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

type Caller = TestService["owner"];
const exported = async (resource: string, by: Caller = service.owner) => {
  const { status, body } = await by.get(`/v1/exports/${resource}?format=json`);
  return status === 200 ? (body as any[]) : status;
};
const resources = Object.keys(exportColumns);

/** What the catalogue needs so that an export of the log can be read into another club. */
async function addCalendar({ owner }: TestService) {
  const meeting = {
    name: "Round 1",
    startsOn: "2026-11-02",
    surface: "carpet",
    plannedRuns: 6,
    minutesPerRun: 5,
  };
  return owner.must("POST", "/v1/meetings", meeting);
}

/** A log with everything that an export has to carry: two fittings of a piece, a pack, a retired piece, formulas. */
async function fillLog(
  { owner: { must } }: TestService,
  { driver, car, line, packLine, supplier, home }: Garage,
) {
  const meeting = await addCalendar(service);
  const at = (day: string) => `2026-${day}T09:00:00.000Z`;
  const piece = (mark: string, lineId: string, rest = {}) =>
    must("POST", "/v1/pieces", { driverId: driver.id, lineId, mark, ...rest });
  const spur = await piece("=spur 1", line.id, { asNew: 15.485, notes: '-2 teeth, "so-so"\nlook again' });
  const old = await piece("spur 2", line.id, { priorUsage: 120.5, priorUsageSd: 40, boughtOn: "2025-01-05" });
  const pack = await piece("'pack A", packLine.id);
  const fitted = (id: string, position: string, day: string) =>
    must("POST", `/v1/cars/${car.id}/fittings`, { position, at: at(day), piece: { pieceId: id } });
  await fitted(spur.id, "spur", "11-01");
  await fitted(old.id, "second spur", "11-01");
  for (let hour = 10; hour < 16; hour++)
    await must("POST", "/v1/runs", {
      carId: car.id,
      at: `2026-11-02T${hour}:00:00Z`,
      minutes: 4.75,
      meetingId: meeting.id,
      packId: pack.id,
      conditions: hour % 2 === 0 ? ["dusty", "hot"] : [],
      notes: hour === 10 ? "+1 lap; kerb" : null,
    });
  await must("POST", `/v1/pieces/${spur.id}/removal`, { at: at("11-03") });
  await must("PATCH", `/v1/pieces/${spur.id}`, { keptFor: "practice" });
  await must("PUT", `/v1/pieces/${old.id}/retirement`, { at: at("11-04"), retiredFor: "worn" });
  await fitted(spur.id, "second spur", "11-05");
  await must("POST", "/v1/runs", { carId: car.id, at: at("11-06"), minutes: 6, surface: "asphalt" });
  await must("POST", `/v1/pieces/${spur.id}/inspections`, {
    at: at("11-07"),
    readings: [
      { value: 15.47, unit: "mm" },
      { value: 0.609, unit: "in" },
    ],
  });
  await must("POST", `/v1/pieces/${spur.id}/inspections`, {
    at: at("11-08"),
    readings: [{ value: 15.6, unit: "mm" }],
    findings: ["notch-felt"],
    services: ["cleaned"],
    confirmed: true,
  });
  await must("POST", "/v1/venues", { name: "Test hall", surface: "carpet" });
  const shelf = await must("POST", "/v1/locations", { name: "Shelf", sort: "shelf" });
  for (const [locationId, pieces] of [
    [home.id, 3],
    [shelf.id, 7],
  ] as const)
    await must("POST", "/v1/stocktakes", {
      locationId,
      at: at("11-09"),
      counts: [{ lineId: line.id, pieces }],
    });
  await must("POST", "/v1/orders", {
    supplierId: supplier.id,
    locationId: shelf.id,
    placedAt: at("11-10"),
    lines: [{ lineId: line.id, packs: 2 }],
  });
}

const usageOf = async ({ owner }: TestService) => {
  const { items } = await owner.must("GET", "/v1/pieces?limit=500");
  const found = [];
  for (const { id } of items) {
    const { mark, usage, state, asNew, priorUsage, retiredFor, notes, fittings } = await owner.must(
      "GET",
      `/v1/pieces/${id}`,
    );
    found.push({
      mark,
      usage,
      state,
      asNew,
      priorUsage,
      retiredFor,
      notes,
      fittings: fittings.map((f: any) => [f.fittedAt, f.removedAt]),
    });
  }
  return found;
};
const forecastOf = async ({ owner }: TestService) => {
  const { items } = await owner.must("GET", "/v1/pieces?state=fitted");
  const { remaining, usage } = await owner.must("GET", `/v1/pieces/${items[0].id}/forecast`);
  return { remaining, usage };
};
const stockOf = async ({ owner }: TestService) =>
  (await owner.must("GET", "/v1/stock-levels")).items
    .map(({ sku, locationName, pieces }: any) => [locationName, sku, pieces])
    .sort();

describe.each(["csv", "json", "ndjson"] as const)("an export of the log as %s", (format) => {
  it("can be read into a fresh club, which then has the same usage, stock and forecast; a second time it changes nothing", async () => {
    await fillLog(service, garage);
    const fresh = await startTestService(now);
    await startGarage(fresh);
    await addCalendar(fresh);
    await fresh.owner.must("POST", "/v1/locations", { name: "Shelf", sort: "shelf" });
    const types = { csv: "text/csv", json: "application/json", ndjson: "application/x-ndjson" };
    for (const round of [1, 2])
      for (const [from, to, rows] of [
        ["pieces", "pieces", 4],
        ["runs", "runs", 7],
        ["readings", "readings", 3],
        ["stock-levels", "stock", 2],
      ] as const) {
        const response = await service.app.request(`/v1/exports/${from}?format=${format}`, {
          headers: { authorization: `Bearer ${await service.keyFor("owner")}` },
        });
        const text = await response.text();
        const { status, body } = await fresh.owner.send("POST", `/v1/imports/${to}`, text, {
          "content-type": types[format],
        });
        expect([from, status, body.errors]).toEqual([from, 200, undefined]);
        expect([from, body.rowsKept, body.rowsAlreadyThere]).toEqual([
          from,
          ...(round === 1 ? [rows, 0] : [0, rows]),
        ]);
      }
    expect(await usageOf(fresh)).toEqual(await usageOf(service));
    expect(await stockOf(fresh)).toEqual(await stockOf(service));
    expect(await stockOf(fresh)).toHaveLength(2);
    expect(await forecastOf(fresh)).toEqual(await forecastOf(service));
    expect(fresh.faults).toEqual([]);
    await fresh.close();
  });
});

describe("an export", () => {
  it("of each resource has the columns that are described, in CSV and in JSON", async () => {
    await fillLog(service, garage);
    for (const resource of resources) {
      const rows = (await exported(resource)) as any[];
      expect([resource, rows.length > 0]).toEqual([resource, true]);
      for (const row of rows)
        expect(Object.keys(row)).toEqual(exportColumns[resource as keyof typeof exportColumns]);
      const { body, headers } = await service.owner.get(`/v1/exports/${resource}`);
      expect(body.split("\r\n")[0]).toBe(Object.keys(rows[0]).join(","));
      expect(headers.get("content-type")).toMatch(/^text\/csv/);
      expect(headers.get("content-disposition")).toBe(`attachment; filename="${resource}-2026-11-29.csv"`);
    }
  });

  it("leaves out no member of a row, and knows none that the rows lack", async () => {
    await fillLog(service, garage);
    const { id: clubId } = await service.club();
    const actor = { clubId, keyId: "", name: "owner", role: "owner" as const, driverId: null };
    const plain = { now: () => now, newId: () => "", models: new LineModels() };
    for (const resource of exportedNames)
      for await (const rows of exportRows({ db: service.db, actor, reach: "all", ...plain }, resource))
        for (const row of rows)
          expect([resource, ...Object.keys(row).sort()]).toEqual([
            resource,
            ...[...exportColumns[resource]].sort(),
          ]);
  });

  it("has a value in each column that was filled", async () => {
    await fillLog(service, garage);
    const empty = async (resource: string) => {
      const rows = (await exported(resource)) as Record<string, unknown>[];
      return Object.keys(rows[0]!).filter((column) => rows.every((row) => row[column] === null));
    };
    for (const resource of ["runs", "pieces", "readings", "fittings", "order-lines", "stock-levels"])
      expect([resource, await empty(resource)]).toEqual([resource, []]);
    expect(await empty("inspections")).toEqual(["grade", "notes"]);
  });

  it("defuses text that a spreadsheet would take for a formula, and leaves numbers as they are", async () => {
    const { must } = service.owner;
    for (const name of ["=1+1", "+a", "-b", "@c", "plain", "'=d", "a=b"])
      await must("POST", "/v1/drivers", { name });
    const { body } = await service.owner.get("/v1/exports/drivers");
    const names = body
      .split("\r\n")
      .slice(1, -1)
      .map((line: string) => line.split(",")[1]);
    expect(names).toEqual(["Una Wickerley", "'=1+1", "'+a", "'-b", "'@c", "plain", "''=d", "a=b"]);
    expect((await exported("drivers")) as any[]).toContainEqual(expect.objectContaining({ name: "=1+1" }));
    await must("POST", "/v1/stocktakes", {
      locationId: garage.home.id,
      at: "2026-11-01T09:00:00Z",
      counts: [{ lineId: garage.line.id, pieces: 3 }],
    });
    await must("POST", "/v1/movements", {
      reason: "written-off",
      lineId: garage.line.id,
      locationId: garage.home.id,
      pieces: 1,
      at: "2026-11-02T09:00:00Z",
    });
    expect((await service.owner.get("/v1/exports/movements")).body).toMatch(/,-1,written-off,/);
  });

  it("quotes line breaks, separators and quotes", async () => {
    await service.owner.must("POST", "/v1/drivers", { name: "B", notes: 'a "b", c\nd;e' });
    const { body } = await service.owner.get("/v1/exports/drivers");
    expect(body).toContain(',B,"a ""b"", c\nd;e",');
  });

  it("of more rows than a chunk has each once: runs in the order of time, others as they were made", async () => {
    const rows = Array.from({ length: 2500 }, (_, i) => ({
      carId: garage.car.id,
      at: new Date(Date.parse("2026-01-01T00:00:00Z") + (2500 - i) * 600_000).toISOString(),
      minutes: 5,
      surface: "clay",
      notes: `n${i}`,
    }));
    await service.owner.must("POST", "/v1/imports/runs", rows);
    const notes = ((await exported("runs")) as any[]).map((run) => run.notes);
    expect(notes).toEqual(rows.map((run) => run.notes).reverse());
    const marks = Array.from({ length: 1200 }, (_, i) => `spur ${i}`);
    const pieces = marks.map((mark) => ({ driverId: garage.driver.id, sku: "T-SP-1", mark }));
    await service.owner.must("POST", "/v1/imports/pieces", pieces);
    expect(((await exported("pieces")) as any[]).map((piece) => piece.mark)).toEqual(marks);
  });

  it("that is not read to its end stops", async () => {
    const response = await service.app.request("/v1/exports/kinds", {
      headers: { authorization: `Bearer ${await service.keyFor("owner")}` },
    });
    const reader = response.body!.getReader();
    await reader.read();
    await reader.cancel();
    expect((await service.owner.get("/v1/exports/kinds")).status).toBe(200);
  });

  it("of something unknown, or in an unknown format, is refused by name", async () => {
    expect((await service.owner.get("/v1/exports/keys")).body).toMatchObject({
      status: 422,
      detail: expect.stringMatching(/one of kinds/),
    });
    expect((await service.owner.get("/v1/exports/runs?format=xlsx")).status).toBe(422);
  });
});

describe("who may export what", () => {
  it("a driver their own log and places, a shop its shelves and the lines, a reader all", async () => {
    const { must } = service.owner;
    await fillLog(service, garage);
    const other = await must("POST", "/v1/drivers", { name: "Bo Tarn" });
    const car = await must("POST", "/v1/cars", {
      driverId: other.id,
      name: "Bo's car",
      positions: [{ name: "spur", kindId: garage.kind.id }],
    });
    await must("POST", "/v1/pieces", { driverId: other.id, lineId: garage.line.id, mark: "b" });
    await must("POST", "/v1/runs", {
      carId: car.id,
      at: "2026-11-07T09:00:00Z",
      minutes: 5,
      surface: "clay",
    });
    const count = async (by: Caller) => {
      const counts: Record<string, number> = {};
      for (const resource of resources) {
        const rows = await exported(resource, by);
        counts[resource] = typeof rows === "number" ? rows : rows.length;
      }
      return counts;
    };
    const log = { cars: 1, positions: 1, pieces: 1, fittings: 0, runs: 1, inspections: 0, readings: 0 };
    const all = await count(service.owner);
    expect(all).toMatchObject({
      cars: 2,
      positions: 3,
      pieces: 5,
      fittings: 3,
      runs: 8,
      inspections: 2,
      readings: 3,
      movements: 2,
      locations: 2,
      "stock-levels": 2,
    });
    expect(await count(await service.as("reader"))).toEqual(all);
    expect(await count(await service.as("driver", other.id))).toMatchObject({
      ...log,
      movements: 0,
      orders: 0,
      "order-lines": 0,
      locations: 1,
      "stock-levels": 1,
      lines: 2,
    });
    expect(await count(await service.as("driver", garage.driver.id))).toMatchObject({
      cars: 1,
      positions: 2,
      pieces: 4,
      runs: 7,
      readings: 3,
      movements: 1,
      orders: 0,
      locations: 2,
    });
    expect(await count(await service.as("shop"))).toMatchObject({
      cars: 403,
      pieces: 403,
      runs: 403,
      readings: 403,
      movements: 1,
      orders: 1,
      "order-lines": 1,
      locations: 1,
      "stock-levels": 1,
      lines: 2,
    });
    expect((await service.anyone.get("/v1/exports/lines")).status).toBe(401);
  });
});

describe("the whole club", () => {
  it("is one document with an array for each resource within reach", async () => {
    await fillLog(service, garage);
    const { body, headers } = await service.owner.get("/v1/export");
    expect(headers.get("content-disposition")).toMatch(/club-2026-11-29\.json/);
    expect(body).toMatchObject({
      format: "wear-and-spares/1",
      exportedAt: now,
      club: { name: "Our club", currency: "AUD" },
    });
    const member = (resource: string) =>
      resource.replaceAll(/-(\w)/g, (_, letter: string) => letter.toUpperCase());
    for (const resource of resources)
      expect([resource, body[member(resource)]]).toEqual([resource, await exported(resource)]);
    const shop = (await (await service.as("shop")).get("/v1/export")).body;
    expect(Object.keys(shop)).not.toContain("runs");
    expect(shop.movements).toHaveLength(1);
    expect(JSON.stringify(body)).not.toMatch(/"hash"|ws_|clubId/);
  });

  it("of an empty log has empty arrays", async () => {
    expect((await service.owner.get("/v1/export")).body).toMatchObject({
      runs: [],
      readings: [],
      orderLines: [],
    });
  });
});
