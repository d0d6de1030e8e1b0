import { describe, expect, test } from "vitest";
import { fitWearLine, type WearObservation, type WearPiece, type WearPrior } from "../../src/stats/index.ts";
import { preparePiece } from "../../src/stats/wear-middle.ts";
import { scalePrior } from "../../src/stats/wear-scale.ts";
import { chance } from "../calibrate/worlds.ts";

const prior: WearPrior = {
  life: { p10: 20, p90: 80 },
  pieceSpread: 0.3,
  runSpread: 0.3,
  usagePerRun: 1,
  startSd: 0.01,
  readingSd: 0.1,
};
const middlesOf = (observations: WearObservation[]): number[] => [
  ...preparePiece({ id: "a", limit: 1, observations }, scalePrior(prior, 1, "test"), "test").middle,
];
const even = [8, 16, 24, 32].map((usage) => ({ usage, wear: usage / 40 }));

describe("the middle of what is known of the wear at a reading", () => {
  test("is the reading where that is exact, and where the readings lie on one line", () => {
    const rough = even.map((one, j) => ({ ...one, wear: one.wear + 0.08 * (-1) ** j, sd: 1e-5 }));
    middlesOf(rough).forEach((middle, j) => {
      expect(middle).toBeCloseTo(rough[j]!.wear, 4);
    });
    middlesOf(even).forEach((middle, j) => {
      expect(Math.abs(middle - even[j]!.wear)).toBeLessThan(0.01);
    });
  });

  test("of one reading alone is what it and the belief say, by their variances (hand calculation)", () => {
    // A piece of the usual rate would be at 0.5 by now, and its rate is known within a factor e: 0.5 and a little noise.
    const [middle] = middlesOf([{ usage: 20, wear: 0.5, sd: 0.1 }]);
    expect(middle).toBeCloseTo(0.5, 2);
    // Variances: reading 0.01; rate 0.5², start 0.0001, noise 0.3² / 40 · 0.5. So 0.9 - 0.4 · 0.01 / 0.2612.
    const [high] = middlesOf([{ usage: 20, wear: 0.9, sd: 0.1 }]);
    expect(high).toBeCloseTo(0.8847, 3);
  });

  test("lies between a reading off the line and the line, the nearer to the line the coarser it is", () => {
    const off = (sd: number): number =>
      middlesOf(
        even.map((one, j) => (j === 2 ? { ...one, wear: one.wear + 0.3, sd } : { ...one, sd: 0.02 })),
      )[2]!;
    const [fine, coarse, useless] = [off(0.01), off(0.1), off(10)] as [number, number, number];
    expect(fine).toBeGreaterThan(0.8);
    expect(coarse).toBeLessThan(fine);
    expect(useless).toBeLessThan(coarse);
    expect(useless).toBeCloseTo(0.6, 1);
  });

  test("of a grade is the middle of the grade", () => {
    const [graded] = middlesOf([{ usage: 10, grade: 2 }]);
    expect(graded).toBeCloseTo(0.575, 9);
  });
});

describe("lines that wear in proportion to usage, read coarsely", () => {
  test("are not taken to settle or to speed up: no mean bend of a line is beyond 0.6, with an error of a ninth of the limit", () => {
    const bends = Array.from({ length: 8 }, (_, seed) => {
      const random = chance(700 + seed);
      const pieces = Array.from({ length: 40 }, (_, i): WearPiece => {
        const rate = Math.exp(0.2 * random.normal()) / 40;
        const observations: WearObservation[] = [];
        for (let usage = 6; rate * (usage - 6) < 1; usage += 6)
          observations.push({ usage, wear: rate * usage + 0.115 * random.normal(), sd: 0.115 });
        return { id: `${i}`, limit: 1, observations };
      });
      const { points } = fitWearLine({ pieces, limit: 1 }, { ...prior, pieceSpread: 0.2 });
      return points.reduce((sum, { hyper, weight }) => sum + weight * hyper.bend, 0);
    });
    for (const bend of bends) expect(Math.abs(bend)).toBeLessThan(0.6);
  });
});
