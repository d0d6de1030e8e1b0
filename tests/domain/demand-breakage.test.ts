import { describe, expect, it } from "vitest";
import { shippedKinds } from "../../seeds/index.ts";
import { breakageOf, lineBreakage, sharedRate } from "../../src/domain/breakage.ts";
import { drawBreakage } from "../../src/domain/demand-breakage.ts";
import { seasonsWithMates } from "../../src/domain/demand-mates.ts";
import { lawOf, seasonsOfNeed } from "../../src/domain/demand-seasons.ts";
import { type LineWorld, piecesNeeded } from "../../src/domain/demand.ts";
import type { Kind } from "../../src/domain/kind.ts";
import { createRandom, pmfCdf, pmfMean } from "../../src/stats/index.ts";

const spur: Kind = { ...shippedKinds.find(({ code }) => code === "SPR-48")!, id: "spur", shipped: true };
const lives = (driverId: string, pieces: number, runs: number, broken: number) =>
  Array.from({ length: pieces }, (_, i) => ({ driverId, runs, broken: i < broken }));
const breakage = lineBreakage(spur, [...lives("calm", 20, 40, 1), ...lives("wild", 20, 20, 14)]);

/** Pieces that hardly wear, so that breakage is what ends them. */
const worldOf = (owners: readonly string[]): LineWorld[] => [
  {
    weight: 1,
    newWorn: (usage) => -Math.expm1(-((usage / 300) ** 3)),
    groups: owners.map((owner) => ({
      owner,
      worn: [(usage: number) => -Math.expm1(-((usage / 300) ** 3))],
      usageThrough: [30, 100],
      runs: 50,
    })),
  },
];

describe("the need of a line whose drivers break it differently", () => {
  it("is that of the owner's own rate: who breaks more needs more, by the law and season by season", () => {
    const meanOf = (owner: string) => pmfMean(piecesNeeded(worldOf([owner]), breakage)[1]!);
    const own = (owner: string) => {
      const { shape, rate } = breakageOf(breakage, owner);
      return (50 * shape) / rate;
    };
    for (const owner of ["calm", "wild", "somebody new"])
      expect(Math.abs(meanOf(owner) - own(owner))).toBeLessThan(0.1 * own(owner) + 0.05);
    expect(meanOf("wild")).toBeGreaterThan(4 * meanOf("calm"));
    const drawn = (owner: string) =>
      pmfMean(lawOf(seasonsOfNeed(worldOf([owner]), breakage, { seasons: 4000, seed: 3 })[1]!));
    expect(drawn("wild")).toBeGreaterThan(4 * drawn("calm"));
  });

  it("of several drivers together agrees with simulated seasons, within four standard errors and 6e-3", () => {
    const few = lineBreakage(spur, [...lives("a", 4, 20, 2), ...lives("b", 3, 30, 0)]);
    for (const given of [breakage, few]) {
      const worlds = worldOf(["calm", "wild", "wild", "a", "b", "new"]);
      const exact = piecesNeeded(worlds, given);
      const seasons = seasonsOfNeed(worlds, given, { seasons: 20_000, seed: 11 });
      for (let i = 0; i < exact.length; i++)
        for (let k = 0; k < exact[i]!.length; k++) {
          const p = pmfCdf(exact[i]!, k);
          const error = Math.sqrt((p * (1 - p)) / 20_000);
          expect(Math.abs(pmfCdf(lawOf(seasons[i]!), k) - p)).toBeLessThan(4 * error + 6e-3);
        }
    }
  });

  it("with mates follows the owner's rate, too", () => {
    const need = (owner: string) => {
      const line = {
        ...{ worlds: worldOf([owner]), breakage, exponent: 1, mates: [{ usedNow: 0, leader: null }] },
        leaders: [],
      };
      return pmfMean(lawOf(seasonsWithMates(line, { seasons: 2000, seed: 5 })[1]!));
    };
    expect(need("wild")).toBeGreaterThan(4 * need("calm"));
  });
});

it("what is drawn for a season is one rate for each owner, with the mean and the spread of his own law", () => {
  const random = createRandom(2);
  const seen = Array.from({ length: 20_000 }, () => {
    const of = drawBreakage(breakage, random);
    const first = of("wild");
    expect(of("wild")).toBe(first);
    return first;
  });
  const { shape, rate } = breakageOf(breakage, "wild");
  const mean = seen.reduce((sum, one) => sum + one, 0) / seen.length;
  const variance = seen.reduce((sum, one) => sum + (one - mean) ** 2, 0) / seen.length;
  expect(mean / (shape / rate)).toBeCloseTo(1, 1);
  expect(Math.sqrt(variance) / (Math.sqrt(shape) / rate)).toBeCloseTo(1, 0.7);
});

it("the rate that all share is less spread than that of somebody new, with the same mean", () => {
  const shared = sharedRate(breakage);
  const fresh = breakage.newDriver;
  expect(shared.shape / shared.rate).toBeCloseTo(fresh.shape / fresh.rate, 12);
  expect(shared.shape).toBeGreaterThan(fresh.shape);
});
