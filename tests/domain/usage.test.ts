import { describe, expect, it } from "vitest";
import { covers, daysBetween, runUsage, usageAtMoments } from "../../src/domain/usage.ts";

const run = (at: string, minutes: number, surface: "asphalt" | "carpet" = "asphalt", knocks = 0) => ({
  at,
  minutes,
  surface,
  knocks,
});

describe("usage", () => {
  it("a run at the moment of fitting counts, one at the moment of removal does not", () => {
    const span = { fittedAt: "2026-01-02", removedAt: "2026-01-04" };
    expect(["2026-01-01", "2026-01-02", "2026-01-03", "2026-01-04"].map((at) => covers(span, at))).toEqual([
      false,
      true,
      true,
      false,
    ]);
    expect(covers({ fittedAt: "2026-01-02", removedAt: null }, "2027-01-01")).toBe(true);
  });

  it("each clock counts its own: minutes, runs, cycles, knocks; days need no runs", () => {
    const one = { minutes: 5.5, knocks: 2 };
    expect([
      runUsage("minutes", one),
      runUsage("runs", one),
      runUsage("cycles", one),
      runUsage("knocks", one),
      runUsage("days", one),
    ]).toEqual([5.5, 1, 1, 2, 0]);
  });

  it("usage at moments includes the runs up to each, prior usage, and is split by surface", () => {
    const history = {
      clock: "minutes" as const,
      priorUsage: 100,
      since: null,
      runs: [run("2026-01-01T10", 5), run("2026-01-01T12", 6, "carpet"), run("2026-01-02T10", 7)],
    };
    expect(
      usageAtMoments(history, ["2026-01-01T09", "2026-01-01T10", "2026-01-01T20", "2026-01-03"]),
    ).toEqual([
      { usage: 100, bySurface: {} },
      { usage: 105, bySurface: { asphalt: 5 } },
      { usage: 111, bySurface: { asphalt: 5, carpet: 6 } },
      { usage: 118, bySurface: { asphalt: 12, carpet: 6 } },
    ]);
  });

  it("the clock of days runs from purchase or first fitting, and stands still without either", () => {
    const history = { clock: "days" as const, priorUsage: 30, since: "2026-01-01T00:00:00.000Z", runs: [] };
    expect(usageAtMoments(history, ["2026-01-11T12:00:00.000Z"])).toEqual([{ usage: 40.5, bySurface: {} }]);
    expect(usageAtMoments({ ...history, since: null }, ["2026-01-11T12:00:00.000Z"])[0]!.usage).toBe(30);
    expect(daysBetween("2026-02-01T00:00:00Z", "2026-01-01T00:00:00Z")).toBe(0);
  });
});
