import { describe, expect, it } from "vitest";
import { goodUntil, lostToAge } from "../../src/domain/shelf-life.ts";
import { poissonLaw } from "../../src/stats/index.ts";

const batches = [
  { at: "2027-01-10T10:00:00.000Z", pieces: 4 },
  { at: "2026-11-01T10:00:00.000Z", pieces: 5 },
  { at: "2026-12-01T10:00:00.000Z", pieces: 2 },
];
const stock = { batches, onHand: 7, shelfLifeDays: 60 };

describe("stock that ages on the shelf", () => {
  it("is what came in last, since the first in goes out first", () => {
    expect(goodUntil(stock)).toEqual([
      { day: "2026-12-31", pieces: 1 },
      { day: "2027-01-30", pieces: 2 },
      { day: "2027-03-11", pieces: 4 },
    ]);
    expect(goodUntil({ ...stock, onHand: 3 })).toEqual([{ day: "2027-03-11", pieces: 3 }]);
  });

  it("does not count on a day after its last good one", () => {
    expect(lostToAge(stock, "2026-12-31", [])).toBe(0);
    expect(lostToAge(stock, "2027-01-01", [])).toBe(1);
    expect(lostToAge(stock, "2027-02-15", [])).toBe(3);
    expect(lostToAge(stock, "2027-06-01", [])).toBe(7);
  });

  it("counts as far as it is surely used before", () => {
    const needs = [{ day: "2027-01-20", needed: poissonLaw(6) }];
    // The 10th percentile of Poisson 6 is 3: both pieces that are good until 30 January are used by then.
    expect(lostToAge(stock, "2027-02-15", needs)).toBe(1);
    expect(lostToAge(stock, "2027-06-01", needs)).toBe(7 - 3);
  });

  it("that never came in by the book is not taken to be old", () => {
    expect(lostToAge({ batches: [], onHand: 5, shelfLifeDays: 10 }, "2030-01-01", [])).toBe(0);
  });
});
