import { describe, expect, it } from "vitest";
import { intervalCoverage, pitUniformity } from "../../src/stats/calibration.ts";
import { firstPassageCdf } from "../../src/stats/first-passage.ts";
import { gammaP } from "../../src/stats/gamma.ts";
import { type LifeDistribution, lifeSurvival } from "../../src/stats/life-distribution.ts";
import { normalCdf, normalPdf, normalQuantile } from "../../src/stats/normal.ts";
import {
  brierScore,
  crpsCount,
  crpsExponential,
  crpsGamma,
  crpsLife,
  crpsNormal,
  crpsNormalMixture,
  crpsSample,
  crpsToHorizon,
  intervalScore,
  quantileScore,
} from "../../src/stats/scores.ts";
import { caseOf, column, expectCase } from "./cases.ts";

const weibull = (shape: number, scale: number): LifeDistribution => ({
  distribution: "weibull",
  shape,
  scale,
});
const lognormal = (meanLog: number, sdLog: number): LifeDistribution => ({
  distribution: "lognormal",
  meanLog,
  sdLog,
});

describe("scores", () => {
  it("CRPS agrees with closed forms and quadrature in R (Gneiting & Raftery, 2007; Jordan, Krueger & Lerch, 2019)", () => {
    const members = [1, 2, 2.5, 3, 3.5, 4, 5, 9];
    const path = {
      distance: 10,
      drift: 0.0020375,
      driftVariance: 0.00042 ** 2,
      diffusionVariance: 0.0104 ** 2,
    };
    expectCase(caseOf("crps-closed-forms"), {
      N01_0: crpsNormal(0, { mean: 0, sd: 1 }),
      "N01_1.5": crpsNormal(1.5, { mean: 0, sd: 1 }),
      N_10_2_13: crpsNormal(13, { mean: 10, sd: 2 }),
      "Exp_0.1_5": crpsExponential(5, 0.1),
      "LN_3_0.5_30": crpsLife(30, lognormal(3, 0.5)),
      "LN_3_0.5_5": crpsLife(5, lognormal(3, 0.5)),
      Weib_2_50_40: crpsLife(40, weibull(2, 50)),
      Weib_2_50_120: crpsLife(120, weibull(2, 50)),
      Gamma_3_4_20: crpsGamma(20, { shape: 3, scale: 4 }),
      ens_8: crpsSample(3.2, members),
      ens_8_fair: crpsSample(3.2, members, { fair: true }),
      fpt_drift_6000: crpsToHorizon(6000, (usage) => firstPassageCdf(path, usage), 60_000),
      "pinball_0.9_q50_y40": quantileScore(40, 50, 0.9),
      "pinball_0.9_q50_y65": quantileScore(65, 50, 0.9),
    });
  });

  it("coverage, interval score, log score and PIT of twelve normal forecasts agree with R (Gneiting & Raftery, 2007)", () => {
    const one = caseOf("calibration-metrics");
    const [means, sds, outcomes] = [column(one, "mean"), column(one, "sd"), column(one, "y")];
    const forecasts = means.map((mean, i) => ({ mean, sd: sds[i]!, y: outcomes[i]! }));
    const average = (f: (one: (typeof forecasts)[number]) => number) =>
      forecasts.reduce((sum, one) => sum + f(one), 0) / forecasts.length;
    const interval = ({ mean, sd }: { mean: number; sd: number }, level: number) => {
      const half = sd * normalQuantile((1 + level) / 2);
      return { low: mean - half, high: mean + half };
    };
    const covered = (level: number) =>
      intervalCoverage(
        forecasts.map((f) => ({ ...interval(f, level), outcome: f.y })),
        level,
      ).share;
    const pit = (i: number) => normalCdf((outcomes[i]! - means[i]!) / sds[i]!);
    expectCase(one, {
      coverage50: covered(0.5),
      coverage80: covered(0.8),
      coverage95: covered(0.95),
      mean_crps: average(({ y, ...law }) => crpsNormal(y, law)),
      mean_log_score: average(({ mean, sd, y }) => -Math.log(normalPdf((y - mean) / sd) / sd)),
      mean_interval_score80: average((f) => intervalScore(f.y, interval(f, 0.8), 0.8)),
      mean_abs_err: average(({ mean, y }) => Math.abs(y - mean)),
      PIT_1: pit(0),
      PIT_12: pit(11),
      z_sd: Math.sqrt(average(({ mean, sd, y }) => ((y - mean) / sd) ** 2)),
    });
  });

  it("closed forms are the integral of (F - step)², cut far out", () => {
    for (const y of [0, 3, 40]) {
      const far = 4000;
      const laws: [number, (x: number) => number][] = [
        [crpsLife(y, weibull(0.8, 12)), (x) => 1 - lifeSurvival(weibull(0.8, 12), x)],
        [crpsLife(y, lognormal(2, 0.7)), (x) => 1 - lifeSurvival(lognormal(2, 0.7), x)],
        [crpsGamma(y, { shape: 0.6, scale: 9 }), (x) => gammaP(0.6, x / 9)],
        [crpsExponential(y, 0.2), (x) => -Math.expm1(-0.2 * x)],
      ];
      for (const [closed, cdf] of laws) expect(crpsToHorizon(y, cdf, far)).toBeCloseTo(closed, 4);
    }
  });

  it("a mixture of equal parts scores as the single law, and of distant points as their sample", () => {
    const law = { mean: 3, sd: 2 };
    const parts = [0.3, 0.7].map((weight) => ({ weight, ...law }));
    expect(crpsNormalMixture(4.5, parts)).toBeCloseTo(crpsNormal(4.5, law), 12);
    const points = [1, 4, 9].map((mean) => ({ weight: 1 / 3, mean, sd: 1e-9 }));
    expect(crpsNormalMixture(5, points)).toBeCloseTo(crpsSample(5, [1, 4, 9]), 6);
  });

  it("the CRPS of a count is that of the equally likely sample it stands for", () => {
    expect(crpsCount(2, [0.25, 0.25, 0.5])).toBeCloseTo(crpsSample(2, [0, 1, 2, 2]), 12);
    expect(crpsCount(5, [0.25, 0.25, 0.5])).toBeCloseTo(crpsSample(5, [0, 1, 2, 2]), 12);
    expect(crpsCount(1, [0, 1])).toBe(0);
  });

  it("the truth scores best: a forecast that is too narrow, too wide or biased has a larger mean CRPS", () => {
    const outcomes = Array.from({ length: 999 }, (_, i) => normalQuantile((i + 0.5) / 999));
    const meanScore = (law: { mean: number; sd: number }) =>
      outcomes.reduce((sum, y) => sum + crpsNormal(y, law), 0) / outcomes.length;
    const best = meanScore({ mean: 0, sd: 1 });
    for (const law of [
      { mean: 0, sd: 0.7 },
      { mean: 0, sd: 1.4 },
      { mean: 0.4, sd: 1 },
    ]) {
      expect(meanScore(law)).toBeGreaterThan(best + 0.01);
    }
  });

  it("the Brier score punishes a confident miss most", () => {
    expect(brierScore(0.9, true)).toBeCloseTo(0.01, 15);
    expect(brierScore(0.9, false)).toBeCloseTo(0.81, 15);
  });

  it("arguments outside their range are refused by name", () => {
    expect(() => crpsNormal(1, { mean: 0, sd: 0 })).toThrow(/crpsNormal requires a finite sd > 0/);
    expect(() => crpsLife(-1, weibull(1, 1))).toThrow(/crpsLife requires a finite outcome >= 0/);
    expect(() => crpsSample(1, [2], { fair: true })).toThrow(/at least 2/);
    expect(() => crpsNormalMixture(1, [{ weight: 0.5, mean: 0, sd: 1 }])).toThrow(/sum to 1/);
    expect(() => crpsCount(1.5, [1])).toThrow(/whole outcome/);
    expect(() => intervalScore(1, { low: 2, high: 1 }, 0.8)).toThrow(/low <= high/);
    expect(() => brierScore(1.1, true)).toThrow(/p in \[0, 1\]/);
  });
});

describe("calibration", () => {
  it("coverage has exact limits (Clopper & Pearson, 1934) and says when there is too little evidence", () => {
    const forecasts = Array.from({ length: 10 }, (_, i) => ({ low: 0, high: 1, outcome: i === 0 ? 2 : 0.5 }));
    const coverage = intervalCoverage(forecasts, 0.8);
    expect(coverage).toMatchObject({ forecasts: 10, inside: 9, share: 0.9, enough: false, asStated: true });
    // The beta quantiles by mpmath, 20 digits: 0.554983883 and 0.997471421.
    expect(coverage.limits.low).toBeCloseTo(0.554983883, 8);
    expect(coverage.limits.high).toBeCloseTo(0.997471421, 8);
    expect(intervalCoverage(forecasts.slice(1), 0.8).limits.high).toBe(1);
  });

  it("intervals that hold half of 200 outcomes are not 80 % intervals", () => {
    const forecasts = Array.from({ length: 200 }, (_, i) => ({
      low: 0,
      high: 1,
      outcome: i % 2 === 0 ? 0.5 : 3,
    }));
    expect(intervalCoverage(forecasts, 0.8)).toMatchObject({ enough: true, asStated: false });
  });

  it("the PIT test accepts uniform values and finds forecasts that are too narrow", () => {
    const level = Array.from({ length: 400 }, (_, i) => (i + 0.5) / 400);
    expect(pitUniformity(level)).toEqual({ counts: new Array(10).fill(40), chiSquare: 0, pValue: 1 });
    const narrow = level.map((u) => normalCdf(2 * normalQuantile(u)));
    const { counts, pValue } = pitUniformity(narrow);
    expect(counts[0]).toBeGreaterThan(3 * counts[4]!);
    expect(pValue).toBeLessThan(1e-6);
  });

  it("too few values for the bins are refused", () => {
    expect(() => pitUniformity([0.1, 0.4])).toThrow(/at least 50 values/);
    expect(() => pitUniformity(new Array(60).fill(1.2))).toThrow(/in \[0, 1\]/);
    expect(() => intervalCoverage([], 0.8)).toThrow(/at least one forecast/);
  });
});
