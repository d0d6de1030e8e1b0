import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** A meeting and the evening after it, from an empty service to what to order; each step builds on the one before. */
describe("a meeting and the evening after it", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  let must: TestService["owner"]["must"];
  let spur: any;
  const forecast = () => must("GET", `/v1/pieces/${spur.id}/forecast`);
  const width = ({ remaining: { usage } }: any) => usage.p90 - usage.p10;

  beforeAll(async () => {
    service = await startTestService("2026-11-29T20:00:00.000Z");
    must = service.owner.must;
    garage = await startGarage(service);
    for (const [i, startsOn] of ["2026-12-06", "2027-01-10", "2027-02-07", "2027-03-07"].entries())
      await must("POST", "/v1/meetings", {
        name: `Round ${i + 1}`,
        startsOn,
        surface: "asphalt",
        discipline: "touring",
        plannedRuns: 6,
        minutesPerRun: 5.5,
      });
    spur = await must("POST", "/v1/pieces", {
      driverId: garage.driver.id,
      lineId: garage.line.id,
      mark: "spur 1",
    });
    await must("POST", `/v1/cars/${garage.car.id}/fittings`, {
      position: "spur",
      at: "2026-11-01T08:00:00Z",
      piece: { pieceId: spur.id },
    });
  });
  afterAll(() => service.close());

  it("a forecast exists before the first reading, rests on the kind's usual life, and says that it is belief alone", async () => {
    const { restsOn, usage, remaining, wear, sizeNow } = await forecast();
    expect(restsOn.basis).toBe("belief");
    expect(wear.p10).toBe(0);
    expect(sizeNow.median).toBeCloseTo(15.485, 3);
    expect(restsOn.sentence).toContain("480 to 1030 minutes");
    expect(usage).toBe(0);
    // The belief is a range over pieces; what is left of one new piece is that range, and somewhat wider.
    expect(remaining.usage.p10).toBeGreaterThan(250);
    expect(remaining.usage.p10).toBeLessThan(520);
    expect(remaining.usage.p90).toBeGreaterThan(950);
    expect(remaining.usage.p90).toBeLessThan(1500);
  });

  it("runs wear what was fitted, and readings narrow the forecast", async () => {
    for (let i = 0; i < 60; i++)
      await must("POST", "/v1/runs", {
        carId: garage.car.id,
        at: new Date(Date.parse("2026-11-02T09:00:00Z") + i * 3.6e6).toISOString(),
        minutes: 5.5,
        surface: "asphalt",
      });
    const before = await forecast();
    await must("POST", `/v1/pieces/${spur.id}/inspections`, {
      at: "2026-11-28T19:00:00Z",
      readings: [
        { value: 15.41, unit: "mm" },
        { value: 0.6065, unit: "in" },
      ],
      services: ["cleaned"],
    });
    const after = await forecast();
    expect(after.usage).toBe(330);
    expect(after.restsOn).toMatchObject({ basis: "own-readings", ownReadings: 2, runs: 60 });
    expect(width(after)).toBeLessThan(width(before));
    expect(after.nextMeeting).toMatchObject({ name: "Round 1", runs: 6, usage: 33 });
    expect(after.nextMeeting.lasts).toBeGreaterThan(0.5);
    expect(after.nextMeeting.lasts).toBeLessThan(1);
    expect(after.oneMoreRun.lasts).toBeGreaterThan(after.nextMeeting.lasts);
  });

  it("a date is read off the calendar ahead: a meeting's day, never one between meetings, none beyond its end", async () => {
    const { remaining } = await forecast();
    expect(["2026-12-06", "2027-01-10", "2027-02-07", null]).toContain(remaining.date.p10);
    expect(remaining.date.p90).toBeNull();
    expect(remaining.calendarEndsOn).toBe("2027-03-07");
    expect(remaining.runs.p10).toBeLessThan(remaining.runs.median);
    expect(remaining.runs.median).toBeLessThan(remaining.runs.p90);
  });

  it("a reading that grows, looks like inches or like another tooth count is questioned, and nothing is saved until it is confirmed", async () => {
    const look = (value: number, more = {}) =>
      service.owner.post(`/v1/pieces/${spur.id}/inspections`, {
        at: "2026-11-29T19:00:00Z",
        readings: [{ value, unit: "mm" }],
        ...more,
      });
    const grown = await look(15.6);
    expect([grown.status, grown.body.type]).toEqual([409, "/problems/reading_questioned"]);
    expect(grown.body.errors[0]).toMatchObject({ pointer: "#/readings/0/value" });
    expect((await look(0.607)).body.detail).toContain("looks like inches");
    expect((await look(16.97)).body.detail).toContain("teeth");
    expect((await must("GET", `/v1/pieces/${spur.id}/inspections`)).items).toHaveLength(1);
    const unknown = await service.owner.post(`/v1/pieces/${spur.id}/inspections`, {
      at: "2026-11-29T19:00:00Z",
      readings: [{ value: 15.4, unit: "g" }],
    });
    expect([unknown.status, unknown.body.type]).toEqual([422, "/problems/unit_unknown"]);
  });

  it("the bench sheet names the piece that may not last, and the position that is empty", async () => {
    const sheet = await must("GET", `/v1/cars/${garage.car.id}/bench-sheet`);
    expect(sheet.nextMeeting.name).toBe("Round 1");
    expect(sheet.entries.map((entry: any) => entry.mark)).toEqual(["spur 1"]);
    expect(sheet.emptyPositions).toEqual(["second spur"]);
    expect(sheet.ready).toBe(false);
    expect(sheet.entries[0].lasts).toBeCloseTo((await forecast()).nextMeeting.lasts, 12);
  });

  it("the restock list buys what will be needed and not more; stock and orders count; a higher target never buys less", async () => {
    const list = (query = "") => must("GET", `/v1/restock-list?through=2027-03-07${query}`);
    const before = await list();
    const entry = before.suppliers[0].lines[0];
    expect(entry).toMatchObject({ sku: "T-SP-1", onHand: 0, onOrder: 0, packSize: 1 });
    expect(entry.packs).toBe(entry.stockWanted);
    expect(entry.chanceWith).toBeGreaterThanOrEqual(0.9);
    expect(before.totals).toEqual([{ currency: "AUD", minorUnits: entry.packs * 900 }]);
    expect((await list("&target=0.99")).suppliers[0].lines[0].packs).toBeGreaterThanOrEqual(entry.packs);
    const order = await must("POST", "/v1/orders", {
      supplierId: garage.supplier.id,
      locationId: garage.home.id,
      placedAt: "2026-11-29T19:30:00Z",
      lines: [{ lineId: garage.line.id, packs: entry.packs }],
    });
    expect((await list()).suppliers).toEqual([]);
    expect((await list()).enough.find((one: any) => one.sku === "T-SP-1").onOrder).toBe(entry.packs);
    await must("POST", `/v1/orders/${order.id}/receipts`, {
      at: "2026-11-29T19:45:00Z",
      lines: [{ lineId: garage.line.id, pieces: entry.packs }],
    });
    expect((await list()).enough.find((one: any) => one.sku === "T-SP-1")).toMatchObject({
      onHand: entry.packs,
      onOrder: 0,
    });
    expect((await must("GET", `/v1/lines/${garage.line.id}/reorder-point`)).onHand).toBe(entry.packs);
  });

  it("replacing takes the new piece out of stock in the same transaction, and keeps nothing if it cannot", async () => {
    const { onHand } = await must("GET", `/v1/lines/${garage.line.id}/reorder-point`);
    const replace = (mark: string, from = "own") =>
      service.owner.post(`/v1/cars/${garage.car.id}/replacements`, {
        position: "spur",
        at: "2026-11-29T19:50:00Z",
        retiredFor: "worn",
        piece: { lineId: garage.line.id, mark, asNew: 15.49, from },
      });
    const done = await replace("spur 2");
    expect(done.status).toBe(201);
    expect(done.body.removed.pieceId).toBe(spur.id);
    expect((await must("GET", `/v1/pieces/${spur.id}`)).retiredFor).toBe("worn");
    expect((await must("GET", `/v1/lines/${garage.line.id}/reorder-point`)).onHand).toBe(onHand - 1);
    const taken = await replace("spur 2");
    expect(taken.status).toBe(409);
    for (let left = onHand - 1; left > 0; left--)
      await must("POST", "/v1/movements", {
        reason: "written-off",
        lineId: garage.line.id,
        locationId: garage.home.id,
        pieces: 1,
        at: "2026-11-29T19:55:00Z",
      });
    service.clock.now = "2026-11-29T21:00:00.000Z";
    const short = await service.owner.post(`/v1/cars/${garage.car.id}/replacements`, {
      position: "spur",
      at: "2026-11-29T20:30:00Z",
      retiredFor: "broken",
      piece: { lineId: garage.line.id, mark: "spur 3" },
    });
    expect([short.status, short.body.type]).toEqual([409, "/problems/stock_short"]);
    expect((await must("GET", "/v1/pieces?state=fitted")).items.map((piece: any) => piece.mark)).toEqual([
      "spur 2",
    ]);
    expect((await must("GET", "/v1/pieces")).items.map((piece: any) => piece.mark)).not.toContain("spur 3");
  });

  it("the line's wear rests on what was seen of the worn piece, and the new piece's forecast on it", async () => {
    const wear = await must("GET", `/v1/lines/${garage.line.id}/wear`);
    expect(wear).toMatchObject({
      clock: "minutes",
      unit: "mm",
      limitWear: 0.1,
      breakage: { broken: 0, runs: 60 },
    });
    expect(wear.restsOn.readings).toBeGreaterThanOrEqual(2);
    const fitted = (await must("GET", "/v1/pieces?state=fitted")).items[0];
    expect((await must("GET", `/v1/pieces/${fitted.id}/forecast`)).restsOn.basis).toBe("line");
  });
});
