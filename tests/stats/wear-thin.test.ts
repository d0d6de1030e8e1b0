import { describe, expect, test } from "vitest";
import { createRandom } from "../../src/stats/index.ts";
import { thinnedWeights } from "../../src/stats/wear-thin.ts";

const thinned = (weights: number[], most: number): number[] => [
  ...thinnedWeights(Float64Array.from(weights), most),
];
const close = (actual: number[], expected: number[]): void => {
  expect(actual).toHaveLength(expected.length);
  actual.forEach((weight, k) => void expect(weight).toBeCloseTo(expected[k]!, 12));
};

describe("fewer points that stand for as much", () => {
  // By hand: with four places the threshold c solves 2 + 0.3 / c = 4, so 0.15; 0.5 and 0.2 are heavier. Two places are left
  // for 0.1, 0.1, 0.05 and 0.05, in their order: they fall where the running sum passes 0.075 and 0.225.
  test("heavy points keep their weights, light ones are replaced by a systematic sample of equal weights", () => {
    close(thinned([0.5, 0.2, 0.1, 0.1, 0.05, 0.05], 4), [0.5, 0.2, 0.15, 0, 0.15, 0]);
    close(thinned([0.05, 0.05, 0.2, 0.1, 0.5, 0.1], 4), [0, 0.15, 0.2, 0, 0.5, 0.15]);
  });

  test("of equal weights every second one is left", () => {
    close(thinned([0.25, 0.25, 0.25, 0.25], 2), [0, 0.5, 0, 0.5]);
  });

  test("points of no weight at all are left out", () => {
    close(thinned([0.5, 0, 0.5, 0], 3), [0.5, 0, 0.5, 0]);
  });

  test("at most as many as were asked for are left, their weights sum to the same, and means stay nearly as they were", () => {
    const random = createRandom(4);
    let square = 0;
    const rounds = 200;
    for (let round = 0; round < rounds; round++) {
      const raw = Array.from({ length: 176 }, () => random.exponential() ** 2);
      const total = raw.reduce((sum, weight) => sum + weight, 0);
      const weights = raw.map((weight) => weight / total);
      const places = weights.map(() => random.normal()).sort((a, b) => a - b);
      const after = thinned(weights, 60);
      expect(after.filter((weight) => weight > 0).length).toBeLessThanOrEqual(60);
      expect(after.reduce((sum, weight) => sum + weight, 0)).toBeCloseTo(1, 12);
      square += weights.reduce((sum, weight, k) => sum + places[k]! * (after[k]! - weight), 0) ** 2;
    }
    // A sample that took no heed of the order would be off by about 0.03; measured 0.0025.
    expect(Math.sqrt(square / rounds)).toBeLessThan(0.01);
  });
});
