import { describe, expect, it } from "vitest";
import type { Limits, Measure } from "../../src/domain/kind.ts";
import { belowZero, pieceFaults, type Sized } from "../../src/domain/piece-size.ts";

const tread: Measure = {
  quantity: "outside diameter",
  unit: "mm",
  direction: "falls",
  asNew: 63.5,
  asNewSd: 0.15,
  instruments: [{ name: "calliper", repeatabilitySd: 0.05, resolution: 0.01 }],
};
const treadLimits: Limits = { basis: "size", race: 63.2, club: 61.9, stop: 61.5 };
const play: Measure = { ...tread, quantity: "radial play", direction: "rises", asNew: 0.1, asNewSd: 0.02 };
const playLimits: Limits = { basis: "loss", race: null, club: 0.4, stop: null };
const sized = (measure: Measure, limits: Limits, line: Partial<Sized["line"]> = {}): Sized => ({
  kind: { measure, limits, usualLife: { p10: 145, p90: 200 }, clock: "minutes" },
  line: { asNew: null, limits: null, usualLife: null, ...line },
});
const tyre = (asNew: number, line: Partial<Sized["line"]> = {}) =>
  pieceFaults(sized(tread, treadLimits, line), { asNew });

describe("sizes that cannot be", () => {
  it("a size below 0 is impossible where the kind's own sizes are not below 0, and possible where they are", () => {
    expect(belowZero(tread, treadLimits, -0.01)).toBe(
      "must be at least 0 mm: the outside diameter is never negative",
    );
    expect(belowZero(tread, treadLimits, 0)).toBeNull();
    const camber: Measure = { ...tread, quantity: "camber", unit: "deg", asNew: -1, direction: "rises" };
    expect(belowZero(camber, { ...treadLimits, race: null, club: 0.5, stop: null }, -1.2)).toBeNull();
  });

  it("an as-new size past the limit is impossible: the kind's, or the line's where it has its own", () => {
    expect(tyre(62)).toEqual([]);
    expect(tyre(61.9)).toEqual([
      {
        pointer: "#/asNew",
        detail: "must be greater than the limit of 61.9 mm: a new piece is not worn out",
      },
    ]);
    const limits: Limits = { ...treadLimits, race: null, club: 62.5, stop: null };
    expect(tyre(62, { limits })[0]?.detail).toContain("limit of 62.5 mm");
    const rising = sized(play, { basis: "size", race: null, club: 0.5, stop: null });
    expect(pieceFaults(rising, { asNew: 0.5 })[0]?.detail).toContain("must be less than the limit of 0.5");
  });

  it("an as-new size further from the catalogue's than a life wears is impossible, on either side", () => {
    expect(tyre(65)).toEqual([]);
    expect(tyre(65.2)[0]?.detail).toContain("must be from 61.9 to 65.1 mm");
    expect(tyre(60, { asNew: 60.2, limits: { ...treadLimits, race: null, club: 58, stop: null } })).toEqual(
      [],
    );
    const bearing = sized(play, playLimits);
    expect(pieceFaults(bearing, { asNew: 0.45 })).toEqual([]);
    expect(pieceFaults(bearing, { asNew: 0.55 })[0]?.detail).toContain("must be from 0 to 0.5 mm");
  });

  it("where new pieces differ by more than a life wears, four of their standard deviations are believed", () => {
    const wide = sized({ ...play, asNewSd: 0.2 }, playLimits);
    expect(pieceFaults(wide, { asNew: 0.85 })).toEqual([]);
    expect(pieceFaults(wide, { asNew: 0.95 })).toHaveLength(1);
  });

  it("prior usage of more than a hundred usual lives is impossible, by the line's life where it has one", () => {
    const used = (priorUsage: number, line: Partial<Sized["line"]> = {}) =>
      pieceFaults(sized(tread, treadLimits, line), { priorUsage }, "#/piece");
    expect(used(20000)).toEqual([]);
    expect(used(20001)).toEqual([
      { pointer: "#/piece/priorUsage", detail: "must be at most 20000 minutes: 100 times the usual life" },
    ]);
    expect(used(20001, { usualLife: { p10: 200, p90: 300 } })).toEqual([]);
  });

  it("what is not said is not looked at, and a kind that is only graded has no impossible size", () => {
    expect(pieceFaults(sized(tread, treadLimits), { asNew: null })).toEqual([]);
    const graded: Sized = { ...sized(tread, treadLimits) };
    graded.kind = { ...graded.kind, measure: null, limits: null };
    expect(pieceFaults(graded, { asNew: -1 })).toEqual([]);
  });
});
