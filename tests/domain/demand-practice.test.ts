import { describe, expect, it } from "vitest";
import { type LineWorld, piecesNeeded } from "../../src/domain/demand.ts";
import { creditAfter, endOfSet, type Practice } from "../../src/domain/demand-practice.ts";
import { lawOf, seasonsOfNeed } from "../../src/domain/demand-seasons.ts";
import { pmfCdf, pmfMean } from "../../src/stats/index.ts";

const weibull =
  (shape: number, scale: number, age = 0) =>
  (t: number) =>
    -Math.expm1((age / scale) ** shape - ((age + t) / scale) ** shape);
const rare = { shape: 1, rate: 1e9, broken: 0, runs: 0 };
const breakage = { shape: 3, rate: 300, broken: 3, runs: 300 };

/** Lives of Weibull shape 2.5; the sets kept for practice are old ones of the same line, with a limit a third further. */
function testBed(sizes: readonly number[], practice: Partial<Practice> & { kept?: number } = {}) {
  const { kept = 1, ...said } = practice;
  return [
    { weight: 0.25, scale: 53 },
    { weight: 0.5, scale: 40 },
    { weight: 0.25, scale: 30 },
  ].map(
    ({ weight, scale }): LineWorld => ({
      weight,
      newWorn: weibull(2.5, scale),
      groups: sizes.map((size, i) => ({
        owner: `d${i % 2}`,
        worn: Array.from({ length: size }, () => weibull(2.5, scale, 9 * (i % 4))),
        usageThrough: [10, 35, 80 + 5 * i],
        runs: 12,
        practice: {
          through: [3, 6, 17 + i],
          sets: Array.from({ length: kept }, () =>
            Array.from({ length: size }, () => weibull(2.5, 1.3 * scale, scale)),
          ),
          after: 0.3,
          usedNow: 9 * (i % 4),
          ...said,
        },
      })),
    }),
  );
}
const without = (worlds: readonly LineWorld[]): LineWorld[] =>
  worlds.map((world) => ({
    ...world,
    groups: world.groups.map(({ practice: _, ...group }) => group),
  }));

describe("the need of a line with sets kept for practice", () => {
  it("on the grid agrees with simulated seasons: within four standard errors of 20,000 of them", () => {
    const beds = [
      testBed([1, 1, 2]),
      testBed([4, 2], { after: 0 }),
      testBed([2], { kept: 0 }),
      testBed([1, 2], { kept: 2, through: [10, 10, 40] }),
    ];
    for (const worlds of beds) {
      const exact = piecesNeeded(worlds, breakage);
      const seasons = seasonsOfNeed(worlds, breakage, { seasons: 20_000, seed: 7 });
      for (const [i, law] of exact.entries()) {
        const counted = lawOf(seasons[i]!);
        for (let k = 0; k < law.length; k++) {
          const p = pmfCdf(law, k);
          const error = Math.sqrt((p * (1 - p)) / 20_000);
          // As without practice 2e-3 for the nodes of the breakage rate; the cells of the grid are within 2e-3 as well.
          expect(Math.abs(pmfCdf(counted, k) - p)).toBeLessThan(4 * error + 4e-3);
        }
      }
    }
  });

  it("is never more than without them, at any checkpoint and for any stock", () => {
    for (const worlds of [testBed([1, 2]), testBed([4], { after: 0 }), testBed([2, 1], { kept: 2 })]) {
      const kept = piecesNeeded(worlds, breakage);
      const raced = piecesNeeded(without(worlds), breakage);
      for (const [i, law] of kept.entries())
        for (let k = 0; k < raced[i]!.length; k++)
          expect(pmfCdf(law, k)).toBeGreaterThanOrEqual(pmfCdf(raced[i]!, k) - 2e-3);
      expect(pmfMean(kept.at(-1)!)).toBeLessThan(pmfMean(raced.at(-1)!));
    }
  });

  it("without practice runs is what it is without them, exactly", () => {
    const worlds = testBed([1, 4, 2], { through: [0, 0, 0] });
    expect(piecesNeeded(worlds, breakage)).toEqual(piecesNeeded(without(worlds), breakage));
    const asked = { seasons: 500, seed: 3 };
    expect(seasonsOfNeed(worlds, breakage, asked)).toEqual(seasonsOfNeed(without(worlds), breakage, asked));
  });

  it("where sets kept bear nothing and none follows is what it is without them", () => {
    const done = testBed([1, 2], { sets: [[() => 1]], after: 0 });
    const [kept, raced] = [piecesNeeded(done, rare), piecesNeeded(without(done), rare)];
    for (const [i, law] of kept.entries())
      for (let k = 0; k < law.length; k++)
        expect(Math.abs(pmfCdf(law, k) - pmfCdf(raced[i]!, k))).toBeLessThan(2e-3);
  });
});

describe("a place followed by hand", () => {
  /** Every set lasts 59, the fitted one 31 more of its 60; the one kept bears 4; 12 meetings of 10, 2 of them practice. */
  const at = (life: number) => (usage: number) => (usage >= life ? 1 : 0);
  const place = (after: number) => ({
    weight: 1,
    newWorn: at(59),
    groups: [
      {
        ...{ owner: "", worn: [at(31)], runs: 72 },
        usageThrough: Array.from({ length: 12 }, (_, i) => 10 * (i + 1)),
        practice: {
          ...{
            through: Array.from({ length: 12 }, (_, i) => 2 * (i + 1)),
            sets: [[at(4)]],
            after,
            usedNow: 29,
          },
        },
      },
    ],
  });

  it("changes where the sums on paper say", () => {
    const changes = (after: number) =>
      seasonsOfNeed([place(after)], rare, { seasons: 1, seed: 1 }).map(([n]) => n);
    const grid = (after: number) => piecesNeeded([place(after)], rare).map(pmfMean);
    // The old set takes 4 in practice: it lasts two meetings. So 31 of race wear are reached after 16 + 4 + 15 = 35 in
    // all, in the fourth meeting; a set of 59 that takes every run ends after 94, in the tenth.
    const none = [0, 0, 0, 1, 1, 1, 1, 1, 1, 2, 2, 2];
    // The set that raced for 60 bears 0.3 of that in practice, 18: enough for all of the next one, which ends after
    // 35 + 59 / 0.8 = 108.75, in the eleventh.
    const next = [0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 2, 2];
    expect(changes(0)).toEqual(none);
    expect(changes(0.3)).toEqual(next);
    for (const [i, mean] of grid(0).entries()) expect(mean).toBeCloseTo(none[i]!, 2);
    for (const [i, mean] of grid(0.3).entries()) expect(mean).toBeCloseTo(next[i]!, 2);
  });

  it("ends a set where its race wear and what practice leaves to it come to its life", () => {
    const [usageThrough, through] = [
      [10, 20, 30],
      [2, 4, 14],
    ];
    // All of the third stretch is practice: with credit left nothing wears there.
    expect(endOfSet(usageThrough!, through!, { at: 0, bears: 17, credit: 100 })).toBeNull();
    expect(endOfSet(usageThrough!, through!, { at: 0, bears: 17, credit: 5 })).toEqual({ at: 22, credit: 0 });
    expect(endOfSet(usageThrough!, through!, { at: 0, bears: 12, credit: 9 })).toEqual({ at: 15, credit: 6 });
    expect(endOfSet(usageThrough!, through!, { at: 4, bears: 0, credit: 1 })).toEqual({ at: 4, credit: 1 });
  });

  it("lets a set that raced long serve long in practice, and less where it may break there", () => {
    expect(creditAfter(60, 0.2, 0)).toBeCloseTo(12, 9);
    expect(creditAfter(60, 0.2, 0.05)).toBeCloseTo((1 - Math.exp(-0.6)) / 0.05, 9);
    expect(creditAfter(60, 0, 0.05)).toBe(0);
  });
});
