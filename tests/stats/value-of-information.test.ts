import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { sampleInformation } from "../../src/stats/index.ts";

const outcomes = fc.array(
  fc.record({
    weight: fc.double({ min: 1e-6, max: 1, noNaN: true }),
    probability: fc.double({ min: 0, max: 1, noNaN: true }),
  }),
  { minLength: 1, maxLength: 12 },
);
const costs = fc.record({
  sure: fc.double({ min: 0, max: 1e6, noNaN: true }),
  loss: fc.double({ min: 0, max: 1e6, noNaN: true }),
});

describe("sampleInformation", () => {
  it("is what a decision tree worked by hand gives: 10 surely, or 40 at risk, and two outcomes", () => {
    // Now: risk 0.25 × 40 = 10, as dear as 10. After: 0.7 × min(10, 4) + 0.3 × min(10, 24) = 5.8.
    const result = sampleInformation(
      [
        { weight: 7, probability: 0.1 },
        { weight: 3, probability: 0.6 },
      ],
      { sure: 10, loss: 40 },
    );
    expect(result.before).toBeCloseTo(10, 12);
    expect(result.after).toBeCloseTo(5.8, 12);
    expect(result.gain).toBeCloseTo(4.2, 12);
    // Knowing for certain: 10 is paid one time in four.
    expect(result.perfect).toBeCloseTo(7.5, 12);
    expect(result.switches).toBeCloseTo(0.3, 12);
  });

  it("is never below 0 and never above what certainty is worth", () => {
    fc.assert(
      fc.property(outcomes, costs, (some, cost) => {
        const { gain, perfect, before, after } = sampleInformation(some, cost);
        expect(gain).toBeGreaterThanOrEqual(0);
        expect(gain).toBeLessThanOrEqual(perfect + 1e-9 * (1 + cost.loss));
        expect(before - after).toBeLessThanOrEqual(gain + 1e-9 * (1 + cost.loss));
      }),
      { seed: 7, numRuns: 300 },
    );
  });

  it("is 0 where every outcome leads to the same choice", () => {
    const some = [0.02, 0.1, 0.2].map((probability) => ({ weight: 1 / 3, probability }));
    expect(sampleInformation(some, { sure: 10, loss: 40 })).toMatchObject({ gain: 0, switches: 0 });
    expect(sampleInformation(some, { sure: 0.1, loss: 40 })).toMatchObject({ gain: 0, switches: 0 });
  });

  it("refuses what is no probability, no weight or no cost", () => {
    const one = [{ weight: 1, probability: 0.5 }];
    expect(() => sampleInformation([], { sure: 1, loss: 1 })).toThrow(RangeError);
    expect(() => sampleInformation([{ weight: 1, probability: 1.1 }], { sure: 1, loss: 1 })).toThrow(
      RangeError,
    );
    expect(() => sampleInformation([{ weight: -1, probability: 0.5 }], { sure: 1, loss: 1 })).toThrow(
      RangeError,
    );
    expect(() => sampleInformation(one, { sure: Number.NaN, loss: 1 })).toThrow(RangeError);
    expect(() => sampleInformation(one, { sure: 1, loss: Infinity })).toThrow(RangeError);
  });
});
