import fc from "fast-check";
import { expect, test } from "vitest";
import {
  discreteRenewal,
  erlangCounts,
  latticeRenewalCounts,
  pmfMean,
  pmfVariance,
  poissonLaw,
  renewalCounts,
  renewalCountsThrough,
  renewalFunction,
} from "../../src/stats/index.ts";

fc.configureGlobal({ seed: 20 });

const weibull =
  (shape: number, scale: number, age = 0) =>
  (t: number) =>
    t <= 0 ? 0 : -Math.expm1((age / scale) ** shape - ((age + t) / scale) ** shape);
const shapes = fc.double({ min: 0.7, max: 6, noNaN: true });
const horizons = fc.double({ min: 0.05, max: 8, noNaN: true });

test("counts are a law, their mean is the renewal function, and F <= M <= F / (1 - F) (Barlow & Proschan 1965)", () => {
  fc.assert(
    fc.property(shapes, horizons, (shape, horizon) => {
      const cdf = weibull(shape, 1);
      const { probabilities, mean, variance } = renewalCounts({ firstCdf: cdf, laterCdf: cdf, horizon });
      expect(probabilities.every((chance) => chance >= 0)).toBe(true);
      expect(probabilities.reduce((sum, chance) => sum + chance, 0)).toBeCloseTo(1, 12);
      expect(mean).toBeCloseTo(pmfMean(probabilities), 9);
      expect(variance).toBeCloseTo(pmfVariance(probabilities), 7);
      expect(Math.abs(mean - renewalFunction({ cdf, horizon }))).toBeLessThan(2e-5);
      const failed = cdf(horizon);
      expect(mean).toBeGreaterThan(failed - 1e-5);
      if (failed < 0.999) expect(mean).toBeLessThan(failed / (1 - failed) + 1e-5);
    }),
    { numRuns: 30 },
  );
});

test("an exponential life gives Poisson counts whatever the age", () => {
  for (const horizon of [0.1, 1, 12, 25]) {
    const cdf = (t: number) => -Math.expm1(-t);
    const { probabilities } = renewalCounts({ firstCdf: cdf, laterCdf: cdf, horizon });
    poissonLaw(horizon).forEach((chance, k) => {
      expect(Math.abs((probabilities[k] ?? 0) - chance)).toBeLessThan(1e-6);
    });
  }
});

test("the grid with its default steps is within 2e-6 of a fine grid for shapes from 0.72 to 8", () => {
  for (const [shape, horizon] of [
    [0.72, 1.5],
    [1, 4],
    [2.5, 1.5],
    [2.5, 12],
    [5, 5],
    [8, 5],
  ] as const) {
    const laws = { firstCdf: weibull(shape, 1, 0.6), laterCdf: weibull(shape, 1), horizon };
    const usual = renewalCounts(laws).probabilities;
    const fine = renewalCounts({ ...laws, steps: 800 }).probabilities;
    usual.forEach((chance, k) => {
      expect(Math.abs(chance - (fine[k] ?? 0))).toBeLessThan(2e-6);
    });
  }
});

test("the bracket of lives rounded up and down to a lattice holds the grid's answer", () => {
  const shape = 2.5;
  const [age, horizon, periods] = [0.6, 1.5, 300];
  const h = horizon / periods;
  const pieces = (cdf: (t: number) => number) =>
    Array.from({ length: periods + 1 }, (_, i) => cdf((i + 1) * h) - cdf(i * h));
  const life = pieces(weibull(shape, 1));
  const firstLife = pieces(weibull(shape, 1, age));
  const { probabilities } = renewalCounts({
    firstCdf: weibull(shape, 1, age),
    laterCdf: weibull(shape, 1),
    horizon,
  });
  const atLeast = (law: readonly number[], k: number) =>
    law.slice(k).reduce((sum, chance) => sum + chance, 0);
  const late = latticeRenewalCounts({ life, firstLife, periods });
  // Rounded down, a life of i + 1 periods is one of i, and a first life of less than one period is over at once.
  const early = latticeRenewalCounts({
    life: life.slice(1).map((chance, i) => (i === 0 ? chance + life[0]! : chance)),
    firstLife: firstLife.slice(1).map((chance, i) => (i === 0 ? chance + firstLife[0]! : chance)),
    periods,
  });
  for (let k = 1; k <= 4; k++) {
    expect(atLeast(late, k)).toBeLessThan(atLeast(probabilities, k) + 1e-6);
    expect(atLeast(early, k)).toBeGreaterThan(atLeast(probabilities, k) - 1e-4);
  }
});

test("several horizons at once agree with one at a time, also off the grid, and more use never needs fewer parts", () => {
  const laws = { firstCdf: weibull(2.5, 40, 25), laterCdf: weibull(2.5, 40) };
  const wanted = [60, 0, 13.7, 47.11, 100, 99.99];
  const through = renewalCountsThrough({ ...laws, horizons: wanted });
  expect(through.map(({ horizon }) => horizon)).toEqual(wanted);
  for (const { horizon, probabilities } of through) {
    const alone = renewalCounts({ ...laws, horizon, steps: 300 }).probabilities;
    alone.forEach((chance, k) => {
      expect(Math.abs((probabilities[k] ?? 0) - chance)).toBeLessThan(1e-6);
    });
  }
  const means = [...through]
    .sort((a, b) => a.horizon - b.horizon)
    .map(({ probabilities }) => pmfMean(probabilities));
  for (let i = 1; i < means.length; i++) expect(means[i]!).toBeGreaterThanOrEqual(means[i - 1]!);
});

test("an older part in place is replaced sooner: the expected count rises with its age when wear speeds up", () => {
  fc.assert(
    fc.property(fc.double({ min: 1, max: 5, noNaN: true }), horizons, (shape, horizon) => {
      const mean = (age: number) =>
        renewalCounts({ firstCdf: weibull(shape, 1, age), laterCdf: weibull(shape, 1), horizon }).mean;
      expect(mean(0.8)).toBeGreaterThanOrEqual(mean(0.2) - 1e-6);
    }),
    { numRuns: 20 },
  );
});

test("the equilibrium start gives exactly horizon / mean life (Cox 1962)", () => {
  // Two stages of rate 2, mean life 1: the equilibrium residual life has density 1 - F.
  const later = (t: number) => 1 - Math.exp(-2 * t) * (1 + 2 * t);
  const first = (t: number) => 1 - Math.exp(-2 * t) * (1 + t);
  for (const horizon of [0.3, 1, 4.5]) {
    expect(renewalCounts({ firstCdf: first, laterCdf: later, horizon }).mean).toBeCloseTo(horizon, 7);
  }
});

test("erlangCounts agrees with the grid for an old part of four stages", () => {
  const survival = (t: number) => Math.exp(-t) * (1 + t + t ** 2 / 2 + t ** 3 / 6);
  const exact = erlangCounts({ stages: 4, rate: 1, age: 3, horizon: 14 });
  const grid = renewalCounts({
    firstCdf: (t) => 1 - survival(3 + t) / survival(3),
    laterCdf: (t) => 1 - survival(t),
    horizon: 14,
  }).probabilities;
  exact.forEach((chance, k) => {
    expect(Math.abs(chance - (grid[k] ?? 0))).toBeLessThan(1e-7);
  });
});

test("lattice counts have the mean of the discrete renewal equation", () => {
  const life = [0.03, 0.07, 0.2, 0.4, 0.15, 0.15];
  const firstLife = [0.5, 0.3, 0.1];
  for (const periods of [0, 1, 5, 17]) {
    const expected = discreteRenewal({ life, firstLife, periods }).reduce((sum, value) => sum + value, 0);
    const counts = latticeRenewalCounts({ life, firstLife, periods });
    expect(pmfMean(counts)).toBeCloseTo(expected, 12);
  }
});

test("a part that is due already counts at once, wholly or with its chance", () => {
  const laterCdf = weibull(3, 40);
  const fresh = renewalCounts({ firstCdf: laterCdf, laterCdf, horizon: 60 }).probabilities;
  const due = renewalCountsThrough({ firstCdf: () => 1, laterCdf, horizons: [60, 17.3] });
  const half = renewalCounts({
    firstCdf: (t) => 0.4 + 0.6 * laterCdf(t),
    laterCdf,
    horizon: 60,
  }).probabilities;
  fresh.forEach((chance, k) => {
    expect(due[0]!.probabilities[k + 1] ?? 0).toBeCloseTo(chance, 12);
    expect(half[k] ?? 0).toBeCloseTo(0.6 * chance + 0.4 * (fresh[k - 1] ?? 0), 8);
  });
  expect(due[1]!.probabilities[0]).toBe(0);
  const now = { firstCdf: () => 0.3, laterCdf };
  expect(renewalCounts({ ...now, horizon: 0 }).probabilities).toEqual([0.7, 0.3]);
  expect(renewalCountsThrough({ ...now, horizons: [0, 5] })[0]!.probabilities).toEqual([0.7, 0.3]);
  expect(due[1]!.probabilities[1]).toBeCloseTo(1 - laterCdf(17.3), 12);
});

test("new parts that fail at once with chance 0.2 multiply the expected count by 1.25", () => {
  const sound = weibull(2.5, 40);
  const flawed = (t: number) => 0.2 + 0.8 * sound(t);
  for (const firstCdf of [sound, weibull(2.5, 40, 38), (t: number) => 0.5 + 0.5 * sound(t)]) {
    const of = (laterCdf: (t: number) => number) => renewalCounts({ firstCdf, laterCdf, horizon: 60 }).mean;
    expect(of(flawed) / of(sound)).toBeCloseTo(1.25, 6);
  }
});

test("a part that will fail within a fraction of a step is placed where it fails, within 1e-5", () => {
  for (const [shape, age] of [
    [8, 60],
    [8, 80],
    [4, 70],
    [2.5, 100],
  ] as const) {
    const laws = { firstCdf: weibull(shape, 40, age), laterCdf: weibull(shape, 40), horizon: 60 };
    const usual = renewalCounts(laws).probabilities;
    const fine = renewalCounts({ ...laws, steps: 1200 }).probabilities;
    usual.forEach((chance, k) => {
      expect(Math.abs(chance - (fine[k] ?? 0)), `shape ${shape}, age ${age}`).toBeLessThan(1e-5);
    });
  }
});

test("regular lives: fewer than horizon / mean life from new, and a variance below the mean; the asymptote holds", () => {
  // Moments of Weibull lives of scale 1 by Simpson's rule on the survival function.
  const moment = (shape: number, power: number) => {
    const [steps, most] = [4000, 12];
    let sum = 0;
    for (let i = 0; i <= steps; i++) {
      const t = (most * i) / steps;
      const weight = i === 0 || i === steps ? 1 : i % 2 === 1 ? 4 : 2;
      sum += weight * power * t ** (power - 1) * Math.exp(-(t ** shape));
    }
    return (sum * most) / (3 * steps);
  };
  for (const shape of [1.5, 2.5, 4]) {
    const cdf = weibull(shape, 1);
    const [mu, square] = [moment(shape, 1), moment(shape, 2)];
    const excess = (square - 2 * mu ** 2) / (2 * mu ** 2);
    for (const horizon of [0.4, 1, 3, 9]) {
      const { mean, variance } = renewalCounts({ firstCdf: cdf, laterCdf: cdf, horizon });
      expect(mean).toBeLessThanOrEqual(horizon / mu);
      expect(mean).toBeGreaterThanOrEqual(horizon / mu - 1);
      expect(variance).toBeLessThan(mean);
    }
    const far = renewalCounts({ firstCdf: cdf, laterCdf: cdf, horizon: 9 }).mean;
    expect(far).toBeCloseTo(9 / mu + excess, 2);
    const farther = renewalCounts({ firstCdf: cdf, laterCdf: cdf, horizon: 9.5 }).mean;
    expect(farther - far).toBeCloseTo(0.5 / mu, 2);
  }
});

test("a life that never ends within the horizon leaves nothing to replace", () => {
  const never = () => 0;
  expect(renewalCounts({ firstCdf: never, laterCdf: never, horizon: 10 })).toEqual({
    probabilities: [1],
    mean: 0,
    variance: 0,
  });
  expect(
    renewalCounts({ firstCdf: weibull(2, 1), laterCdf: weibull(2, 1), horizon: 0 }).probabilities,
  ).toEqual([1]);
  expect(renewalFunction({ cdf: never, horizon: 3 })).toBe(0);
});

test("impossible input is refused with a RangeError that names the function", () => {
  const cdf = weibull(2, 1);
  const count = (change: object) => () =>
    renewalCounts({ firstCdf: cdf, laterCdf: cdf, horizon: 1, ...change });
  expect(count({ horizon: -1 })).toThrow("renewalCounts requires a finite horizon");
  expect(count({ horizon: Number.NaN })).toThrow("renewalCounts requires a finite horizon");
  expect(count({ steps: 3 })).toThrow("renewalCounts requires steps");
  expect(count({ tail: 0 })).toThrow("renewalCounts requires a tail");
  expect(count({ laterCdf: () => 2 })).toThrow("renewalCounts requires a cdf in [0, 1]");
  expect(count({ firstCdf: () => Number.NaN })).toThrow("renewalCounts requires a cdf in [0, 1]");
  expect(() => discreteRenewal({ life: [0.9, 0.9], periods: 3 })).toThrow("sum to at most 1");
  expect(() => latticeRenewalCounts({ life: [-0.1], periods: 3 })).toThrow("not below 0");
  expect(() => erlangCounts({ stages: 0, rate: 1, horizon: 1 })).toThrow("erlangStagesLeft requires");
});
