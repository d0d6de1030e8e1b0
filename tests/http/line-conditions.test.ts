import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** Ten spurs, five always run in dust, where they wear twice as fast; nothing else differs. */
describe("conditions in GET /v1/lines/{id}/wear", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  const wear = () => service.owner.must("GET", `/v1/lines/${garage.line.id}/wear`);

  beforeAll(async () => {
    service = await startTestService("2026-12-01T09:00:00.000Z");
    garage = await startGarage(service);
    const { must } = service.owner;
    let minute = 0;
    const at = () => new Date(Date.parse("2026-03-01T08:00:00Z") + 60_000 * 7 * minute++).toISOString();
    for (let p = 0; p < 10; p++) {
      const dusty = p % 2 === 1;
      const piece = await must("POST", "/v1/pieces", {
        driverId: garage.driver.id,
        lineId: garage.line.id,
        mark: `S${p}`,
        asNew: 15.485,
      });
      await must("POST", `/v1/cars/${garage.car.id}/fittings`, {
        position: "spur",
        at: at(),
        piece: { pieceId: piece.id },
      });
      const own = 1 + 0.15 * Math.sin(5 * p);
      for (let look = 1; look <= 3; look++) {
        for (let i = 0; i < 4; i++)
          await must("POST", "/v1/runs", {
            carId: garage.car.id,
            at: at(),
            minutes: 30,
            surface: "asphalt",
            conditions: dusty ? ["dusty"] : [],
          });
        const lost = own * (dusty ? 2 : 1) * 0.00012 * 120 * look;
        await must("POST", `/v1/pieces/${piece.id}/inspections`, {
          at: at(),
          readings: [{ value: Math.round((15.485 - lost) * 1000) / 1000, unit: "mm" }],
          confirmed: true,
        });
      }
      await must("PUT", `/v1/pieces/${piece.id}/retirement`, { at: at(), retiredFor: "precaution" });
    }
  }, 60_000);
  afterAll(() => service.close());

  it("say how many times as fast the line wears in dust, with a range that holds the truth, and what it rests on", async () => {
    const { conditions } = await wear();
    expect(conditions.map(({ condition }: any) => condition)).toEqual(["dusty"]);
    const [dusty] = conditions;
    expect(dusty).toMatchObject({ factor: "dusty", believed: 1, runs: 60, share: 0.5 });
    expect(dusty.p10).toBeGreaterThan(1);
    expect(dusty.p10).toBeLessThan(2);
    expect(dusty.p90).toBeGreaterThan(1.8);
    expect(dusty.sentence).toMatch(
      /^"dusty" wears it \d\.\d\d times as fast as other use \(\d\.\d\d to \d\.\d\d\); from 60 runs, 50 % of its use\.$/,
    );
  });

  it("are none where nothing was met often enough", async () => {
    const packs = await service.owner.must("GET", `/v1/lines/${garage.packLine.id}/wear`);
    expect(packs.conditions).toEqual([]);
  });

  it("leave the forecasts as they are: a piece's own rate has its conditions in it", async () => {
    const { wearRate } = await wear();
    expect(wearRate.p10).toBeLessThan(0.00012);
    expect(wearRate.p90).toBeGreaterThan(0.00024);
  });
});
