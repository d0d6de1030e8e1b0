import { describe, expect, it } from "vitest";
import {
  diesOn,
  dyingPieces,
  dyingReasons,
  needBeyond,
  type OnShelfLine,
  salesOf,
} from "../../src/domain/dying-stock.ts";
import { pmfMean } from "../../src/stats/index.ts";

const today = "2026-12-01";
const days = ["2027-03-01", "2027-12-01"];
/** 2 to 4 by the end, 1 of them surely by March. */
const needs = [
  { day: days[0]!, needed: [0, 0.6, 0.4] },
  { day: days[1]!, needed: [0, 0, 0.2, 0.5, 0.3] },
];
const none = days.map((day) => ({ day, needed: [1] }));
const line: OnShelfLine = {
  pieces: 4,
  packSize: 1,
  carStopper: false,
  ageing: null,
  endedOn: null,
  replaced: false,
  needs,
  use: "used",
  takenPastYear: null,
};
const reasons = (changes: Partial<OnShelfLine>) =>
  dyingReasons({ ...line, ...changes }, days, today).map(({ reason, pieces, on }) => [reason, pieces, on]);

describe("what dies on a shelf", () => {
  it("is nothing that a year needs at 90 %, and else the whole packs beyond it", () => {
    expect(reasons({})).toEqual([]);
    expect(reasons({ pieces: 7 })).toEqual([["more-than-needed", 3, null]]);
    expect(reasons({ pieces: 7, packSize: 2 })).toEqual([["more-than-needed", 2, null]]);
  });

  it("is no more than what the past year took leaves over, and never the last pack of a car-stopper", () => {
    expect(reasons({ pieces: 7, takenPastYear: 6 })).toEqual([["more-than-needed", 1, null]]);
    expect(reasons({ pieces: 7, takenPastYear: 9 })).toEqual([]);
    expect(reasons({ pieces: 1, needs: none, carStopper: true })).toEqual([]);
    expect(reasons({ pieces: 1, needs: none })).toEqual([["more-than-needed", 1, null]]);
  });

  it("is what no car uses, unless it was sold all the same", () => {
    expect(reasons({ needs: none, use: "no-car" })).toEqual([["no-car", 4, null]]);
    expect(reasons({ needs: none, use: "fits", takenPastYear: 0 })).toEqual([["not-in-use", 4, null]]);
    expect(reasons({ needs: none, use: "no-car", takenPastYear: 1 })).toEqual([]);
  });

  it("is what is past its shelf life, or passes it before it is surely sold: first in, first out", () => {
    const ageing = {
      onHand: 4,
      shelfLifeDays: 365,
      batches: [
        { at: "2025-11-01T00:00:00.000Z", pieces: 1 },
        { at: "2026-03-02T00:00:00.000Z", pieces: 3 },
      ],
    };
    // One is sold by March for sure, and it is the first of the three.
    expect(reasons({ ageing })).toEqual([
      ["past-shelf-life", 1, "2026-11-01"],
      ["ages-before-sale", 2, "2027-03-02"],
    ]);
    // At the pace of the past year 20 go by then, 14 of them for sure.
    expect(reasons({ ageing, takenPastYear: 80 })).toEqual([["past-shelf-life", 1, "2026-11-01"]]);
  });

  it("is what has ended or is replaced, as far as it goes beyond the need", () => {
    expect(reasons({ pieces: 6, packSize: 4, endedOn: "2026-11-30" })).toEqual([["ended", 2, "2026-11-30"]]);
    expect(reasons({ endedOn: "2027-02-26", replaced: true })).toEqual([["ends", 0, "2027-02-26"]]);
    expect(reasons({ endedOn: "2028-02-26", replaced: true })).toEqual([["superseded", 0, null]]);
    expect(reasons({ endedOn: "2028-02-26" })).toEqual([]);
  });

  it("where the need is withheld is named by dates alone, with all its pieces", () => {
    const hidden = { needs: null, use: "withheld" } as const;
    expect(reasons({ ...hidden, pieces: 900 })).toEqual([]);
    expect(reasons({ ...hidden, endedOn: "2026-11-30" })).toEqual([["ended", 4, "2026-11-30"]]);
    const ageing = {
      onHand: 4,
      shelfLifeDays: 365,
      batches: [{ at: "2026-03-02T00:00:00.000Z", pieces: 4 }],
    };
    expect(reasons({ ...hidden, ageing })).toEqual([["ages-before-sale", 4, "2027-03-02"]]);
  });

  it("of an unknown number is named without one", () => {
    expect(reasons({ pieces: null, endedOn: "2026-11-30" })).toEqual([["ended", null, "2026-11-30"]]);
    expect(dyingPieces([{ reason: "ended", pieces: null, on: null }], null)).toBeNull();
  });
});

it("pieces named by several reasons are counted once, and those too old now and later together", () => {
  const all = [
    { reason: "past-shelf-life", pieces: 1, on: "2026-11-01" },
    { reason: "ages-before-sale", pieces: 2, on: "2027-03-02" },
    { reason: "more-than-needed", pieces: 2, on: null },
  ] as const;
  expect(dyingPieces(all, 5)).toBe(3);
  expect(dyingPieces(all, 2)).toBe(2);
  expect(diesOn(all)).toBe("2026-11-01");
  expect(diesOn(all.slice(2))).toBeNull();
});

it("a need beyond what another line serves has the rest of its law", () => {
  const needed = [0.1, 0.2, 0.3, 0.4];
  expect(needBeyond(needed, 2)).toEqual([0.6000000000000001, 0.4]);
  expect(needBeyond(needed, 0)).toEqual(needed);
  expect(needBeyond(needed, 9)).toEqual([1]);
  expect(pmfMean(needBeyond(needed, 1))).toBeCloseTo(0.3 + 2 * 0.4, 12);
});

it("of what lies there no more is sold than lies there", () => {
  const needed = [0.1, 0.2, 0.3, 0.4];
  const two = salesOf(needed, 2);
  // 0.2 · 1 + 0.7 · 2
  expect(two.expected).toBeCloseTo(1.6, 12);
  expect([two.p10, two.median, two.p90]).toEqual([0, 2, 2]);
  expect(salesOf(needed, Infinity).expected).toBeCloseTo(2, 12);
});
