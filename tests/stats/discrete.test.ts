import fc from "fast-check";
import { expect, test } from "vitest";
import {
  convolve,
  convolveAll,
  expectedLeft,
  expectedShort,
  expectedShortByStock,
  mixture,
  pmfCdf,
  pmfMean,
  pmfQuantile,
  pmfVariance,
  scaleToBatches,
  trimTail,
} from "../../src/stats/index.ts";

fc.configureGlobal({ seed: 20 });

const law = fc
  .array(fc.double({ min: 0, max: 1, noNaN: true }), { minLength: 1, maxLength: 12 })
  .filter((list) => list.some((value) => value > 1e-6))
  .map((list) => {
    const sum = list.reduce((total, value) => total + value, 0);
    return list.map((value) => value / sum);
  });

test("a convolution has the summed means and variances and is a law again", () => {
  fc.assert(
    fc.property(law, law, (a, b) => {
      const sum = convolve(a, b);
      expect(pmfMean(sum)).toBeCloseTo(pmfMean(a) + pmfMean(b), 10);
      expect(pmfVariance(sum)).toBeCloseTo(pmfVariance(a) + pmfVariance(b), 9);
      expect(sum.reduce((total, value) => total + value, 0)).toBeCloseTo(1, 12);
    }),
  );
});

test("a mixture has the weighted mean, and a variance that obeys the law of total variance", () => {
  fc.assert(
    fc.property(law, law, fc.double({ min: 0.01, max: 0.99, noNaN: true }), (a, b, w) => {
      const mixed = mixture([
        { weight: 3 * w, probabilities: a },
        { weight: 3 * (1 - w), probabilities: b },
      ]);
      const mean = w * pmfMean(a) + (1 - w) * pmfMean(b);
      expect(pmfMean(mixed)).toBeCloseTo(mean, 10);
      const within = w * pmfVariance(a) + (1 - w) * pmfVariance(b);
      const between = w * (pmfMean(a) - mean) ** 2 + (1 - w) * (pmfMean(b) - mean) ** 2;
      expect(pmfVariance(mixed)).toBeCloseTo(within + between, 9);
    }),
  );
});

test("batches put the chances at multiples of the batch", () => {
  expect(scaleToBatches([0.2, 0.3, 0.5], 4)).toEqual([0.2, 0, 0, 0, 0.3, 0, 0, 0, 0.5]);
});

test("the quantile is the smallest count that reaches the level, and ties are met in spite of rounding", () => {
  fc.assert(
    fc.property(law, fc.double({ min: 0, max: 1, noNaN: true }), (a, level) => {
      const k = pmfQuantile(a, level);
      expect(pmfCdf(a, k)).toBeGreaterThanOrEqual(level - 1e-9);
      if (k > 0) expect(pmfCdf(a, k - 1)).toBeLessThan(level);
    }),
  );
  // 0.1 added ten times is 0.9999999999999999.
  const tenths = new Array<number>(10).fill(0.1);
  expect(pmfQuantile(tenths, 0.3)).toBe(2);
  expect(pmfQuantile(tenths, 1)).toBe(9);
});

test("expected short falls by P(D > s) from stock to stock, starts at the mean, and left - short is stock - mean", () => {
  fc.assert(
    fc.property(law, fc.integer({ min: -3, max: 15 }), (a, s) => {
      const table = expectedShortByStock(a);
      expect(table[0]).toBeCloseTo(pmfMean(a), 12);
      expect(expectedShort(a, s) - expectedShort(a, s + 1)).toBeCloseTo(1 - pmfCdf(a, s), 12);
      expect(expectedLeft(a, s) - expectedShort(a, s)).toBeCloseTo(s - pmfMean(a), 10);
      if (s >= 0 && s < table.length) expect(table[s]).toBeCloseTo(expectedShort(a, s), 12);
    }),
  );
});

test("trimTail keeps the sum and cuts only what is allowed", () => {
  expect(trimTail([0.5, 0.5 - 3e-16, 2e-16, 1e-16])).toHaveLength(2);
  expect(trimTail([0.5, 0.4, 0.1], 0.2)).toEqual([0.5, 0.5]);
  expect(trimTail([1])).toEqual([1]);
  expect(convolveAll([])).toEqual([1]);
});

test("what is no law is refused", () => {
  for (const bad of [[], [0.5], [0.5, 0.6], [-0.1, 1.1], [Number.NaN, 1]]) {
    expect(() => convolve(bad, [1])).toThrow(/^convolve requires/);
    expect(() => pmfMean(bad)).toThrow(/^pmfMean requires/);
    expect(() => pmfQuantile(bad, 0.5)).toThrow(/^pmfQuantile requires/);
    expect(() => expectedShort(bad, 0)).toThrow(/^expectedShort requires/);
    expect(() => mixture([{ weight: 1, probabilities: bad }])).toThrow(/^mixture requires/);
  }
  expect(() => mixture([])).toThrow(RangeError);
  expect(() => mixture([{ weight: 0, probabilities: [1] }])).toThrow(RangeError);
  expect(() => mixture([{ weight: -1, probabilities: [1] }])).toThrow(RangeError);
  expect(() => scaleToBatches([1], 0)).toThrow(RangeError);
  expect(() => scaleToBatches([1], 1.5)).toThrow(RangeError);
  expect(() => pmfQuantile([1], 1.1)).toThrow(RangeError);
  expect(() => pmfQuantile([1], Number.NaN)).toThrow(RangeError);
  expect(() => pmfCdf([1], Number.NaN)).toThrow(RangeError);
  expect(() => expectedShort([1], 0.5)).toThrow(RangeError);
});
