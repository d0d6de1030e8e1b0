import fc from "fast-check";
import { expect, test } from "vitest";
import {
  compoundPoissonLaw,
  convolve,
  logarithmicLaw,
  negativeBinomialFromMoments,
  negativeBinomialLaw,
  negativeBinomialPmf,
  pmfMean,
  pmfVariance,
  poissonLaw,
  poissonPmf,
} from "../../src/stats/index.ts";

fc.configureGlobal({ seed: 20 });

const sumOf = (law: readonly number[]) => law.reduce((sum, value) => sum + value, 0);

test("poissonLaw agrees with the Poisson chances term by term, from mean 1e-9 to 1e5", () => {
  for (const mean of [1e-9, 0.3, 1, 7.5, 40, 800, 1e5]) {
    const law = poissonLaw(mean);
    expect(sumOf(law)).toBeCloseTo(1, 12);
    expect(pmfMean(law) / mean).toBeCloseTo(1, 8);
    expect(pmfVariance(law) / mean).toBeCloseTo(1, 8);
    const mode = Math.floor(mean);
    for (const k of [0, Math.max(0, mode - 3), mode, mode + 5]) {
      expect(Math.abs((law[k] ?? 0) - poissonPmf(k, mean))).toBeLessThan(1e-10 * poissonPmf(mode, mean));
    }
  }
});

test("negativeBinomialLaw has its mean and variance and agrees with the chances term by term", () => {
  fc.assert(
    fc.property(
      fc.double({ min: 0.05, max: 200, noNaN: true }),
      fc.double({ min: 0.05, max: 1, noNaN: true }),
      (size, probability) => {
        const law = negativeBinomialLaw({ size, probability });
        const mean = (size * (1 - probability)) / probability;
        expect(pmfMean(law)).toBeCloseTo(mean, 6);
        expect(pmfVariance(law)).toBeCloseTo(mean / probability, 4);
        for (const k of [0, 1, 5]) {
          expect(law[k] ?? 0).toBeCloseTo(negativeBinomialPmf(k, { size, probability }), 11);
        }
      },
    ),
    { numRuns: 60 },
  );
});

test("moments give the negative binomial parameters back", () => {
  const law = negativeBinomialLaw(negativeBinomialFromMoments({ mean: 12, variance: 48 }));
  expect(pmfMean(law)).toBeCloseTo(12, 9);
  expect(pmfVariance(law)).toBeCloseTo(48, 8);
  expect(() => negativeBinomialFromMoments({ mean: 2, variance: 2 })).toThrow("variance above the mean");
});

test("compoundPoissonLaw with single units is Poisson, and has mean and variance of its batches", () => {
  fc.assert(
    fc.property(fc.double({ min: 0, max: 60, noNaN: true }), (rate) => {
      const single = compoundPoissonLaw({ rate, batch: [0, 1] });
      poissonLaw(rate).forEach((chance, k) => {
        expect(single[k] ?? 0).toBeCloseTo(chance, 12);
      });
      const batch = [0.2, 0.3, 0, 0.5];
      const law = compoundPoissonLaw({ rate, batch });
      expect(pmfMean(law)).toBeCloseTo(rate * 1.8, 8);
      expect(pmfVariance(law)).toBeCloseTo(rate * 4.8, 7);
    }),
    { numRuns: 40 },
  );
});

test("compoundPoissonLaw splits rates whose exp(-rate) would be lost, and equals the convolution of the halves", () => {
  const batch = [0, 0.3, 0.7];
  const whole = compoundPoissonLaw({ rate: 900, batch });
  const half = compoundPoissonLaw({ rate: 450, batch });
  convolve(half, half).forEach((chance, k) => {
    expect(Math.abs((whole[k] ?? 0) - chance)).toBeLessThan(1e-13);
  });
  const far = compoundPoissonLaw({ rate: 3000, batch });
  expect(pmfMean(far)).toBeCloseTo(3000 * 1.7, 6);
});

test("batches that are always even give an even demand", () => {
  const law = compoundPoissonLaw({ rate: 3, batch: [0, 0, 1] });
  expect(law.filter((_, k) => k % 2 === 1).every((chance) => chance === 0)).toBe(true);
  expect(law.filter((_, k) => k % 2 === 0).slice(0, 20)).toEqual(
    poissonLaw(3)
      .slice(0, 20)
      .map((chance) => expect.closeTo(chance, 13)),
  );
});

test("laws outside their range are refused", () => {
  expect(() => poissonLaw(-1)).toThrow("poissonLaw requires");
  expect(() => poissonLaw(Number.NaN)).toThrow("poissonLaw requires");
  expect(() => negativeBinomialLaw({ size: 0, probability: 0.5 })).toThrow("negativeBinomialLaw requires");
  expect(() => negativeBinomialLaw({ size: 1, probability: 0 })).toThrow("negativeBinomialLaw requires");
  expect(() => negativeBinomialLaw({ size: 1e9, probability: 1e-9 })).toThrow("negativeBinomialLaw requires");
  expect(() => compoundPoissonLaw({ rate: 1, batch: [0.5] })).toThrow("compoundPoissonLaw requires");
  expect(() => logarithmicLaw(1)).toThrow("logarithmicLaw requires");
  expect(poissonLaw(0)).toEqual([1]);
  expect(compoundPoissonLaw({ rate: 2, batch: [1] })).toEqual([1]);
});
