import { describe, expect, it } from "vitest";
import { delayedCounts, poissonLaw, renewalCountsThrough, renewalTable } from "../../src/stats/index.ts";

const weibull = (shape: number, scale: number) => (t: number) => -Math.expm1(-((t / scale) ** shape));
const largest = (a: readonly number[], b: readonly number[]) =>
  Math.max(
    ...Array.from({ length: Math.max(a.length, b.length) }, (_, k) => Math.abs((a[k] ?? 0) - (b[k] ?? 0))),
  );

describe("counts from a shared table", () => {
  it("agree with the counts worked out for each position alone, to 5e-4", () => {
    const laterCdf = weibull(2.5, 40);
    const table = renewalTable({ cdf: laterCdf, horizon: 120 });
    for (const age of [0, 10, 25, 60]) {
      const firstCdf = (t: number) => -Math.expm1((age / 40) ** 2.5 - ((age + t) / 40) ** 2.5);
      const horizons = [7, 33.3, 60, 120];
      const exact = renewalCountsThrough({ firstCdf, laterCdf, horizons });
      const shared = delayedCounts(table, firstCdf, horizons);
      for (let i = 0; i < horizons.length; i++)
        expect(largest(shared[i]!, exact[i]!.probabilities)).toBeLessThan(5e-4);
    }
  });

  it("of exponential lives are Poisson, to 5e-4", () => {
    const cdf = (t: number) => -Math.expm1(-t / 10);
    const [law] = delayedCounts(renewalTable({ cdf, horizon: 50 }), cdf, [50]);
    expect(largest(law!, poissonLaw(5))).toBeLessThan(5e-4);
  });

  it("count a piece that is finished already as changed at once", () => {
    const table = renewalTable({ cdf: weibull(3, 1000), horizon: 10 });
    const [law] = delayedCounts(table, () => 1, [10]);
    expect(law![0]).toBe(0);
    expect(law![1]).toBeGreaterThan(0.999);
    expect(delayedCounts(table, () => 1, [0])[0]).toEqual([0, 1]);
  });

  it("are laws, and nothing is needed where nothing is used", () => {
    const cdf = weibull(2, 30);
    for (const law of delayedCounts(renewalTable({ cdf, horizon: 90 }), cdf, [0, 1e-9, 45, 90]))
      expect(law.reduce((sum, p) => sum + p, 0)).toBeCloseTo(1, 9);
    expect(delayedCounts(renewalTable({ cdf, horizon: 0 }), cdf, [0])).toEqual([[1]]);
  });

  it("refuse a horizon beyond the table, and a chance above 1", () => {
    const table = renewalTable({ cdf: weibull(2, 30), horizon: 10 });
    expect(() => delayedCounts(table, weibull(2, 30), [11])).toThrow("delayedCounts requires");
    expect(() => renewalTable({ cdf: () => 1.1, horizon: 1 })).toThrow("renewalTable requires");
    expect(() => renewalTable({ cdf: weibull(2, 30), horizon: -1 })).toThrow(RangeError);
  });
});
