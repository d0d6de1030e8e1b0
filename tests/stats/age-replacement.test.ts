import fc from "fast-check";
import { expect, test } from "vitest";
import {
  ageReplacement,
  ageReplacementCost,
  ageReplacementPeriods,
  blockReplacementCost,
  groupReplacement,
  lifeHazard,
  lifeSurvival,
  setCdf,
} from "../../src/stats/index.ts";

fc.configureGlobal({ seed: 20 });

const weibull = (shape: number, scale: number) => (t: number) =>
  Math.exp(-((Math.max(0, t) / scale) ** shape));

test("no age costs less than the best one, and every finite age costs at least as much where none is best", () => {
  fc.assert(
    fc.property(
      fc.double({ min: 0.6, max: 6, noNaN: true }),
      fc.double({ min: 0.01, max: 1e4, noNaN: true }),
      fc.double({ min: 0.3, max: 30, noNaN: true }),
      (shape, scale, ratio) => {
        const problem = { survival: weibull(shape, scale), plannedCost: 1, failureCost: ratio };
        const best = ageReplacement(problem);
        expect(best.costRate).toBeLessThanOrEqual(best.costRateRunToFailure);
        for (const share of [0.05, 0.2, 0.5, 0.8, 1, 1.5, 3]) {
          const other = ageReplacementCost({ ...problem, interval: share * scale });
          expect(best.costRate).toBeLessThanOrEqual(other * (1 + 1e-9));
        }
        expect(best.interval === null).toBe(ratio <= 1 || shape <= 1 || best.saving < 1e-11);
        if (best.interval === null) return;
        expect(ageReplacementCost({ ...problem, interval: best.interval }) / best.costRate).toBeCloseTo(1, 8);
        expect(best.within.from).toBeLessThanOrEqual(best.interval);
        expect(best.within.to ?? Infinity).toBeGreaterThanOrEqual(best.interval);
        // At the best age the cost rate is (failureCost - plannedCost) times the hazard (Barlow & Hunter 1960).
        const hazard = (shape / scale) * (best.interval / scale) ** (shape - 1);
        expect(((ratio - 1) * hazard) / best.costRate).toBeCloseTo(1, 5);
      },
    ),
    { numRuns: 60 },
  );
});

test("a given hazard and one found by differences lead to the same age", () => {
  const problem = { survival: weibull(2.5, 40), plannedCost: 1, failureCost: 5 };
  const given = ageReplacement({ ...problem, hazard: (t) => (2.5 / 40) * (t / 40) ** 1.5 });
  expect(ageReplacement(problem).interval! / given.interval!).toBeCloseTo(1, 9);
});

test("the ends of the range cost 1 % more than the best age", () => {
  const problem = { survival: weibull(2.5, 1000), plannedCost: 1, failureCost: 5 };
  const { within, costRate } = ageReplacement(problem);
  for (const interval of [within.from, within.to!]) {
    expect(ageReplacementCost({ ...problem, interval }) / costRate).toBeCloseTo(1.01, 6);
  }
});

test("a hazard with a hump is scanned: early failures from a mixture do not hide the later optimum", () => {
  const survival = (t: number) => 0.15 * Math.exp(-t / 2) + 0.85 * weibull(6, 50)(t);
  const problem = { survival, plannedCost: 1, failureCost: 8 };
  const best = ageReplacement(problem);
  const searched = Array.from({ length: 200 }, (_, i) => 0.5 + i * 0.4).map((interval) =>
    ageReplacementCost({ ...problem, interval }),
  );
  expect(best.interval).toBeGreaterThan(20);
  expect(best.costRate).toBeLessThanOrEqual(Math.min(...searched) + 1e-12);
  expect(best.costRate).toBeGreaterThan(Math.min(...searched) * 0.999);
});

test("a life of sure length is replaced just before its end", () => {
  const best = ageReplacement({ survival: (t) => (t < 7 ? 1 : 0), plannedCost: 1, failureCost: 3 });
  expect(best.interval!).toBeGreaterThan(6.98);
  expect(best.interval!).toBeLessThanOrEqual(7);
  expect(best.costRate).toBeCloseTo(1 / 7, 3);
});

test("replacement in whole periods: no number of periods costs less, and never is allowed", () => {
  const wearing = [0.02, 0.05, 0.13, 0.3, 0.5];
  const best = ageReplacementPeriods({ life: wearing, plannedCost: 1, failureCost: 6 });
  expect(best.costRate).toBe(Math.min(...best.costRates));
  expect(best.costRates[best.periods! - 1]).toBe(best.costRate);
  const ageless = Array.from({ length: 400 }, (_, i) => 0.1 * 0.9 ** i);
  ageless[399]! += 0.9 ** 400;
  expect(ageReplacementPeriods({ life: ageless, plannedCost: 1, failureCost: 6 }).periods).toBeNull();
});

test("a fixed interval costs more than a fixed age, and a set of one is the part itself", () => {
  const cdf = (t: number) => 1 - weibull(3, 10)(t);
  const costs = { plannedCost: 1, failureCost: 4 };
  for (const interval of [3, 5, 8]) {
    const byAge = ageReplacementCost({ survival: weibull(3, 10), interval, ...costs });
    expect(blockReplacementCost({ cdf, interval, ...costs })).toBeGreaterThan(byAge);
  }
  expect(setCdf(cdf, 1)(4)).toBeCloseTo(cdf(4), 14);
  expect(setCdf(cdf, 4)(4)).toBeCloseTo(1 - (1 - cdf(4)) ** 4, 14);
  expect(setCdf(() => 1, 3)(2)).toBe(1);
});

test("impossible input is refused with a RangeError that names the function", () => {
  const survival = weibull(2, 10);
  const good = { survival, plannedCost: 1, failureCost: 2 };
  expect(() => ageReplacement({ ...good, plannedCost: 0 })).toThrow(/^ageReplacement requires finite costs/);
  expect(() => ageReplacement({ ...good, failureCost: Number.NaN })).toThrow(
    /^ageReplacement requires finite costs/,
  );
  expect(() => ageReplacement({ ...good, survival: () => 1 })).toThrow(/^ageReplacement requires a survival/);
  expect(() => ageReplacement({ ...good, survival: () => 0 })).toThrow(/^ageReplacement requires a survival/);
  expect(() => ageReplacement({ ...good, survival: () => Number.NaN })).toThrow(
    /^ageReplacement requires a survival/,
  );
  expect(() => ageReplacement({ ...good, survival: (t) => 1 / (1 + t) })).toThrow(
    "a life with a finite mean",
  );
  expect(() => ageReplacementCost({ ...good, interval: 0 })).toThrow(/^ageReplacementCost requires/);
  expect(() => ageReplacementPeriods({ life: [0.5], plannedCost: 1, failureCost: 2 })).toThrow("sum to 1");
  const group = { positions: 1, life: [1], individualCost: 1, groupCost: 1, lastPeriod: "single" } as const;
  expect(() => groupReplacement({ ...group, positions: 0 })).toThrow(/^groupReplacement requires/);
  expect(() => groupReplacement({ ...group, most: 0 })).toThrow(/^groupReplacement requires/);
  expect(() => setCdf(survival, 0)).toThrow(/^setCdf requires/);
});

test("ageReplacement used to halve for a minute where the survival function had rounding in its twelfth digit", () => {
  const life = { distribution: "lognormal", meanLog: 17, sdLog: 0.003 } as const;
  const started = performance.now();
  const { interval } = ageReplacement({
    survival: (t) => lifeSurvival(life, t),
    hazard: (t) => lifeHazard(life, t),
    plannedCost: 1,
    failureCost: 1.03,
  });
  expect(interval! / Math.exp(17)).toBeCloseTo(0.995, 2);
  expect(performance.now() - started).toBeLessThan(5000);
});
