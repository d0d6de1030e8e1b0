import { describe, expect, test } from "vitest";
import { normalCdf, normalQuantile } from "../../src/stats/normal.ts";
import { findRoot } from "../../src/stats/optimise.ts";
import { QuantileFinder } from "../../src/stats/quantile-finder.ts";

const chances = [0.5, 0.1, 0.9, 0.05, 0.25, 0.75, 0.95, 0.001, 0.999];
/** A law, and how often its distribution function was asked for. */
function counted(cdf: (x: number) => number) {
  const asked = { times: 0 };
  const law = (x: number): number => {
    asked.times += 1;
    return cdf(x);
  };
  return { asked, law };
}

describe("QuantileFinder", () => {
  test("finds the quantiles of a normal law, whose scores are straight, in two values or three beside the guesses", () => {
    const { asked, law } = counted((x) => normalCdf((x - 3) / 2));
    const finder = new QuantileFinder(law, { guesses: [0], step: 1, tolerance: 1e-9 });
    for (const p of chances) expect(finder.at(p)).toBeCloseTo(3 + 2 * normalQuantile(p), 8);
    expect(asked.times).toBeLessThan(3 * chances.length);
  });

  test("finds those of an exponential law over the logarithm (closed form: ln(-ln(1 - p)))", () => {
    const { asked, law } = counted((log) => -Math.expm1(-Math.exp(log)));
    const finder = new QuantileFinder(law, { guesses: [0], step: 1, tolerance: 1e-7 });
    for (const p of chances) expect(finder.at(p)).toBeCloseTo(Math.log(-Math.log1p(-p)), 6);
    expect(asked.times).toBeLessThan(5 * chances.length);
  });

  test("agrees with a search of the root where a law has two humps and nearly nothing between them", () => {
    const law = (x: number) => 0.3 * normalCdf((x + 4) / 0.2) + 0.7 * normalCdf((x - 5) / 0.5);
    const finder = new QuantileFinder(law, { guesses: [-4, 0, 5], step: 1, tolerance: 1e-8 });
    for (const p of [...chances, 0.2999, 0.3001]) {
      const root = findRoot((x) => law(x) - p, -10, 10, 1e-10);
      expect(finder.at(p)).toBeCloseTo(root, 6);
    }
  });

  test("finds the place of a jump", () => {
    const steps = (x: number) => (x < 1 ? 0 : x < 2.5 ? 0.4 : 1);
    const finder = new QuantileFinder(steps, { guesses: [0], step: 1, tolerance: 1e-9 });
    expect(finder.at(0.3)).toBeCloseTo(1, 8);
    expect(finder.at(0.5)).toBeCloseTo(2.5, 8);
  });

  test("is in the order of the chances, however they are asked for, and says the same again", () => {
    const law = (x: number) => normalCdf(x) ** 3;
    const finder = new QuantileFinder(law, { guesses: [0], step: 1, tolerance: 1e-6 });
    const shuffled = Array.from({ length: 99 }, (_, i) => (((i + 1) * 37) % 100) / 100);
    const first = shuffled.map((p) => finder.at(p));
    expect(shuffled.map((p) => finder.at(p))).toEqual(first);
    const sorted = shuffled.map((p, i) => [p, first[i]!] as const).sort(([a], [b]) => a - b);
    for (let i = 1; i < sorted.length; i++) expect(sorted[i]![1]).toBeGreaterThan(sorted[i - 1]![1]);
  });

  test("looks no further than it may, and gives that end", () => {
    const ends = { guesses: [0], step: 1, tolerance: 1e-9, least: -3, most: 2 };
    const finder = new QuantileFinder((x) => 0.2 + 0.6 * normalCdf(x), ends);
    expect([finder.at(0.1), finder.at(0.9)]).toEqual([-3, 2]);
    expect(finder.at(0.5)).toBeCloseTo(0, 8);
    const far = new QuantileFinder(normalCdf, { guesses: [100], step: 1, tolerance: 1e-9, most: 2 });
    expect(far.at(1 - 1e-11)).toBe(2);
  });

  test("ends where two numbers lie next to each other, however near it is to come", () => {
    const { asked, law } = counted((x) => (x < Math.PI ? 0.2 : 0.8));
    const finder = new QuantileFinder(law, { guesses: [0], step: 1, tolerance: 0 });
    expect(finder.at(0.5)).toBeCloseTo(Math.PI, 15);
    expect(asked.times).toBeLessThan(120);
  });

  test("refuses a chance that is none, a law that is not a number and a step of nothing", () => {
    const finder = new QuantileFinder(normalCdf, { guesses: [0], step: 1, tolerance: 1e-9 });
    for (const p of [0, 1, -1, NaN]) expect(() => finder.at(p)).toThrow(RangeError);
    const lost = new QuantileFinder(() => NaN, { guesses: [0], step: 1, tolerance: 1e-9 });
    expect(() => lost.at(0.5)).toThrow(RangeError);
    expect(() => new QuantileFinder(normalCdf, { guesses: [0], step: 0, tolerance: 1 })).toThrow(RangeError);
  });
});
