import { describe, expect, it } from "vitest";
import { lawOf, seasonsOfNeed } from "../../src/domain/demand-seasons.ts";
import { type LineWorld, piecesNeeded, tabulated } from "../../src/domain/demand.ts";
import { breakageRates } from "../../src/domain/demand-breakage.ts";
import { negativeBinomialLaw, pmfCdf, pmfMean, pmfVariance } from "../../src/stats/index.ts";

const weibull =
  (shape: number, scale: number, age = 0) =>
  (t: number) =>
    -Math.expm1((age / scale) ** shape - ((age + t) / scale) ** shape);
const rare = { shape: 1, rate: 1e9, broken: 0, runs: 0 };
const largest = (a: readonly number[], b: readonly number[]) =>
  Math.max(
    ...Array.from({ length: Math.max(a.length, b.length) }, (_, k) => Math.abs((a[k] ?? 0) - (b[k] ?? 0))),
  );

/** Lives of Weibull shape 2.5 about 40, the line slower, as believed, or faster by a third; positions of several ages. */
const testBed = (sizes: readonly number[]): LineWorld[] =>
  [
    { weight: 0.25, scale: 53 },
    { weight: 0.5, scale: 40 },
    { weight: 0.25, scale: 30 },
  ].map(({ weight, scale }) => ({
    weight,
    newWorn: weibull(2.5, scale),
    groups: sizes.map((size, i) => ({
      owner: `d${i % 2}`,
      worn: Array.from({ length: size }, () => weibull(2.5, scale, 9 * (i % 4))),
      usageThrough: [10, 35, 60 + 5 * i],
      runs: 12,
    })),
  }));

describe("the need of a line", () => {
  const breakage = { shape: 3, rate: 300, broken: 3, runs: 300 };

  it("by convolution agrees with simulated seasons: within four standard errors of 20,000 of them", () => {
    for (const sizes of [
      [1, 1, 1, 1, 1],
      [4, 2, 1],
      [2, 2],
    ]) {
      const worlds = testBed(sizes);
      const exact = piecesNeeded(worlds, breakage);
      const seasons = seasonsOfNeed(worlds, breakage, { seasons: 20_000, seed: 7 });
      for (let i = 0; i < exact.length; i++) {
        const law = lawOf(seasons[i]!);
        // Three nodes stand for the gamma law of the breakage rate: 1e-3 of a chance (measured).
        for (let k = 0; k < exact[i]!.length; k++) {
          const p = pmfCdf(exact[i]!, k);
          const error = Math.sqrt((p * (1 - p)) / 20_000);
          expect(Math.abs(pmfCdf(law, k) - p)).toBeLessThan(4 * error + 2e-3);
        }
      }
    }
  });

  it("beyond what drivers hold agrees with simulated seasons, whichever of a driver's cars is changed first", () => {
    const worlds = testBed([1, 2, 1, 1, 1, 2]);
    const held = new Map([
      ["d0", 3],
      ["d1", 1],
    ]);
    const exact = piecesNeeded(worlds, breakage, held);
    const seasons = seasonsOfNeed(worlds, breakage, { seasons: 20_000, seed: 7, held });
    for (let i = 0; i < exact.length; i++) {
      const law = lawOf(seasons[i]!);
      for (let k = 0; k < exact[i]!.length; k++) {
        const p = pmfCdf(exact[i]!, k);
        const error = Math.sqrt((p * (1 - p)) / 20_000);
        expect(Math.abs(pmfCdf(law, k) - p)).toBeLessThan(4 * error + 2e-3);
      }
    }
  });

  it("is the same whenever it is asked for", () => {
    const asked = { seasons: 200, seed: 11 };
    expect(seasonsOfNeed(testBed([1, 2]), breakage, asked)).toEqual(
      seasonsOfNeed(testBed([1, 2]), breakage, asked),
    );
    expect(piecesNeeded(testBed([1, 2]), breakage)).toEqual(piecesNeeded(testBed([1, 2]), breakage));
  });

  it("is as uncertain as the line's wear is: the variance of ten positions is nearly twice that of lines drawn apart", () => {
    const worlds = testBed([1, 1, 1, 1, 1, 1, 1, 1, 1, 1]);
    const shared = piecesNeeded(worlds, rare).at(-1)!;
    const apart = piecesNeeded(
      [
        {
          weight: 1,
          newWorn: (t) => worlds.reduce((sum, world) => sum + world.weight * world.newWorn(t), 0),
          groups: worlds[0]!.groups.map((group, g) => ({
            ...group,
            worn: [(t: number) => worlds.reduce((sum, w) => sum + w.weight * w.groups[g]!.worn[0]!(t), 0)],
          })),
        },
      ],
      rare,
    ).at(-1)!;
    // Later lives are drawn anew from the mixture in the one, and go on as they began in the other.
    expect(Math.abs(pmfMean(shared) - pmfMean(apart)) / pmfMean(apart)).toBeLessThan(0.05);
    expect(pmfVariance(shared) / pmfVariance(apart)).toBeGreaterThan(1.8);
  });

  it("by breakage alone is negative binomial, whatever the positions (Poisson with a gamma rate)", () => {
    const never = () => 0;
    const worlds = [
      {
        weight: 1,
        newWorn: never,
        groups: Array.from({ length: 6 }, (_, i) => ({
          owner: "",
          worn: [never],
          usageThrough: [10],
          runs: 20 + i,
        })),
      },
    ];
    const runs = 6 * 22.5;
    const [law] = piecesNeeded(worlds, breakage);
    const exact = negativeBinomialLaw({ size: 3, probability: 300 / (300 + runs) });
    // Three Gauss nodes for the rate: the chances are within 0.4 % (measured 2.6e-3).
    expect(largest(law!, exact)).toBeLessThan(4e-3);
    expect(pmfMean(law!)).toBeCloseTo(pmfMean(exact), 3);
  });

  it("comes in whole sets where sets are changed together", () => {
    const law = piecesNeeded(testBed([4, 4]), rare).at(-1)!;
    expect(law.every((p, k) => k % 4 === 0 || p < 1e-12)).toBe(true);
  });

  it("beyond what each driver holds is never more than the need, and nothing where everybody holds plenty", () => {
    const worlds = testBed([1, 1, 1, 1]);
    const all = piecesNeeded(worlds, breakage).at(-1)!;
    let before = pmfMean(all);
    for (const pieces of [1, 2, 4]) {
      const net = piecesNeeded(
        worlds,
        breakage,
        new Map([
          ["d0", pieces],
          ["d1", pieces],
        ]),
      ).at(-1)!;
      expect(pmfMean(net)).toBeLessThan(before);
      expect(net.reduce((sum, p) => sum + p, 0)).toBeCloseTo(1, 9);
      before = pmfMean(net);
    }
    expect(
      piecesNeeded(
        worlds,
        breakage,
        new Map([
          ["d0", 99],
          ["d1", 99],
        ]),
      ).at(-1),
    ).toEqual([1]);
  });

  it("counts a piece that is surely finished now", () => {
    const worlds = [
      {
        weight: 1,
        newWorn: weibull(3, 1e6),
        groups: [{ owner: "", worn: [() => 1], usageThrough: [5], runs: 2 }],
      },
    ];
    expect(piecesNeeded(worlds, rare)[0]![1]).toBeGreaterThan(0.999);
  });

  it("never falls with the day", () => {
    const needs = piecesNeeded(testBed([1, 2, 4]), breakage);
    for (let k = 0; k < 10; k++)
      for (let i = 1; i < needs.length; i++)
        expect(pmfCdf(needs[i]!, k)).toBeLessThanOrEqual(pmfCdf(needs[i - 1]!, k) + 1e-9);
  });
});

describe("a tabulated chance", () => {
  it("is within 2e-3 of the chance, and never falls", () => {
    for (const cdf of [weibull(2.5, 40), weibull(1, 300), weibull(5, 90, 60), weibull(3, 2000)]) {
      const table = tabulated(cdf, 400);
      let before = 0;
      for (let t = 0; t <= 400; t += 1.7) {
        expect(Math.abs(table(t) - cdf(t))).toBeLessThan(2e-3);
        expect(table(t)).toBeGreaterThanOrEqual(before - 1e-12);
        before = table(t);
      }
    }
  });
});

it("the rates of breakage keep the mean of their belief", () => {
  for (const evidence of [
    { shape: 1, rate: 250 },
    { shape: 9, rate: 800 },
    { shape: 1, rate: 1e6 },
  ]) {
    const rates = breakageRates({ ...evidence, broken: 0, runs: 0 }, 600);
    const mean = rates.reduce((sum, { weight, perRun }) => sum + weight * perRun, 0);
    expect(mean / (evidence.shape / evidence.rate)).toBeCloseTo(1, 9);
  }
});
