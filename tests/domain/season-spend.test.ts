import { expect, it } from "vitest";
import { monthsOf, spendByMonth } from "../../src/domain/season-spend.ts";

it("packs are bought when what there is runs out, and not again while the pack lasts", () => {
  const needed = [Int32Array.of(2, 0), Int32Array.of(5, 3), Int32Array.of(6, 9)];
  const spend = spendByMonth(needed, { held: 3, packSize: 4, orderMultiplePacks: 1, priceMinorUnits: 700 });
  expect(spend.map((month) => [...month])).toEqual([
    [0, 0],
    [700, 0],
    [0, 1400],
  ]);
});

it("a stretch of days has its months, each with the last day that counts", () => {
  expect(monthsOf("2026-11-20", "2027-02-10")).toEqual([
    { month: "2026-11", lastDay: "2026-11-30" },
    { month: "2026-12", lastDay: "2026-12-31" },
    { month: "2027-01", lastDay: "2027-01-31" },
    { month: "2027-02", lastDay: "2027-02-10" },
  ]);
  expect(monthsOf("2028-02-01", "2028-02-29")).toEqual([{ month: "2028-02", lastDay: "2028-02-29" }]);
});
