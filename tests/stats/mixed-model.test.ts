import { describe, expect, it } from "vitest";
import { fitMixedModel, type MixedModelFit } from "../../src/stats/mixed-model.ts";
import { caseOf, expectCase, rowsOf } from "./cases.ts";

const sleep = rowsOf("data/sleepstudy.csv");
const ones = sleep.map(() => 1);
const days = sleep.map((row) => row["t"]!);
const data = {
  group: sleep.map((row) => row["unit"]!),
  fixed: [ones, days],
  random: [ones, days],
  response: sleep.map((row) => row["y"]!),
};

function named(prefix: string, fit: MixedModelFit): Record<string, number> {
  const [sdIntercept, sdSlope] = fit.randomSd as [number, number];
  return {
    [`${prefix}_intercept`]: fit.coefficients[0]!,
    [`${prefix}_slope`]: fit.coefficients[1]!,
    [`${prefix}_se_intercept`]: fit.standardErrors[0]!,
    [`${prefix}_se_slope`]: fit.standardErrors[1]!,
    [`${prefix}_sd_intercept`]: sdIntercept,
    [`${prefix}_sd_slope`]: sdSlope,
    [`${prefix}_corr`]: fit.randomCovariance[0]![1]! / sdIntercept / sdSlope,
    [`${prefix}_sigma`]: fit.residualSd,
    [`${prefix}_minus2loglik`]: -2 * fit.logLikelihood,
  };
}

describe("fitMixedModel", () => {
  it("agrees with lme4 by ML and REML: 18 subjects, 10 days (Bates, Maechler, Bolker & Walker, 2015; data: Belenky et al., 2003)", () => {
    const reml = fitMixedModel(data, "REML");
    expectCase(caseOf("lmm-sleepstudy"), {
      ...named("ML", fitMixedModel(data, "ML")),
      ...named("REML", reml),
      blup308_intercept: reml.groupEffects.get(308)![0]!,
      blup308_slope: reml.groupEffects.get(308)![1]!,
      blup335_slope: reml.groupEffects.get(335)![1]!,
    });
  });

  it("a power law of wear with a random level per specimen agrees with lme4 (metal wear, Meeker & Escobar, 1998)", () => {
    const rows = rowsOf("data/metalwear.csv");
    const log = (name: string) => rows.map((row) => Math.log(row[name]!));
    const level = rows.map(() => 1);
    const fit = fitMixedModel(
      {
        group: rows.map((row) => row["unit"]!),
        fixed: [level, log("t"), log("grams")],
        random: [level],
        response: log("y"),
      },
      "ML",
    );
    const expected = Object.fromEntries(
      caseOf("metalwear-loglog").expected.map(({ q, value }) => [q, value]),
    );
    expect(fit.coefficients[0]! / expected["intercept"]!).toBeCloseTo(1, 5);
    expect(fit.coefficients[1]! / expected["exponent_cycles"]!).toBeCloseTo(1, 5);
    expect(fit.coefficients[2]! / expected["exponent_grams"]!).toBeCloseTo(1, 5);
    expect(fit.randomSd[0]! / expected["sd_unit"]!).toBeCloseTo(1, 4);
    expect(fit.residualSd / expected["sigma"]!).toBeCloseTo(1, 4);
    expect(fit.logLikelihood / expected["loglik"]!).toBeCloseTo(1, 6);
  });

  it("the random intercepts of a balanced layout have the closed form of the analysis of variance", () => {
    const means = [3, 5, 4, 8];
    const noise = [-0.5, 0.1, 0.4, 0, 0.3, -0.2, -0.1, 0, 0.2, 0.5, -0.4, -0.3];
    const response = noise.map((e, i) => means[i % 4]! + e);
    const group = noise.map((_, i) => i % 4);
    const fit = fitMixedModel(
      { group, fixed: [noise.map(() => 1)], random: [noise.map(() => 1)], response },
      "REML",
    );
    const groupMeans = means.map((_, g) => [0, 1, 2].reduce((sum, k) => sum + response[g + 4 * k]! / 3, 0));
    const grand = groupMeans.reduce((sum, m) => sum + m / 4, 0);
    const between = (3 * groupMeans.reduce((sum, m) => sum + (m - grand) ** 2, 0)) / 3;
    const within = response.reduce((sum, y, i) => sum + (y - groupMeans[i % 4]!) ** 2, 0) / 8;
    expect(fit.coefficients[0]).toBeCloseTo(grand, 9);
    expect(fit.residualSd ** 2 / within).toBeCloseTo(1, 5);
    expect(fit.randomSd[0]! ** 2 / ((between - within) / 3)).toBeCloseTo(1, 5);
  });

  it("groups that do not differ get a random standard deviation of zero, not an error", () => {
    const response = [1, -1, 2, -2, 1.5, -1.5, 1, -1];
    const group = [0, 0, 1, 1, 2, 2, 3, 3];
    const fit = fitMixedModel({
      group,
      fixed: [response.map(() => 1)],
      random: [response.map(() => 1)],
      response,
    });
    expect(fit.randomSd[0]!).toBeLessThan(1e-3);
    expect(fit.coefficients[0]).toBeCloseTo(0, 9);
  });

  it("too few groups, too few readings and ragged columns are refused", () => {
    const one = [1, 1, 1];
    const base = { group: [1, 1, 2], fixed: [one], random: [one], response: [1, 2, 3] };
    expect(() => fitMixedModel({ ...base, group: [1, 1, 1] })).toThrow(/at least two groups/);
    expect(() => fitMixedModel({ ...base, random: [[1, 1]] })).toThrow(/as long as the response/);
    expect(() =>
      fitMixedModel({ group: [1, 2], fixed: [[1, 1]], random: [[1, 1]], response: [1, 2] }),
    ).toThrow(/more readings than columns/);
    expect(() => fitMixedModel({ ...base, random: [[0, 0, 0]] })).toThrow(/not all zero/);
  });
});
