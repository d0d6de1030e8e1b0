import { describe, expect, it } from "vitest";
import { lawOf, seasonsOfNeed } from "../../src/domain/demand-seasons.ts";
import { type MateLine, seasonsWithMates } from "../../src/domain/demand-mates.ts";
import type { LineWorld } from "../../src/domain/demand.ts";
import { pmfCdf } from "../../src/stats/index.ts";

const weibull = (shape: number, scale: number) => (t: number) => -Math.expm1(-((t / scale) ** shape));
/** Practically a fixed life. */
const fixed = (life: number) => weibull(200, life);
const rare = { shape: 1, rate: 1e9, broken: 0, runs: 0 };
const world = (worn: (t: number) => number, usageThrough: number[], positions = 1): LineWorld => ({
  weight: 1,
  newWorn: worn,
  groups: Array.from({ length: positions }, () => ({ owner: "d", worn: [worn], usageThrough, runs: 10 })),
});
const line = (mate: number, leader: number | null, usage = [100]): MateLine => ({
  worlds: [world(fixed(mate), usage)],
  breakage: rare,
  exponent: 1,
  mates: [{ usedNow: 0, leader: leader === null ? null : { line: 0, group: 0 } }],
  leaders: leader === null ? [] : [{ worlds: [world(fixed(leader), usage)], breakage: rare }],
});
const needed = (of: MateLine) => seasonsWithMates(of, { seasons: 50, seed: 3 }).at(-1)!;

describe("a line that is changed with its mate", () => {
  it("is changed when the leading piece is, once it is past half its limit", () => {
    // Leading piece ends at 30, 60, 90; the mate would last 50: changed at 30 (past 25), 60, 90.
    expect(new Set(needed(line(50, 30)))).toEqual(new Set([3]));
    // It would last 80: at 30 it is not past 40, at 60 it is; at 90 it is 30 old and stays.
    expect(new Set(needed(line(80, 30)))).toEqual(new Set([1]));
  });

  it("goes on until its own end where the leading piece outlasts it", () => {
    expect(new Set(needed(line(45, 300)))).toEqual(new Set([2]));
  });

  it("without a leading piece needs what any line needs", () => {
    const alone: MateLine = {
      ...line(1, null),
      worlds: [world(weibull(2.5, 40), [30, 90], 4)],
      mates: Array.from({ length: 4 }, () => ({ usedNow: 0, leader: null })),
    };
    const asMate = seasonsWithMates(alone, { seasons: 8000, seed: 1 }).map(lawOf);
    const plain = seasonsOfNeed(alone.worlds, rare, { seasons: 8000, seed: 2 }).map(lawOf);
    for (let i = 0; i < 2; i++)
      for (let k = 0; k < 12; k++)
        expect(Math.abs(pmfCdf(asMate[i]!, k) - pmfCdf(plain[i]!, k))).toBeLessThan(0.03);
  });

  it("never needs less than it would alone", () => {
    const mean = (of: MateLine) => needed(of).reduce((sum, n) => sum + n, 0);
    for (const leader of [20, 35, 60, 150])
      expect(mean(line(70, leader))).toBeGreaterThanOrEqual(mean(line(70, null)));
  });

  it("is served by its driver's own stock in the order of the changes, whichever of the cars is changed first", () => {
    // One car needs a piece in the second stretch, the other in the first: the one piece held serves the first.
    const usage = [
      [10, 60],
      [60, 70],
    ];
    const two: MateLine = {
      ...line(50, null),
      worlds: [
        {
          weight: 1,
          newWorn: fixed(50),
          groups: usage.map((usageThrough) => ({ owner: "d", worn: [fixed(50)], usageThrough, runs: 10 })),
        },
      ],
      mates: usage.map(() => ({ usedNow: 0, leader: null })),
    };
    const through = seasonsWithMates(two, { seasons: 5, seed: 3, held: new Map([["d", 1]]) });
    expect(through.map((one) => one[0])).toEqual([0, 1]);
  });

  it("is served by its driver's own stock first", () => {
    const held = (pieces: number) =>
      seasonsWithMates(line(50, 30, [40, 100]), { seasons: 10, seed: 3, held: new Map([["d", pieces]]) }).map(
        (m) => m[0],
      );
    expect(held(0)).toEqual([1, 3]);
    expect(held(2)).toEqual([0, 1]);
    expect(held(9)).toEqual([0, 0]);
  });

  it("is as old as it is: half of its life may be behind it already", () => {
    const old: MateLine = { ...line(80, 30), mates: [{ usedNow: 30, leader: { line: 0, group: 0 } }] };
    // What is left of it follows the law given (80 more): past half of its 110 at 25 more, so the change at 30 takes it.
    expect(needed(old)[0]).toBe(2);
  });
});
