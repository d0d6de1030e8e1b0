import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** Eight packs, each read after every tenth cycle until it is past its limit of a fifth of its capacity. */
describe("GET /v1/lines/{id}/accuracy", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  const accuracy = async (lineId: string) => service.owner.must("GET", `/v1/lines/${lineId}/accuracy`);
  const at = (hours: number) =>
    new Date(Date.parse("2026-01-05T08:00:00Z") + hours * 3_600_000).toISOString();

  beforeAll(async () => {
    service = await startTestService("2026-12-01T09:00:00.000Z");
    garage = await startGarage(service);
    const { must } = service.owner;
    for (let p = 0; p < 8; p++) {
      const piece = await must("POST", "/v1/pieces", {
        driverId: garage.driver.id,
        lineId: garage.packLine.id,
        mark: `pack ${p}`,
        asNew: 100,
      });
      for (let look = 0; look < 11; look++) {
        for (let run = 0; run < 10; run++)
          await must("POST", "/v1/runs", {
            carId: garage.car.id,
            at: at(look * 168 + p * 12 + run),
            minutes: 5,
            surface: "carpet",
            packId: piece.id,
          });
        const wear = (0.19 + 0.012 * p) * 10 * (look + 1) + 1.2 * Math.sin(7 * look + 3 * p);
        await must("POST", `/v1/pieces/${piece.id}/inspections`, {
          at: at(look * 168 + p * 12 + 10),
          readings: [{ value: Math.round((100 - wear) * 10) / 10, unit: "percent" }],
          confirmed: true,
        });
      }
    }
  }, 60_000);
  afterAll(() => service.close());

  it("says of a line without two looks at one piece that there is nothing to go by", async () => {
    const body = await accuracy(garage.line.id);
    expect(body).toMatchObject({ sku: "T-SP-1", unit: "mm", scheme: { evenings: 0, eveningsScored: 0 } });
    expect(body.accuracy).toEqual([]);
  });

  it("counts forecasts and pieces, says how often ranges held, and sets the scores against a straight line", async () => {
    const body = await accuracy(garage.packLine.id);
    expect(body.scheme.eveningsScored).toBe(20);
    expect(body.scheme.sentence).toContain("fitted from what was known by then");
    const [readings, ends] = body.accuracy;
    expect([readings.target, ends.target]).toEqual(["reading", "end"]);
    expect(readings).toMatchObject({ pieces: 8, enough: true });
    expect(readings.known).toBe(readings.forecasts);
    const at80 = readings.coverage.find(({ level }: any) => level === 0.8);
    expect(at80.share).toBeGreaterThan(0.6);
    expect(at80.limits.low).toBeLessThan(at80.share);
    expect(readings.naive.ourMeanCrps).toBeLessThan(readings.naive.meanCrps);
    expect(ends.known).toBeGreaterThan(0);
    expect(readings.sentence).toMatch(/^The 80 % ranges held \d+ % of \d+ next readings of 8 pieces/);
  });

  it("gives the same figures again, and shows a driver the line's pooled figures and nobody's rows", async () => {
    const body = await accuracy(garage.packLine.id);
    const other = await service.owner.must("POST", "/v1/drivers", { name: "Mara Tindle" });
    const seen = await (await service.as("driver", other.id)).must(
      "GET",
      `/v1/lines/${garage.packLine.id}/accuracy`,
    );
    expect(seen).toEqual(body);
    expect(JSON.stringify(seen)).not.toContain("pack 1");
  });

  it("is refused to a shop, and says so for a line that is not there", async () => {
    const shop = await service.as("shop");
    expect((await shop.get(`/v1/lines/${garage.packLine.id}/accuracy`)).status).toBe(403);
    expect((await service.owner.get("/v1/lines/none/accuracy")).status).toBe(404);
  });
});
