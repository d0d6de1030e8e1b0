import fc from "fast-check";
import { expect, test } from "vitest";
import {
  demandOverLeadTime,
  gammaQuadrature,
  leadTimeDemandMoments,
  leadTimePoints,
  leadTimePosterior,
  pmfMean,
  pmfVariance,
  poissonLaw,
  wholePeriodLeadTimes,
} from "../../src/stats/index.ts";

fc.configureGlobal({ seed: 20 });

const moments = (points: readonly { duration: number; probability: number }[]) => {
  const total = points.reduce((sum, { probability }) => sum + probability, 0);
  const mean = points.reduce((sum, { duration, probability }) => sum + probability * duration, 0);
  const square = points.reduce((sum, { duration, probability }) => sum + probability * duration ** 2, 0);
  return { total, mean, variance: square - mean ** 2 };
};
const positive = (max: number) => fc.double({ min: 0.05, max, noNaN: true });

test("Gauss nodes give the moments of a gamma law exactly, up to the fifth with three nodes", () => {
  fc.assert(
    fc.property(positive(30), positive(10), (shape, scale) => {
      const nodes = gammaQuadrature({ shape, scale }, 3);
      let moment = 1;
      for (let power = 0; power <= 5; power++) {
        const sum = nodes.reduce((total, { node, weight }) => total + weight * node ** power, 0);
        expect(sum / moment).toBeCloseTo(1, 9);
        moment *= (shape + power) * scale;
      }
    }),
  );
  expect(() => gammaQuadrature({ shape: 0, scale: 1 }, 3)).toThrow(RangeError);
  expect(() => gammaQuadrature({ shape: 1, scale: 1 }, 0)).toThrow(RangeError);
});

test("the points of a lead time keep its mean and spread; in whole periods the mean is kept", () => {
  fc.assert(
    fc.property(positive(40), fc.double({ min: 0, max: 1.5, noNaN: true }), (mean, variation) => {
      const sd = mean * variation;
      const points = moments(leadTimePoints({ mean, sd }));
      expect(points.total).toBeCloseTo(1, 12);
      expect(points.mean / mean).toBeCloseTo(1, 9);
      expect(points.variance).toBeCloseTo(sd ** 2, 6 - Math.ceil(Math.log10(1 + sd ** 2)));
      const whole = moments(wholePeriodLeadTimes({ mean, sd }));
      expect(whole.total).toBeCloseTo(1, 12);
      expect(whole.mean / mean).toBeCloseTo(1, 8);
      expect(whole.variance).toBeGreaterThan(sd ** 2 * (1 - 1e-6) - 1e-9);
      expect(whole.variance).toBeLessThan(sd ** 2 + 0.25 + 1e-6);
    }),
  );
  expect(leadTimePoints({ mean: 3 })).toEqual([{ duration: 3, probability: 1 }]);
  expect(leadTimePoints({ mean: 0 })).toEqual([{ duration: 0, probability: 1 }]);
});

test("demand mixed over a lead time has the two-moment mean and variance", () => {
  fc.assert(
    fc.property(
      positive(5),
      positive(8),
      fc.double({ min: 0, max: 0.8, noNaN: true }),
      (rate, mean, variation) => {
        const leadTime = { mean, sd: mean * variation };
        const law = demandOverLeadTime({
          demandDuring: (duration) => poissonLaw(rate * duration),
          leadTimes: leadTimePoints(leadTime),
        });
        const two = leadTimeDemandMoments({ demand: { mean: rate, sd: Math.sqrt(rate) }, leadTime });
        expect(pmfMean(law)).toBeCloseTo(two.mean, 7);
        expect(pmfVariance(law)).toBeCloseTo(two.sd ** 2, 5);
      },
    ),
    { numRuns: 50 },
  );
});

test("without a delivery the promise stands, a little wider; many deliveries outweigh it", () => {
  const promised = { mean: 7, sd: 2 };
  const before = leadTimePosterior({ promised, observed: [] });
  expect(before.mean).toBeGreaterThan(6.9);
  expect(before.mean).toBeLessThan(7.7);
  expect(before.sd).toBeGreaterThan(2);
  const observed = Array.from({ length: 60 }, (_, i) => 13 + (i % 5) * 0.5);
  const after = leadTimePosterior({ promised, observed });
  expect(after.mean).toBeCloseTo(14, 1);
  // Spread of the deliveries themselves: 0.71.
  expect(after.sd).toBeCloseTo(0.75, 1);
});

test("one late delivery moves the forecast towards it, and the law by periods has its mean", () => {
  const promised = { mean: 7, sd: 2 };
  const before = leadTimePosterior({ promised, observed: [] });
  const late = leadTimePosterior({ promised, observed: [14] });
  expect(late.mean).toBeGreaterThan(before.mean + 0.3);
  expect(late.mean).toBeLessThan(14);
  expect(late.byPeriod.reduce((sum, chance) => sum + chance, 0)).toBeCloseTo(1, 9);
  // Rounded up to whole periods, the mean is about half a period longer.
  expect(pmfMean(late.byPeriod) - late.mean).toBeCloseTo(0.5, 1);
  expect(late.shape * late.scale).toBeCloseTo(late.mean, 9);
  expect(Math.sqrt(late.shape) * late.scale).toBeCloseTo(late.sd, 9);
});

test("a promise of 10 days, give or take 3, makes 4 to 6 days the tenth percentile and 15 to 18 the ninetieth", () => {
  const promised = { mean: 10, sd: 3 };
  const { byPeriod } = leadTimePosterior({ promised, observed: [] });
  const cumulative = byPeriod.map((_, n) =>
    byPeriod.slice(0, n + 1).reduce((sum, chance) => sum + chance, 0),
  );
  const low = cumulative.findIndex((chance) => chance >= 0.1);
  const high = cumulative.findIndex((chance) => chance >= 0.9);
  expect(low).toBeGreaterThanOrEqual(4);
  expect(low).toBeLessThanOrEqual(6);
  expect(high).toBeGreaterThanOrEqual(15);
  expect(high).toBeLessThanOrEqual(18);
});

test("impossible lead times are refused", () => {
  expect(() => leadTimePoints({ mean: -1 })).toThrow("leadTimePoints requires");
  expect(() => leadTimePoints({ mean: 0, sd: 1 })).toThrow("leadTimePoints requires a mean above 0");
  expect(() => wholePeriodLeadTimes({ mean: Number.NaN })).toThrow("wholePeriodLeadTimes requires");
  const demandDuring = () => [1];
  expect(() => demandOverLeadTime({ demandDuring, leadTimes: [] })).toThrow(RangeError);
  expect(() => demandOverLeadTime({ demandDuring, leadTimes: [{ duration: -1, probability: 1 }] })).toThrow(
    RangeError,
  );
  expect(() => leadTimePosterior({ promised: { mean: 0, sd: 0 }, observed: [] })).toThrow(RangeError);
  expect(() => leadTimePosterior({ promised: { mean: 7, sd: 2 }, observed: [0] })).toThrow(
    "observed lead times above 0",
  );
  expect(() => leadTimePosterior({ promised: { mean: 7, sd: 2 }, observed: [Number.NaN] })).toThrow(
    RangeError,
  );
});

test("the posterior agrees with a plain grid of 3001 by 2001 points (numpy 2.4.6)", () => {
  const promised = { mean: 7, sd: 2 };
  const many = Array.from({ length: 40 }, (_, i) => 14 + (i % 3));
  const reference: [number[], number, number][] = [
    [[7], 7.205309, 2.798503],
    [[14, 15, 13], 12.679289, 3.572082],
    [many, 14.964189, 0.944091],
  ];
  for (const [observed, mean, sd] of reference) {
    const { mean: gotMean, sd: gotSd } = leadTimePosterior({ promised, observed });
    expect(gotMean / mean).toBeCloseTo(1, 4);
    expect(gotSd / sd).toBeCloseTo(1, 4);
  }
});
