import { expect, test } from "vitest";
import { createRandom, gammaP, normalCdf, poissonCdf } from "../../src/stats/index.ts";

const many = 20_000;
const draw = (next: () => number) => Float64Array.from({ length: many }, next).sort();

/** Largest gap between the sorted sample and the law, times sqrt(n): above 1.95 in one of 1000 samples (Kolmogorov 1933). */
function kolmogorov(sample: Float64Array, cdf: (x: number) => number): number {
  let gap = 0;
  sample.forEach((x, i) => {
    gap = Math.max(gap, Math.abs(cdf(x) - i / many), Math.abs(cdf(x) - (i + 1) / many));
  });
  return gap * Math.sqrt(many);
}

test("uniform, exponential, normal and gamma numbers follow their laws", () => {
  const random = createRandom(20);
  expect(kolmogorov(draw(random.uniform), (x) => x)).toBeLessThan(1.95);
  expect(kolmogorov(draw(random.exponential), (x) => -Math.expm1(-x))).toBeLessThan(1.95);
  expect(kolmogorov(draw(random.normal), normalCdf)).toBeLessThan(1.95);
  for (const shape of [0.2, 1, 3.7, 60]) {
    const sample = draw(() => random.gamma(shape));
    expect(
      kolmogorov(sample, (x) => gammaP(shape, x)),
      `shape ${shape}`,
    ).toBeLessThan(1.95);
  }
  const filled = new Float64Array(many);
  random.fill(filled, many);
  expect(filled.every((value) => value > 0 && value < 1)).toBe(true);
  expect(kolmogorov(filled.sort(), (x) => x)).toBeLessThan(1.95);
});

test("Poisson numbers follow their law below and above the change of method at mean 12", () => {
  const random = createRandom(7);
  for (const mean of [0, 0.3, 4, 11.9, 12, 35, 900]) {
    const sample = Array.from({ length: many }, () => random.poisson(mean));
    for (const k of [
      0,
      Math.floor(mean - Math.sqrt(mean)),
      Math.floor(mean),
      Math.ceil(mean + Math.sqrt(mean)),
    ]) {
      if (k < 0) continue;
      const exact = mean === 0 ? 1 : poissonCdf(k, mean);
      const share = sample.filter((count) => count <= k).length / many;
      expect(Math.abs(share - exact), `mean ${mean}, k ${k}`).toBeLessThan(
        4 * Math.sqrt((exact * (1 - exact)) / many) + 1e-12,
      );
    }
  }
});

test("a seed gives the same numbers again; other seeds and other streams give others", () => {
  const take = (seed: number, stream?: number) => {
    const random = createRandom(seed, stream);
    return Array.from({ length: 5 }, random.uniform);
  };
  expect(take(42)).toEqual(take(42, 0));
  const starts = [take(42), take(43), take(-42), take(42, 1), take(42, 2), take(0)].map(([first]) => first);
  expect(new Set(starts).size).toBe(starts.length);
  // Written down once: a change of the generator or of its start would break stored forecasts.
  expect(take(42)[0]).toBeCloseTo(0.5218607622024758, 15);
});

test("neighbouring seeds are not correlated", () => {
  const first = Array.from({ length: 4000 }, (_, seed) => createRandom(seed).uniform());
  const mean = first.reduce((sum, value) => sum + value, 0) / first.length;
  expect(Math.abs(mean - 0.5)).toBeLessThan(4 * Math.sqrt(1 / 12 / first.length));
  let product = 0;
  for (let i = 1; i < first.length; i++) product += (first[i]! - 0.5) * (first[i - 1]! - 0.5);
  expect(Math.abs(product / first.length) * 12).toBeLessThan(4 / Math.sqrt(first.length));
});

test("seeds and parameters out of range are refused", () => {
  expect(() => createRandom(1.5)).toThrow(/^createRandom requires a whole seed/);
  expect(() => createRandom(2 ** 32)).toThrow(/^createRandom requires a whole seed/);
  expect(() => createRandom(1, -1)).toThrow(/^createRandom requires a stream/);
  const random = createRandom(1);
  expect(() => random.gamma(0)).toThrow(RangeError);
  expect(() => random.gamma(Number.NaN)).toThrow(RangeError);
  expect(() => random.poisson(-1)).toThrow(RangeError);
});
