import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** Two drivers use one line of spurs: one breaks a spur on every fourth run, the other runs forty and breaks none. */
describe("breakage by driver", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  let rough: any;
  let pieceOf: Record<"calm" | "rough", string>;

  beforeAll(async () => {
    service = await startTestService("2026-12-01T09:00:00.000Z");
    garage = await startGarage(service);
    const { must } = service.owner;
    rough = await must("POST", "/v1/drivers", { name: "Mara Tindle" });
    const kindId = garage.kind.id;
    const car = await must("POST", "/v1/cars", {
      driverId: rough.id,
      name: "Other car",
      positions: [{ name: "spur", kindId }],
    });
    let hour = 0;
    const at = () => new Date(Date.parse("2026-11-01T08:00:00Z") + 3_600_000 * hour++).toISOString();
    const startPiece = async (driverId: string, carId: string, mark: string, runs: number) => {
      const piece = await must("POST", "/v1/pieces", { driverId, lineId: garage.line.id, mark });
      await must("POST", `/v1/cars/${carId}/fittings`, {
        position: "spur",
        at: at(),
        piece: { pieceId: piece.id },
      });
      for (let i = 0; i < runs; i++)
        await must("POST", "/v1/runs", { carId, at: at(), minutes: 5.5, surface: "asphalt" });
      return piece.id as string;
    };
    const calm = await startPiece(garage.driver.id, garage.car.id, "calm 1", 40);
    for (let i = 0; i < 5; i++) {
      const id = await startPiece(rough.id, car.id, `rough ${i}`, 4);
      await must("PUT", `/v1/pieces/${id}/retirement`, { at: at(), retiredFor: "broken" });
    }
    pieceOf = { calm, rough: await startPiece(rough.id, car.id, "rough 9", 1) };
  });
  afterAll(() => service.close());

  it("a forecast rests on the driver's own rate, and shows it as a range with what it was learned from", async () => {
    const { must } = service.owner;
    const calm = await must("GET", `/v1/pieces/${pieceOf.calm}/forecast`);
    const wild = await must("GET", `/v1/pieces/${pieceOf.rough}/forecast`);
    expect(calm.breakage).toMatchObject({ broken: 0, runs: 40 });
    expect(wild.breakage).toMatchObject({ broken: 5, runs: 21 });
    expect(wild.breakage.perRun.p10).toBeLessThan(wild.breakage.perRun.median);
    expect(wild.breakage.perRun.median).toBeGreaterThan(2 * calm.breakage.perRun.median);
    expect(wild.oneMoreRun.breaks).toBeGreaterThan(2 * calm.oneMoreRun.breaks);
  });

  it("a line's wear shows the rate over all drivers and each driver's own; a driver's key sees the own one alone", async () => {
    const path = `/v1/lines/${garage.line.id}/wear`;
    const { breakage } = await service.owner.must("GET", path);
    expect(breakage).toMatchObject({ broken: 5, runs: 61 });
    expect(breakage.range.p10).toBeLessThan(breakage.perRun);
    expect(breakage.range.p90).toBeGreaterThan(breakage.perRun);
    expect(breakage.drivers.map(({ driverId }: any) => driverId).sort()).toEqual(
      [garage.driver.id, rough.id].sort(),
    );
    const own = (await (await service.as("driver", rough.id)).must("GET", path)).breakage;
    expect(own.drivers).toEqual(breakage.drivers.filter(({ driverId }: any) => driverId === rough.id));
    expect(own.perRun).toBe(breakage.perRun);
  });
});
