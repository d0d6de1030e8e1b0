import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** An evening at the bench and the meeting before it, from an empty service to what to order. */
describe("an evening at the bench", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  let spur: any;
  beforeAll(async () => {
    service = await startTestService("2026-11-29T20:00:00.000Z");
    garage = await startGarage(service);
  });
  afterAll(() => service.close());

  it("a forecast exists before the first reading, and says that it rests on belief alone", async () => {
    const { must } = service.owner;
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
    const forecast = await must("GET", `/v1/pieces/${spur.id}/forecast`);
    expect(forecast.restsOn.basis).toBe("belief");
    expect(forecast.usage).toBe(0);
    expect(forecast.remaining.usage.p10).toBeGreaterThan(300);
    expect(forecast.remaining.usage.p90).toBeLessThan(1500);
  });

  it("runs wear what was fitted, and readings sharpen the forecast", async () => {
    const { must } = service.owner;
    await must("POST", "/v1/meetings", {
      name: "Round 1",
      startsOn: "2026-12-06",
      surface: "asphalt",
      discipline: "touring",
      plannedRuns: 6,
      minutesPerRun: 5.5,
    });
    for (let i = 0; i < 60; i++)
      await must("POST", "/v1/runs", {
        carId: garage.car.id,
        at: new Date(Date.parse("2026-11-02T09:00:00Z") + i * 3.6e6).toISOString(),
        minutes: 5.5,
        surface: "asphalt",
      });
    const before = await must("GET", `/v1/pieces/${spur.id}/forecast`);
    await must("POST", `/v1/pieces/${spur.id}/inspections`, {
      at: "2026-11-28T19:00:00Z",
      readings: [
        { value: 15.41, unit: "mm" },
        { value: 15.405, unit: "mm" },
      ],
    });
    const after = await must("GET", `/v1/pieces/${spur.id}/forecast`);
    expect(after.usage).toBe(330);
    expect(after.restsOn.basis).toBe("own-readings");
    const width = (f: any) => f.remaining.usage.p90 - f.remaining.usage.p10;
    expect(width(after)).toBeLessThan(width(before));
    expect(after.nextMeeting).toMatchObject({ name: "Round 1", runs: 6, usage: 33 });
    expect(after.nextMeeting.lasts).toBeGreaterThan(0);
    expect(after.nextMeeting.lasts).toBeLessThan(1);
    console.log(
      JSON.stringify(after, null, 1),
      JSON.stringify(await must("GET", `/v1/cars/${garage.car.id}/bench-sheet`)),
      JSON.stringify(await must("GET", `/v1/lines/${garage.line.id}/wear`)),
    );
  });
});
