import { afterAll, beforeAll, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** A spur far in its life and one that is new but was not seen for twenty runs, a week before a meeting. */
let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
const ids: Record<string, string> = {};
beforeAll(async () => {
  service = await startTestService("2026-11-29T20:00:00.000Z");
  garage = await startGarage(service);
  const { must } = service.owner;
  const { driver, line, car } = garage;
  for (const [position, mark, priorUsage] of [
    ["spur", "old", 1000],
    ["second spur", "new", 0],
  ] as const) {
    const piece = { driverId: driver.id, lineId: line.id, mark, priorUsage };
    ids[mark] = (await must("POST", "/v1/pieces", piece)).id;
    const at = "2026-11-01T08:00:00Z";
    await must("POST", `/v1/cars/${car.id}/fittings`, { position, at, piece: { pieceId: ids[mark] } });
  }
  for (let i = 0; i < 20; i++) {
    const at = new Date(Date.parse("2026-11-02T09:00:00Z") + i * 3.6e6).toISOString();
    await must("POST", "/v1/runs", { carId: car.id, at, minutes: 1, surface: "asphalt" });
  }
  await must("POST", "/v1/meetings", {
    ...{ name: "Round 1", startsOn: "2026-12-06", surface: "asphalt", plannedRuns: 6, minutesPerRun: 5.5 },
  });
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});
const get = (path: string) => service.owner.must("GET", path);

it("the bench sheet names the rule of each advice, with its limits, and that of its checks", async () => {
  const sheet = await get(`/v1/cars/${garage.car.id}/bench-sheet?minutes=10`);
  expect(sheet.adviceBy).toEqual({ rule: "chance", changeBelow: 0.7, lookBelow: 0.95, lookAfterRuns: 18 });
  expect([sheet.checkCosts.rule, sheet.tonight.rule]).toEqual(["cost", "cost"]);
  const of = (mark: string) => sheet.entries.find((entry: any) => entry.mark === mark);
  expect(of("old")).toMatchObject({ advice: "change", rule: "chance" });
  expect(of("old").why).toMatch(
    /^By chance of wear \(change from 30 % on, look from 5 % on\): worn out by the/,
  );
  expect(of("new")).toMatchObject({ advice: "look", rule: "unseen", runsSinceSeen: 20 });
  expect(of("new").why).toMatch(
    /^By the runs it was not seen for \(look from 18 on\): .*; 20 runs since it was/,
  );
  for (const { checkWhy } of sheet.entries) expect(checkWhy).toMatch(/^By cost, /);
});

it("the pit list goes by the rule of the bench sheet, and names it", async () => {
  const list = await get(`/v1/cars/${garage.car.id}/pit-list`);
  expect(list.changeBy).toEqual({ rule: "chance", changeBelow: 0.7 });
  expect(list.change).toMatchObject([{ mark: "old", rule: "chance" }]);
  expect(list.change[0].sentence).toMatch(
    /^By chance of wear, change it before leaving: .* \(change from 30 %/,
  );
});

it("changing early goes by cost, names it, and may leave what the bench sheet changes", async () => {
  for (const mark of ["old", "new"]) {
    const early = await get(`/v1/pieces/${ids[mark]}/change-early`);
    expect(early.rule).toBe("cost");
    expect(early.sentence).toMatch(/^By cost, chang/);
  }
  const cheapRun = await get(`/v1/pieces/${ids["old"]}/change-early?lostRunCostMinorUnits=0`);
  expect([cheapRun.rule, cheapRun.changeNow]).toEqual(["cost", false]);
});

it("the page of the bench sheet says by which rule it tells what to do", async () => {
  const { body } = await service.owner.get(`/v1/cars/${garage.car.id}/bench-sheet.html?minutes=10`);
  expect(body).toContain("What to do goes by the chance of wear: change below a chance of 70 %");
  expect(body).toContain("10 minutes tonight, by cost:");
});
