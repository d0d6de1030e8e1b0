import { describe, expect, it } from "vitest";
import {
  fitWearLine,
  forecastNewPiece,
  forecastWear,
  populationSummary,
  splitFit,
  type WearPiece,
} from "../../src/stats/index.ts";

const prior = {
  life: { p10: 480, p90: 1030 },
  pieceSpread: 0.3,
  runSpread: 0.35,
  usagePerRun: 5.5,
  startSd: 0,
  readingSd: 0.02,
};
/** Six pieces, each read twice; wear per minute 1.2e-4 to 1.8e-4. */
const pieces: WearPiece[] = [1.2, 1.35, 1.5, 1.55, 1.7, 1.8].map((rate, i) => ({
  id: `p${i}`,
  limit: 0.1,
  observations: [150, 320].map((usage) => ({ usage, wear: rate * 1e-4 * usage, sd: 0.005 })),
}));
const fit = fitWearLine({ pieces, limit: 0.1 }, prior);
const bare = fitWearLine({ pieces: [], limit: 0.1 }, prior);
const usages = [100, 250, 400, 600, 900, 1500];

describe("the strata of a fit", () => {
  it("have weights that sum to 1 and hold every point once", () => {
    for (const strata of [1, 2, 6, 500]) {
      const parts = splitFit(fit, strata);
      expect(parts.reduce((sum, { weight }) => sum + weight, 0)).toBeCloseTo(1, 12);
      expect(parts.reduce((sum, part) => sum + part.fit.points.length, 0)).toBe(fit.points.length);
      expect(parts.length).toBeLessThanOrEqual(strata);
    }
  });

  it("go from slow wear to fast", () => {
    const medians = splitFit(bare, 6).map((part) => populationSummary(part.fit).rate.median);
    expect(medians).toEqual([...medians].sort((a, b) => a - b));
    expect(medians.at(-1)! / medians[0]!).toBeGreaterThan(1.3);
  });

  // The rates of a piece are placed by the place of a point in its list, which is another in a stratum (measured: 7.1e-3).
  it("averaged by their weights forecast a new piece as the whole fit does, to 1e-2", () => {
    for (const whole of [fit, bare]) {
      const parts = splitFit(whole, 6).map((part) => ({
        weight: part.weight,
        law: forecastNewPiece(part.fit),
      }));
      const one = forecastNewPiece(whole);
      for (const usage of usages) {
        const mixed = parts.reduce((sum, { weight, law }) => sum + weight * law.remainingCdf(usage), 0);
        expect(Math.abs(mixed - one.remainingCdf(usage))).toBeLessThan(1e-2);
      }
    }
  });

  it("averaged by their weights forecast a piece of the fit as the whole fit does, to 1e-2", () => {
    const now = { usage: 400 };
    const past = (forecast: ReturnType<typeof forecastWear>, usage: number) =>
      forecast.pastLimitProbability + (1 - forecast.pastLimitProbability) * forecast.remainingCdf(usage);
    const whole = forecastWear(fit, pieces[2]!, now);
    const parts = splitFit(fit, 6).map((part) => ({
      weight: part.weight,
      law: forecastWear(part.fit, pieces[2]!, now),
    }));
    for (const usage of usages) {
      const mixed = parts.reduce((sum, { weight, law }) => sum + weight * past(law, usage), 0);
      expect(Math.abs(mixed - past(whole, usage))).toBeLessThan(1e-2);
    }
  });

  it("must be a whole number of at least 1", () => {
    expect(() => splitFit(fit, 0)).toThrow(RangeError);
    expect(() => splitFit(fit, 1.5)).toThrow("splitFit requires");
  });
});
