import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/**
 * One car with a spur of a line that has ended and one of the line that replaces it, and spares of both. Each line used to
 * have an entry of its own, and the spares of the newer one counted in both.
 */
describe("a line that has ended and the one that replaces it, both in use", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  let separate: any[];
  const through = "2027-03-31";
  const entriesOf = (list: any) => [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough];
  const get = (path: string) => service.owner.must("GET", path);

  beforeAll(async () => {
    service = await startTestService("2026-12-01T09:00:00.000Z");
    garage = await startGarage(service);
    const { must } = service.owner;
    const { driver, kind, supplier, line, car, home } = garage;
    const next = await must("POST", "/v1/lines", {
      ...{ sku: "T-SP-2", name: "Spur 87T, new hub", kindId: kind.id, supplierId: supplier.id },
      priceMinorUnits: 950,
    });
    const at = "2026-11-01T08:00:00Z";
    for (const [lineId, position] of [
      [line.id, "spur"],
      [next.id, "second spur"],
    ]) {
      const piece = await must("POST", "/v1/pieces", { driverId: driver.id, lineId, mark: position });
      await must("POST", `/v1/cars/${car.id}/fittings`, { position, at, piece: { pieceId: piece.id } });
    }
    for (const [lineId, pieces] of [
      [line.id, 1],
      [next.id, 2],
    ])
      await must("POST", "/v1/movements", { reason: "received", lineId, locationId: home.id, pieces, at });
    for (let i = 0; i < 6; i++)
      await must("POST", "/v1/meetings", {
        name: `Round ${i + 1}`,
        startsOn: new Date(Date.parse("2026-12-06") + i * 14 * 86_400_000).toISOString().slice(0, 10),
        ...{ surface: "asphalt", plannedRuns: 20, minutesPerRun: 6 },
      });
    separate = entriesOf(await get(`/v1/restock-list?through=${through}`));
    await must("PATCH", `/v1/lines/${line.id}`, { supersededById: next.id, endedOn: "2026-11-15" });
  });
  afterAll(async () => {
    expect(service.faults).toEqual([]);
    await service.close();
  });

  it("are one entry of the restock list: the need of both, the stock of both once, and the sentence says so", async () => {
    expect(separate.map(({ sku, onHand }: any) => [sku, onHand]).sort()).toEqual([
      ["T-SP-1", 1],
      ["T-SP-2", 2],
    ]);
    const entries = entriesOf(await get(`/v1/restock-list?through=${through}`));
    expect(entries).toHaveLength(1);
    const [entry] = entries;
    expect(entry).toMatchObject({ sku: "T-SP-2", insteadOf: "T-SP-1", inUse: 2, onHand: 3 });
    const expected = separate.reduce((sum: number, one: any) => sum + one.need.expected, 0);
    expect(entry.need.expected).toBeCloseTo(expected, 9);
    expect(entry.sentence).toContain(
      "T-SP-1 and T-SP-2 are in use and are bought as T-SP-2: need and stock are those of both, counted once.",
    );
  });

  it("have one reorder point, that of the restock list, whichever of them is asked for", async () => {
    const [entry] = entriesOf(await get(`/v1/restock-list?through=${through}`));
    const { line } = garage;
    const point = await get(`/v1/lines/${entry.lineId}/reorder-point`);
    const { reorderPoint, orderUpTo, safetyStock, inUse, onHand } = entry;
    expect(point).toMatchObject({ reorderPoint, orderUpTo, inUse, onHand, insteadOf: "T-SP-1" });
    // The list looks at more days, between which the wear is straight.
    expect(point.safetyStock).toBeCloseTo(safetyStock, 2);
    expect(point.sentence).toMatch(/counted once\.$/);
    const ended = await get(`/v1/lines/${line.id}/reorder-point`);
    expect(ended).toMatchObject({ sku: "T-SP-1", boughtAs: "T-SP-2", reorderPoint, orderUpTo, onHand });
    expect(ended.sentence).toContain("It has ended and is bought as T-SP-2.");
  });

  it("are bought as one with a sum of money as well", async () => {
    const plan = await get(`/v1/restock-plan?through=${through}&budgetMinorUnits=100000&parts=all`);
    expect(plan.lines).toBe(1);
    expect(plan.buy.map(({ sku }: any) => sku)).toEqual(["T-SP-2"]);
    expect(plan.buy[0].sentence).toMatch(/counted once\.$/);
  });

  it("are one entry of the pit list, with what is in stock of both", async () => {
    const { carry } = await get(`/v1/cars/${garage.car.id}/pit-list`);
    expect(carry).toHaveLength(1);
    expect(carry[0]).toMatchObject({ sku: "T-SP-2", inBox: 0, atHome: 3 });
    expect(carry[0].sentence).toMatch(/counted once\.$/);
  });

  it("cost what the one costs in the season", async () => {
    const { lines } = await get(`/v1/season-cost?from=2026-12-01&through=${through}`);
    expect(lines.filter(({ inUse }: any) => inUse > 0)).toMatchObject([{ sku: "T-SP-2", inUse: 2 }]);
  });
});
