import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { arrivalOf, keepsUntil, orderWindow } from "../../src/domain/order-window.ts";
import type { LeadTime } from "../../src/domain/restock.ts";
import { poissonLaw } from "../../src/stats/index.ts";

/** Each number of days from 4 to 8, with these chances. */
const leadTime: LeadTime = {
  meanDays: 5.4,
  sdDays: 1.3,
  deliveries: 3,
  byDay: [0, 0, 0, 0, 0.3, 0.3, 0.2, 0.12, 0.08],
};
const today = "2026-12-01";
const at = { today, orderNow: false };
const target = { kind: "cycle", value: 0.9 } as const;
const needs = [
  { day: "2026-12-20", needed: [0.95, 0.05] },
  { day: "2027-01-10", needed: [0.7, 0.3] },
];

describe("the window of an order", () => {
  it("closes so long before the first short day as a delivery takes with the target's chance, and opens ten times surer", () => {
    // With 0.9 it takes 7 days at most, with 0.99 8 days; and it is to be there the day before.
    expect(orderWindow(needs, () => 0, target, leadTime, at)).toEqual({
      shortOn: "2027-01-10",
      from: "2027-01-01",
      by: "2027-01-02",
      late: false,
    });
  });

  it("is none where what there is lasts, and closes today at the reorder point", () => {
    expect(orderWindow(needs, () => 1, target, leadTime, at)).toBeNull();
    expect(orderWindow(needs, () => 1, target, leadTime, { today, orderNow: true })).toEqual({
      shortOn: null,
      from: today,
      by: today,
      late: false,
    });
    expect(orderWindow(needs, () => 0, target, leadTime, { today, orderNow: true })).toMatchObject({
      from: today,
      by: today,
      late: false,
    });
  });

  it("of a line that ends and that nothing replaces closes on the day before, and is not late for that", () => {
    const ending = { ...at, lastDay: "2026-12-20" };
    expect(orderWindow(needs, () => 0, target, leadTime, ending)).toEqual({
      ...{ shortOn: "2027-01-10", from: "2026-12-19", by: "2026-12-19", late: false },
    });
    const after = { ...at, lastDay: "2027-06-01" };
    expect(orderWindow(needs, () => 0, target, leadTime, after)?.by).toBe("2027-01-02");
  });

  it("that has closed is said to be late, and no day of it is before today", () => {
    const soon = [{ day: "2026-12-04", needed: [0.5, 0.5] }];
    expect(orderWindow(soon, () => 0, target, leadTime, at)).toEqual({
      shortOn: "2026-12-04",
      from: today,
      by: today,
      late: true,
    });
  });

  it("opens no later than it closes, neither before today, and the surer the target the earlier", () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0.1, max: 9, noNaN: true }),
        fc.integer({ min: 0, max: 6 }),
        fc.double({ min: 0.5, max: 0.99, noNaN: true }),
        (mean, stock, value) => {
          const law = [
            { day: "2026-12-13", needed: poissonLaw(mean / 3) },
            { day: "2027-02-07", needed: poissonLaw(mean) },
          ];
          const of = (level: number) =>
            orderWindow(law, () => stock, { kind: "cycle", value: level }, leadTime, at);
          const window = of(value);
          if (window === null) return;
          expect(window.from <= window.by && window.from >= today).toBe(true);
          const surer = of((1 + value) / 2)!;
          expect(surer.by <= window.by).toBe(true);
        },
      ),
    );
  });
});

it("what is ordered on a day is there by the 10th, 50th and 90th percentile of the lead time, and keeps from the first", () => {
  expect(arrivalOf("2026-12-28", leadTime)).toEqual({
    p10: "2027-01-01",
    median: "2027-01-02",
    p90: "2027-01-04",
  });
  expect(keepsUntil("2026-12-28", leadTime, 30)).toBe("2027-01-31");
  expect(keepsUntil("2026-12-28", leadTime, null)).toBeNull();
});
