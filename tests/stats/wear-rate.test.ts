import { describe, expect, test } from "vitest";
import { findMode, findModeNear, integrateRate, type RateIntegral } from "../../src/stats/wear-rate.ts";
import type { WearHyper } from "../../src/stats/wear-types.ts";

const median = 0.8;
const hyperOf = (spread: number): WearHyper => ({
  ...{ rate: median, spread, noise: 0.1, reading: 1, exponent: 1, bend: 0 },
  multipliers: [],
});

/** Readings that alone would say that the log rate lies `shift` spreads from the median, ± `error`. */
function readingsOf(spread: number, error: number, shift: number): { a: number; b: number } {
  const rate = median * Math.exp(spread * shift);
  const a = 1 / (rate * error) ** 2;
  return { a, b: rate * a };
}

const cases = [0.05, 0.1, 0.3, 0.6, 1].flatMap((spread) =>
  [0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.15, 0.2, 0.4].flatMap((error) =>
    [-2, -0.7, 0, 0.7, 2].map((shift) => ({ spread, ...readingsOf(spread, error, shift) })),
  ),
);

/**
 * The integral and its means by a trapezoidal rule fifty times as fine over twelve standard deviations: for such functions its
 * error falls faster than any power of the step (Trefethen & Weideman 2014, SIAM Review 56, section 5).
 */
function fine(a: number, b: number, spread: number): RateIntegral & { width: number } {
  const mode = { z: 0, sd: 1 };
  findMode(a, b, median, spread, mode);
  const exponent = (z: number, rate: number): number => b * rate - 0.5 * a * rate * rate - 0.5 * z * z;
  const rateAt = (z: number): number => median * Math.exp(spread * z);
  const top = exponent(mode.z, rateAt(mode.z));
  const step = 0.02 * mode.sd;
  const sums = { all: 0, rate: 0, square: 0, byRate: 0, bySpread: 0 };
  for (let k = -600; k <= 600; k++) {
    const z = mode.z + k * step;
    const rate = rateAt(z);
    const weight = Math.exp(exponent(z, rate) - top);
    const slope = b * rate - a * rate * rate;
    sums.all += weight;
    sums.rate += weight * rate;
    sums.square += weight * rate * rate;
    sums.byRate += weight * slope;
    sums.bySpread += weight * spread * z * slope;
  }
  return {
    log: top + Math.log((sums.all * step) / Math.sqrt(2 * Math.PI)),
    rate: sums.rate / sums.all,
    square: sums.square / sums.all,
    byRate: sums.byRate / sums.all,
    bySpread: sums.bySpread / sums.all,
    width: spread * mode.sd,
  };
}

const integrated = (a: number, b: number, spread: number, means = true): RateIntegral => {
  const out: RateIntegral = { log: 0, rate: 0, square: 0, byRate: 0, bySpread: 0 };
  integrateRate(a, b, hyperOf(spread), out, means);
  return out;
};

/** Largest error over the cases whose rate is known within a range of widths. */
function worst(
  from: number,
  to: number,
  widest = Infinity,
): Record<keyof RateIntegral, number> & { cases: number } {
  const most = { log: 0, rate: 0, square: 0, byRate: 0, bySpread: 0, cases: 0 };
  for (const { a, b, spread } of cases) {
    const exact = fine(a, b, spread);
    if (spread > widest) continue;
    if (exact.width < from || exact.width >= to) continue;
    const found = integrated(a, b, spread);
    most.cases += 1;
    most.log = Math.max(most.log, Math.abs(found.log - exact.log));
    most.rate = Math.max(most.rate, Math.abs(found.rate / exact.rate - 1));
    most.square = Math.max(most.square, Math.abs(found.square / exact.square - 1));
    most.byRate = Math.max(most.byRate, Math.abs(found.byRate - exact.byRate));
    most.bySpread = Math.max(most.bySpread, Math.abs(found.bySpread - exact.bySpread));
  }
  return most;
}

describe("the integral over the rate of a piece", () => {
  test("a rate known within 5 %: nothing is lost in seven digits", () => {
    const { cases: some, log, rate, square, byRate, bySpread } = worst(0, 0.05);
    expect(some).toBeGreaterThan(60);
    expect(Math.max(log, rate, square)).toBeLessThan(3e-7);
    expect(Math.max(byRate, bySpread)).toBeLessThan(3e-6);
  });

  test("a rate known within 5 to 15 %: the series is off by less than 2e-4, its derivatives too", () => {
    const { cases: some, log, rate, square, byRate, bySpread } = worst(0.05, 0.15);
    expect(some).toBeGreaterThan(40);
    expect(log).toBeLessThan(1.2e-4);
    expect(Math.max(rate, square)).toBeLessThan(2e-5);
    expect(Math.max(byRate, bySpread)).toBeLessThan(2e-4);
  });

  test("a rate known less well: the rule is off by less than 1e-3 where log rates scatter by 0.3, and by 0.012 up to 0.6", () => {
    const narrow = worst(0.15, Infinity, 0.3);
    expect(narrow.cases).toBe(10);
    expect(Math.max(narrow.log, narrow.rate, narrow.square, narrow.byRate, narrow.bySpread)).toBeLessThan(
      1e-3,
    );
    const wide = worst(0.15, Infinity, 0.6);
    expect(wide.cases).toBe(22);
    expect(Math.max(wide.log, wide.rate, wide.square, wide.byRate, wide.bySpread)).toBeLessThan(0.012);
  });

  test("the integral is the same with and without its means", () => {
    for (const { a, b, spread } of cases)
      expect(integrated(a, b, spread, false).log).toBe(integrated(a, b, spread).log);
  });

  test("the means are the derivatives of the integral, and those by rate and spread too", () => {
    const logAt = (a: number, b: number, rate: number, spread: number): number => {
      const out: RateIntegral = { log: 0, rate: 0, square: 0, byRate: 0, bySpread: 0 };
      integrateRate(a, b, { ...hyperOf(spread), rate }, out, false);
      return out.log;
    };
    let compared = 0;
    for (const { a, b, spread } of cases) {
      if (fine(a, b, spread).width > 0.14) continue;
      compared += 1;
      const found = integrated(a, b, spread);
      const step = 2e-3 * spread;
      const slope = (of: (factor: number) => number): number =>
        (of(Math.exp(step)) - of(Math.exp(-step))) / (2 * step);
      const close = (actual: number, expected: number): void => {
        expect(Math.abs(actual - expected)).toBeLessThan(2e-5 * (1 + Math.abs(expected)));
      };
      close(
        found.rate * b,
        slope((factor) => logAt(a, b * factor, median, spread)),
      );
      close(
        -0.5 * found.square * a,
        slope((factor) => logAt(a * factor, b, median, spread)),
      );
      close(
        found.byRate,
        slope((factor) => logAt(a, b, median * factor, spread)),
      );
      close(
        found.bySpread,
        slope((factor) => logAt(a, b, median, spread * factor)),
      );
    }
    expect(compared).toBeGreaterThan(100);
  });

  test("no readings at all: the integral over the law of the rate is 1, and its mean that of the log-normal law", () => {
    const { log, rate, square } = integrated(0, 0, 0.1);
    expect(log).toBeCloseTo(0, 9);
    expect(rate).toBeCloseTo(median * Math.exp(0.005), 6);
    expect(square).toBeCloseTo(median ** 2 * Math.exp(0.02), 6);
  });
});

describe("the mode of the rate of a piece", () => {
  test("its slope vanishes, and the search that begins beside it finds the same", () => {
    for (const { a, b, spread } of cases) {
      const mode = { z: 0, sd: 1 };
      const rate = findMode(a, b, median, spread, mode);
      expect(Math.abs(rate / (median * Math.exp(spread * mode.z)) - 1)).toBeLessThan(1e-8);
      // Off the mode by less than a thousandth of the standard deviation there.
      expect(Math.abs(spread * (b * rate - a * rate * rate) - mode.z) * mode.sd).toBeLessThan(1e-3);
      const beside = { z: 0, sd: 1 };
      const off = mode.z + 0.1 * mode.sd;
      findModeNear(a, b, hyperOf(spread), off, median * Math.exp(spread * off), beside);
      expect(Math.abs(beside.z - mode.z) / mode.sd).toBeLessThan(1e-3);
    }
  });
});
