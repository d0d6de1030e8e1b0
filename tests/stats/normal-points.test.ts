import { describe, expect, test } from "vitest";
import { normalPoints } from "../../src/stats/normal-points.ts";

const mean = (points: readonly (readonly number[])[], of: (z: readonly number[]) => number): number =>
  points.reduce((sum, z) => sum + of(z), 0) / points.length;
const numbers = (count: number): number[] => Array.from({ length: count }, (_, i) => i);

describe("points that stand for the standard normal law", () => {
  test.each([
    [1, 24],
    [4, 24],
    [6, 32],
    [8, 32],
  ])("in %i dimensions %i pairs have odd moments 0 and covariance 1", (d, pairs) => {
    const points = normalPoints(d, pairs);
    expect(points.length).toBe(2 * pairs);
    for (const i of numbers(d)) {
      expect(mean(points, (z) => z[i]!)).toBeCloseTo(0, 12);
      expect(mean(points, (z) => z[i]! ** 3)).toBeCloseTo(0, 12);
      for (const j of numbers(d)) expect(mean(points, (z) => z[i]! * z[j]!)).toBeCloseTo(Number(i === j), 10);
    }
  });

  test("their fourth moments, E z⁴ = 3 and E x²y² = 1, are right within a quarter", () => {
    const d = 6;
    const points = normalPoints(d, 32);
    const own = numbers(d).map((i) => mean(points, (z) => z[i]! ** 4) / 3 - 1);
    const crossed = numbers(d).flatMap((i) =>
      numbers(i).map((j) => mean(points, (z) => z[i]! ** 2 * z[j]! ** 2) - 1),
    );
    for (const error of [...own, ...crossed]) expect(Math.abs(error)).toBeLessThan(0.25);
  });

  test("E exp(a z), which is exp(|a|²/2), comes out within 3 % for any direction of length 1", () => {
    const points = normalPoints(6, 32);
    for (const i of numbers(6))
      for (const j of numbers(6)) {
        const [a, b] = i === j ? [1, 0] : [0.6, 0.8];
        const value = mean(points, (z) => Math.exp(a * z[i]! + b * z[j]!));
        expect(Math.abs(value / Math.exp(0.5) - 1)).toBeLessThan(0.03);
      }
  });

  test("are the same each time", () => {
    expect(normalPoints(5, 24)).toBe(normalPoints(5, 24));
  });
});
