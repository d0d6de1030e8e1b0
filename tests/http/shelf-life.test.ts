import { afterAll, beforeAll, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** A driver with a spur of a line that keeps for 60 days, one of it on order, a part-worn one, and five months of meetings. */
let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  garage = await startGarage(service);
  const { must } = service.owner;
  const { driver, line, car, supplier, home } = garage;
  for (const [mark, position] of [
    ["1", "spur"],
    ["2", null],
  ]) {
    const piece = await must("POST", "/v1/pieces", {
      ...{ driverId: driver.id, lineId: line.id, mark, boughtOn: "2026-11-20" },
    });
    const fitting = { position, at: "2026-11-21T08:00:00Z", piece: { pieceId: piece.id } };
    if (position !== null) await must("POST", `/v1/cars/${car.id}/fittings`, fitting);
  }
  for (let month = 1; month <= 5; month++)
    await must("POST", "/v1/meetings", {
      ...{ name: `Round ${month}`, startsOn: `2027-0${month}-10`, surface: "asphalt", plannedRuns: 12 },
    });
  await must("POST", "/v1/orders", {
    ...{ supplierId: supplier.id, locationId: home.id, placedAt: "2026-11-30T08:00:00Z" },
    lines: [{ lineId: line.id, packs: 2 }],
  });
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});
const entry = async (through: string) => {
  const list = await service.owner.must("GET", `/v1/restock-list?through=${through}`);
  const all = [...list.suppliers.flatMap((one: any) => one.lines), ...list.enough];
  return all.find((one: any) => one.sku === "T-SP-1");
};

it("what is on order, part-worn or bought today ages too where a line does not keep", async () => {
  const keeps = await entry("2027-05-31");
  expect(keeps).toMatchObject({ ageing: 0, onOrder: 2, spares: 1, keepsThrough: null });
  await service.owner.must("PATCH", `/v1/lines/${garage.line.id}`, { shelfLifeDays: 60 });
  const soon = await entry("2027-01-15");
  expect(soon).toMatchObject({ ageing: 0, keepsThrough: null });
  const late = await entry("2027-05-31");
  expect(late).toMatchObject({ ageing: 3, onOrder: 2, spares: 1 });
  expect(late.keepsThrough > "2027-02-01" && late.keepsThrough < "2027-02-20").toBe(true);
  expect(late.chanceWithout).toBeLessThan(keeps.chanceWithout);
  expect(late.sentence).toContain("3 of them past shelf life by then");
  expect(late.sentence).toContain(`What is ordered today keeps until ${late.keepsThrough}`);
});
