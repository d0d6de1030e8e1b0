import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { spurKind, startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** A car with two spurs: one new, one in the middle of the usual lives; the next meeting is a week off. */
describe("GET /v1/cars/{id}/bench-sheet", () => {
  let service: TestService;
  let garage: Awaited<ReturnType<typeof startGarage>>;
  const sheet = async (query = "") =>
    service.owner.must("GET", `/v1/cars/${garage.car.id}/bench-sheet${query}`);
  const entryOf = (body: any, mark: string) => body.entries.find((entry: any) => entry.mark === mark);

  beforeAll(async () => {
    service = await startTestService("2026-11-29T20:00:00.000Z");
    garage = await startGarage(service);
    const { must } = service.owner;
    for (const [position, mark, priorUsage] of [
      ["spur", "half used", 520],
      ["second spur", "new", 0],
    ] as const) {
      const piece = await must("POST", "/v1/pieces", {
        driverId: garage.driver.id,
        lineId: garage.line.id,
        mark,
        priorUsage,
      });
      await must("POST", `/v1/cars/${garage.car.id}/fittings`, {
        position,
        at: "2026-11-01T08:00:00Z",
        piece: { pieceId: piece.id },
      });
    }
  });
  afterAll(() => service.close());

  it("says that no check is worth anything while no meeting is ahead", async () => {
    const body = await sheet("?minutes=60");
    expect(body.entries.map((entry: any) => [entry.checkGainMinorUnits, entry.checkWhy])).toEqual([
      [0, "No meeting ahead: nothing has to be decided by one."],
      [0, "No meeting ahead: nothing has to be decided by one."],
    ]);
    expect(body.tonight).toMatchObject({ minutes: 60, minutesUsed: 0, gainMinorUnits: 0, checks: [] });
  });

  it("says what one more reading of each piece is worth before the next meeting, in money and for each minute, and why", async () => {
    await service.owner.must("POST", "/v1/meetings", {
      name: "Round 1",
      startsOn: "2026-12-06",
      surface: "asphalt",
      discipline: "touring",
      plannedRuns: 6,
      minutesPerRun: 5.5,
    });
    const body = await sheet();
    expect(body.tonight).toBeNull();
    expect(body.checkCosts).toEqual({
      rule: "cost",
      currency: "AUD",
      labourMinorUnits: 500,
      lostRunMinorUnits: 2500,
      lesserShare: 0.2,
    });
    const [half, fresh] = [entryOf(body, "half used"), entryOf(body, "new")];
    expect(half.checkGainMinorUnits).toBeGreaterThan(0);
    expect(half.checkGainPerMinute).toBeCloseTo(half.checkGainMinorUnits / 3, 0);
    // A spur of 9.00 and 5.00 of labour, against those and a lost run: 1400 / 3900.
    expect(half.checkWhy).toMatch(
      /^By cost, a reading may turn "leave" into "change" \(chance \d+ %\): worn out by the end of Round 1 with a chance of \d+ %, where changing pays from 36 %\.$/,
    );
    expect(fresh).toMatchObject({
      checkGainMinorUnits: 0,
      checkGainPerMinute: 0,
      checkWhy:
        "By cost, it may stay on whatever a reading says: worn out by the end of Round 1 with a chance of under 1 %, where changing pays from 36 %.",
    });
  });

  it("names the checks to spend some minutes on, and never more than the minutes", async () => {
    const enough = (await sheet("?minutes=10")).tonight;
    expect(enough).toMatchObject({ minutes: 10, minutesUsed: 3 });
    expect(enough.checks.map(({ mark }: any) => mark)).toEqual(["half used"]);
    expect(enough.gainMinorUnits).toBe(enough.checks[0].checkGainMinorUnits);
    expect((await sheet("?minutes=2.9")).tonight).toMatchObject({ minutesUsed: 0, checks: [] });
  });

  it("takes the costs asked with: nothing to lose makes no check worth its while, a dear run makes it worth more", async () => {
    const gain = async (query: string) =>
      entryOf(await sheet(query), "half used").checkGainMinorUnits as number;
    expect(await gain("?lostRunMinorUnits=0")).toBe(0);
    expect(await gain("?lostRunMinorUnits=10000")).toBeGreaterThan(await gain(""));
    expect((await sheet("?lostRunMinorUnits=10000&labourMinorUnits=0")).checkCosts).toMatchObject({
      lostRunMinorUnits: 10_000,
      labourMinorUnits: 0,
    });
  });

  it("refuses minutes and costs that are none, naming them", async () => {
    for (const query of [
      "minutes=-1",
      "minutes=601",
      "minutes=x",
      "lostRunMinorUnits=1.5",
      "labourMinorUnits=",
    ]) {
      const answer = await service.owner.get(`/v1/cars/${garage.car.id}/bench-sheet?${query}`);
      expect([answer.status, answer.body.errors[0].pointer]).toEqual([422, `#/${query.split("=")[0]}`]);
    }
  });

  it("the page shows wear beside its limit, and none where a piece is larger than its line's new ones", async () => {
    const { must, get } = service.owner;
    const tyre = await must("POST", "/v1/kinds", {
      ...{ ...spurKind, code: "T-TYRE", name: "Tyre of the tests", benchStep: "tyres" },
      limits: { basis: "size", race: 15.43, club: 15.38, stop: 15.33 },
      measure: { ...spurKind.measure, miscountStep: null },
    });
    const line = { sku: "T-TY-1", name: "Tyre", kindId: tyre.id, priceMinorUnits: 900 };
    const { id: lineId } = await must("POST", "/v1/lines", line);
    const { driver, car } = garage;
    await must("POST", `/v1/cars/${car.id}/positions`, { name: "tyre", kindId: tyre.id });
    const { id } = await must("POST", "/v1/pieces", {
      driverId: driver.id,
      lineId,
      mark: "T1",
      asNew: 15.55,
    });
    const at = "2026-11-01T08:00:00Z";
    await must("POST", `/v1/cars/${car.id}/fittings`, { position: "tyre", at, piece: { pieceId: id } });
    const entry = entryOf(await sheet(), "T1");
    expect(entry.wear.p90).toBeLessThan(0);
    expect(entry.limitWear).toBeCloseTo(0.105, 9);
    const page = (await get(`/v1/cars/${car.id}/bench-sheet.html`)).body;
    expect(page).toContain("0 (0 to 0) of 0.105\u00a0mm");
    expect(page).toMatch(/\([\d.]+ to [\d.]+\) of 0\.1\u00a0mm/);
  });
});
