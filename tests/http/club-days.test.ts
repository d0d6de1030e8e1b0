import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";
import { textOf } from "../support/well-formed.ts";

/** Half past six in the morning of 30 November in Brisbane; half past eight in the evening of 29 November in UTC. */
const now = "2026-11-29T20:30:00.000Z";

describe("days that people read", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  let pieceId: string;
  let orderId: string;
  const page = async (path: string): Promise<string> => (await service.owner.get(path)).body;
  beforeAll(async () => {
    service = await startTestService(now);
    garage = await startGarage(service);
    const { must } = service.owner;
    await must("PATCH", "/v1/club", { timeZone: "Australia/Brisbane" });
    const { id: carId } = garage.car;
    const spur = { driverId: garage.driver.id, lineId: garage.line.id, mark: "spur 1", asNew: 15.49 };
    pieceId = (await must("POST", "/v1/pieces", spur)).id;
    await must("POST", `/v1/cars/${carId}/fittings`, {
      position: "spur",
      at: "2026-11-08T09:00:00+10:00",
      piece: { pieceId },
    });
    for (const day of ["08", "15", "22"])
      await must("POST", "/v1/runs", {
        carId,
        at: `2026-11-${day}T10:00:00+10:00`,
        minutes: 60,
        surface: "asphalt",
      });
    await must("POST", `/v1/pieces/${pieceId}/inspections`, {
      at: "2026-11-30T06:00:00+10:00",
      readings: [{ value: 15.47, unit: "mm" }],
    });
    await must("POST", "/v1/meetings", {
      name: "Round 1",
      startsOn: "2026-12-06",
      surface: "asphalt",
      plannedRuns: 6,
    });
    orderId = (
      await must("POST", "/v1/orders", {
        supplierId: garage.supplier.id,
        locationId: garage.home.id,
        placedAt: "2026-11-30T05:00:00+10:00",
        promisedOn: "2026-12-04",
        lines: [{ lineId: garage.line.id, packs: 1, priceMinorUnits: 900 }],
      })
    ).id;
  });
  afterAll(() => service.close());

  it("on printed pages are those of the club's clock, and days that were entered as days stay as they are", async () => {
    const bench = await page(`/v1/cars/${garage.car.id}/bench-sheet.html`);
    expect(textOf(bench, "tbody")).toContain("30\u00a0Nov\u00a02026");
    expect(bench).toContain("As of 30 November 2026, for Round 1 on 6 December 2026");
    const order = await page(`/v1/orders/${orderId}/purchase-order.html`);
    expect(order).toContain("placed on 30 November 2026");
    expect(order).toContain("Promised for 4 December 2026.");
    for (const path of [
      `/v1/cars/${garage.car.id}/pit-list.html`,
      "/v1/restock-list.html?through=2026-12-31",
    ])
      expect(await page(path)).toContain("As of 30 November 2026.");
  });

  it("in the names of files are those of the club's clock, and moments in files are in UTC", async () => {
    const { headers } = await service.owner.get("/v1/exports/runs?format=csv");
    expect(headers.get("content-disposition")).toContain("runs-2026-11-30.csv");
    const all = await service.owner.get("/v1/export");
    expect(all.headers.get("content-disposition")).toContain("club-2026-11-30.json");
    expect(await page(`/v1/cars/${garage.car.id}/bench-sheet.csv`)).toContain("2026-11-29T20:00:00.000Z");
  });

  it("along the axis of a picture begin at the club's midnight", async () => {
    for (const [timeZone, clock] of [
      ["Australia/Brisbane", "2026-11-30T06:30:00Z"],
      ["UTC", "2026-11-29T20:30:00Z"],
      ["America/Anchorage", "2026-11-29T11:30:00Z"],
    ] as const) {
      await service.owner.must("PATCH", "/v1/club", { timeZone });
      const svg = await page(`/v1/pieces/${pieceId}/wear.svg?axis=date&width=1200`);
      const ticks = [...svg.matchAll(/<text x="([\d.]+)" y="[\d.]+" text-anchor="middle">(\d+ \w+)</g)].map(
        ([, x, day]) => ({ x: Number(x), at: Date.parse(`${day} 2026 00:00 UTC`) }),
      );
      const [first, last] = [ticks[0]!, ticks.at(-1)!];
      expect(last.at).toBeGreaterThan(first.at);
      const nowAt = Number(
        /<line class="axis" x1="([\d.]+)" x2="\1" y1="[\d.]+" y2="[\d.]+"><\/line><text class="halo"/.exec(
          svg,
        )![1],
      );
      const shown = first.at + ((nowAt - first.x) / (last.x - first.x)) * (last.at - first.at);
      expect(Math.abs(shown - Date.parse(clock)) / 3.6e6).toBeLessThan(1);
    }
  });
});
