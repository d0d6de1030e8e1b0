import { expect, test } from "vitest";
import { renewalCounts } from "../../src/stats/index.ts";
import { countsOfLine, countsOfPosition } from "../../src/stats/season-counts.ts";

/** Seasons whose scales lie evenly, on a logarithm, between 0.45 and 2.2 times 80. */
const logScales = Float64Array.from({ length: 2001 }, (_, i) => Math.log(80) + 0.8 * (i / 1000 - 1));
const positions = [
  { line: 0, age: 0, horizon: 200 },
  { line: 0, age: 60, horizon: 200 },
  { line: 0, age: 37, horizon: 61.3 },
  { line: 0, age: 150, horizon: 100 },
  { line: 0, age: 20, horizon: 5 },
];

/** The largest difference of a chance of at most n from that on a fine grid, at places from one share of the range to another. */
function largestError(shape: number, breakageRate: number, shares: readonly number[]): number {
  const line = { shape, scale: 80, breakageRate };
  const counts = countsOfLine(line, logScales, 200)!;
  const last = counts.from.length - 1;
  let largest = 0;
  for (const position of positions) {
    const { age, horizon } = position;
    const { width, atMost } = countsOfPosition(line, position, counts);
    for (const place of shares.map((share) => Math.round(share * last))) {
      const scale = Math.exp(logScales[0]! + (1.6 * place) / last);
      const hazard = (t: number) => (t / scale) ** shape + breakageRate * t;
      const { probabilities } = renewalCounts({
        firstCdf: (t) => -Math.expm1(hazard(age) - hazard(age + t)),
        laterCdf: (t) => -Math.expm1(-hazard(t)),
        horizon,
      });
      let chance = 0;
      for (let n = 0; n < width; n++) {
        chance += probabilities[n] ?? 0;
        largest = Math.max(largest, Math.abs(atMost[place * width + n]! - chance));
      }
    }
  }
  return largest;
}

test.each([
  [1, 0, 6e-4],
  [2.5, 0, 6e-4],
  [2.5, 0.01, 6e-4],
  [4, 0.01, 6e-4],
  [8, 0, 1.3e-3],
])(
  "chances drawn from are those on a fine grid, give or take 3e-3 at the lowest scales: shape %s, breakages %s, within %s elsewhere",
  (shape, rate, most) => {
    expect(largestError(shape, rate, [0.5, 0.61, 0.7, 1])).toBeLessThan(most);
    expect(largestError(shape, rate, [0, 0.1, 0.35])).toBeLessThan(3e-3);
  },
);

test("a season of very many lives, few seasons, and lives that mostly end at once are left to be followed one by one", () => {
  expect(countsOfLine({ shape: 2, scale: 80 }, logScales, 1e5)).toBeNull();
  expect(countsOfLine({ shape: 2, scale: 80 }, logScales.subarray(0, 500), 200)).toBeNull();
  expect(countsOfLine({ shape: 0.5, scale: 80 }, logScales, 200)).toBeNull();
});
