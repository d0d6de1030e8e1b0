import { describe, expect, it } from "vitest";
import { shippedKinds } from "../../seeds/index.ts";
import { demandOfMeetings } from "../../src/domain/calendar.ts";
import { breakageEvidence } from "../../src/domain/breakage.ts";
import { chancesThrough, pieceForecast, remainingLife, restsOn } from "../../src/domain/forecast.ts";
import type { Kind } from "../../src/domain/kind.ts";
import { wearLimit, wearPrior, wearScale } from "../../src/domain/wear.ts";
import { fitWearLine } from "../../src/stats/index.ts";

const kindOf = (code: string): Kind => ({
  ...shippedKinds.find((one) => one.code === code)!,
  id: code,
  shipped: true,
});
const overrides = { asNew: null, limits: null, usualLife: null };
const knowledge = (code: string) => {
  const kind = kindOf(code);
  const limit = wearLimit(wearScale(kind, overrides))!;
  const wear = fitWearLine({ pieces: [], limit }, wearPrior(kind, overrides));
  return { kind, overrides, wear, breakage: breakageEvidence(kind, []) };
};
const unused = {
  id: "p",
  asNew: null,
  priorUsage: null,
  priorUsageSd: null,
  seen: [],
  now: { usage: 0, bySurface: {} },
};
const meeting = (startsOn: string) => ({
  meetingId: startsOn,
  name: startsOn,
  startsOn,
  surface: "asphalt" as const,
  runs: 6,
  minutesPerRun: 5.5,
});
const season = ["2027-02-07", "2027-02-28", "2027-03-21", "2027-04-11"].map(meeting);
const now = "2026-12-01T09:00:00.000Z";

describe("a forecast in the trade's words", () => {
  it("of a new piece without a log is the kind's usual life, somewhat widened, and says that it is belief", () => {
    for (const code of ["SPR-48", "TYR-RT", "BSH-PL", "BRU"]) {
      const line = knowledge(code);
      const { p10, p90 } = line.kind.usualLife;
      const { usage } = remainingLife(line.kind, pieceForecast(line, unused), [], now);
      expect(usage.p10! / p10, code).toBeGreaterThan(0.45);
      expect(usage.p10! / p10, code).toBeLessThan(1.15);
      expect(usage.p90! / p90, code).toBeGreaterThan(0.9);
      expect(usage.p90! / p90, code).toBeLessThan(2);
      expect(restsOn(line, unused)).toMatchObject({ basis: "belief", ownReadings: 0, linePieces: 0 });
    }
  });

  it("chances add up: lasting is neither wearing out nor breaking, taken as independent", () => {
    const line = knowledge("SPR-48");
    const { lasts, wearsOut, breaks } = chancesThrough(pieceForecast(line, unused), line.breakage, {
      wearingUsage: 330,
      runs: 60,
    });
    expect(lasts).toBeCloseTo((1 - wearsOut) * (1 - breaks), 12);
    expect(breaks).toBeGreaterThan(0.1);
  });

  it("more use ahead never raises the chance of lasting", () => {
    const line = knowledge("TYR-RT");
    const forecast = pieceForecast(line, unused);
    const chances = [0, 30, 60, 120, 240].map(
      (wearingUsage) =>
        chancesThrough(forecast, line.breakage, { wearingUsage, runs: wearingUsage / 5.5 }).lasts,
    );
    for (let i = 1; i < chances.length; i++) expect(chances[i]!).toBeLessThanOrEqual(chances[i - 1]!);
  });

  it("beyond the calendar's end there is neither a date nor a number of meetings, and runs go on at its average", () => {
    const line = knowledge("SPR-48");
    const demand = demandOfMeetings("minutes", season, () => 1);
    const { date, meetings, runs, calendarEndsOn } = remainingLife(
      line.kind,
      pieceForecast(line, unused),
      demand,
      now,
    );
    expect(date).toEqual({ p10: null, median: null, p90: null });
    expect(meetings).toEqual({ p10: null, median: null, p90: null });
    expect(runs.median!).toBeGreaterThan(24);
    expect(calendarEndsOn).toBe("2027-04-11");
  });

  it("a part that ages by days has a date of its own, and no meetings are counted beyond the calendar's end", () => {
    const line = knowledge("INS");
    const demand = demandOfMeetings("days", season, () => 1);
    const { date, meetings, runs } = remainingLife(line.kind, pieceForecast(line, unused), demand, now);
    expect(date.p10! > "2027-04-11").toBe(true);
    expect([meetings.p10, runs.p10]).toEqual([null, null]);
  });
});
