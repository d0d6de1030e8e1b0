import { describe, expect, it } from "vitest";
import { type LifeDistribution, lifeQuantile } from "../../src/stats/life-distribution.ts";
import type { LifeObservation } from "../../src/stats/life-data.ts";
import { fitLife } from "../../src/stats/life-fit.ts";
import {
  type LifePosterior,
  lifePosterior,
  posteriorConditionalSurvival,
  posteriorExpectation,
  posteriorResidualQuantile,
  posteriorSurvival,
} from "../../src/stats/life-posterior.ts";
import { caseOf, expectCase, livesOf, uniforms } from "./cases.ts";

const Z80 = 1.2815515655446004;
const shapeOf = (life: LifeDistribution) => (life.distribution === "weibull" ? life.shape : Number.NaN);
const logScaleOf = (life: LifeDistribution) =>
  life.distribution === "weibull" ? Math.log(life.scale) : Number.NaN;

function meanAndSd(posterior: LifePosterior, f: (life: LifeDistribution) => number): [number, number] {
  const mean = posteriorExpectation(posterior, f);
  return [mean, Math.sqrt(posteriorExpectation(posterior, (life) => (f(life) - mean) ** 2))];
}

describe("lifePosterior", () => {
  it("agrees with dense grids in R and quadrature in Python (data: Abernethy, The New Weibull Handbook, App. C.5)", () => {
    const one = caseOf("bayes-weibull-grid");
    const posterior = lifePosterior("weibull", livesOf(one), {
      life: { p10: 4000 * Math.exp(-Z80), p90: 4000 * Math.exp(Z80) },
      lifeOf: "scale",
      spread: { p10: 2 * Math.exp(-0.5 * Z80), p90: 2 * Math.exp(0.5 * Z80) },
    });
    const [post_mean_beta, post_sd_beta] = meanAndSd(posterior, shapeOf);
    const [post_mean_log_eta, post_sd_log_eta] = meanAndSd(posterior, logScaleOf);
    expectCase(one, {
      post_mean_beta,
      post_sd_beta,
      post_mean_log_eta,
      post_sd_log_eta,
      pred_S_1000: posteriorSurvival(posterior, 1000),
      pred_S_3000: posteriorSurvival(posterior, 3000),
      pred_S_6000: posteriorSurvival(posterior, 6000),
      resid_new_item_2000_to_3000: posteriorConditionalSurvival(posterior, 2000, 1000, { inData: false }),
      resid_item_in_data_2000_to_3000: posteriorConditionalSurvival(posterior, 2000, 1000, { inData: true }),
      log_evidence: posterior.logEvidence,
    });
  });

  it("without observations it is the prior: four in five new items fail within the stated range, evidence 1", () => {
    for (const distribution of ["weibull", "lognormal"] as const) {
      for (const life of [
        { p10: 50, p90: 100 },
        { p10: 10, p90: 400 },
      ]) {
        const posterior = lifePosterior(distribution, [], { life });
        expect(posterior.logEvidence).toBeCloseTo(0, 8);
        // The spread is itself uncertain, which moves the two probabilities by up to 0.03 from 0.1 and 0.9.
        expect(Math.abs(1 - posteriorSurvival(posterior, life.p10) - 0.1)).toBeLessThan(0.03);
        expect(Math.abs(1 - posteriorSurvival(posterior, life.p90) - 0.9)).toBeLessThan(0.03);
      }
    }
  });

  it("without observations the median has the stated range", () => {
    const posterior = lifePosterior("weibull", [], { life: { p10: 30, p90: 60 }, lifeOf: "median" });
    const below = (t: number) =>
      posteriorExpectation(posterior, (life) => (lifeQuantile(life, 0.5) < t ? 1 : 0));
    // A step function on a grid: accurate to about one grid row.
    expect(below(30)).toBeGreaterThan(0.05);
    expect(below(30)).toBeLessThan(0.15);
    expect(below(60)).toBeGreaterThan(0.85);
  });

  it("with many observations the prior is forgotten and the posterior mean is the maximum-likelihood fit", () => {
    const many = livesOf(caseOf("ballbearing")).map((life) => ({ ...life, count: 200 }) as LifeObservation);
    const { life } = fitLife("weibull", many);
    const posterior = lifePosterior("weibull", many, { life: { p10: 20, p90: 200 } });
    expect(posteriorExpectation(posterior, shapeOf) / life.shape).toBeCloseTo(1, 2);
    expect(posteriorSurvival(posterior, 60)).toBeCloseTo(Math.exp(-((60 / life.scale) ** life.shape)), 2);
  });

  it("survivors alone lengthen the expected life, and a lone early failure shortens it", () => {
    const prior = { life: { p10: 20, p90: 100 } };
    const median = (lives: LifeObservation[]) =>
      posteriorResidualQuantile(lifePosterior("weibull", lives, prior), 0, 0.5, { inData: false });
    expect(median([{ kind: "running", at: 80, count: 3 }])).toBeGreaterThan(1.2 * median([]));
    expect(median([{ kind: "failed", at: 8 }])).toBeLessThan(0.9 * median([]));
  });

  it("survival never rises with age and the residual quantile inverts it", () => {
    const posterior = lifePosterior(
      "lognormal",
      [
        { kind: "between", from: 20, to: 30 },
        { kind: "running", at: 45 },
      ],
      { life: { p10: 15, p90: 90 } },
    );
    let last = 1;
    for (let t = 1; t < 400; t += 3) {
      const now = posteriorSurvival(posterior, t);
      expect(now).toBeLessThanOrEqual(last);
      last = now;
    }
    for (const inData of [true, false]) {
      const ahead = posteriorResidualQuantile(posterior, 45, 0.25, { inData });
      expect(posteriorConditionalSurvival(posterior, 45, ahead, { inData })).toBeCloseTo(0.75, 9);
    }
  });

  it("conditioning an item on its own age by the data or by the ratio of averages gives the same answer", () => {
    const prior = { life: { p10: 20, p90: 100 } };
    const others: LifeObservation[] = [{ kind: "failed", at: 40 }];
    const without = lifePosterior("weibull", others, prior);
    const within = lifePosterior("weibull", [...others, { kind: "running", at: 55 }], prior);
    expect(posteriorConditionalSurvival(within, 55, 20, { inData: true })).toBeCloseTo(
      posteriorConditionalSurvival(without, 55, 20, { inData: false }),
      6,
    );
  });

  it("far beyond every belief the conditional survival is still a probability", () => {
    const posterior = lifePosterior("weibull", [{ kind: "failed", at: 40, count: 20 }], {
      life: { p10: 20, p90: 100 },
    });
    for (const inData of [true, false]) {
      const chance = posteriorConditionalSurvival(posterior, 1e7, 1e5, { inData });
      expect(chance).toBeGreaterThanOrEqual(0);
      expect(chance).toBeLessThanOrEqual(1);
    }
  });

  it("80 % intervals of a new life hold it in about 80 of 100 worlds drawn from the prior, with four lives seen", () => {
    const next = uniforms(11);
    const gauss = () => Math.sqrt(-2 * Math.log(next())) * Math.cos(2 * Math.PI * next());
    const spread = { p10: Math.exp(0.7 - 0.4 * Z80), p90: Math.exp(0.7 + 0.4 * Z80) };
    const life = { p10: 100 * Math.exp(-0.5 * Z80), p90: 100 * Math.exp(0.5 * Z80) };
    let held = 0;
    for (let world = 0; world < 300; world += 1) {
      const law: LifeDistribution = {
        distribution: "weibull",
        shape: Math.exp(0.7 + 0.4 * gauss()),
        scale: 100 * Math.exp(0.5 * gauss()),
      };
      const draw = () => lifeQuantile(law, next());
      const lives = Array.from({ length: 4 }, (): LifeObservation => {
        const [at, end] = [draw(), 150 * next()];
        return at < end ? { kind: "failed", at } : { kind: "running", at: end };
      });
      const posterior = lifePosterior("weibull", lives, { life, lifeOf: "scale", spread });
      const below = 1 - posteriorSurvival(posterior, draw());
      if (below > 0.1 && below < 0.9) held += 1;
    }
    // Standard deviation of the share: 2.3 %.
    expect(Math.abs(held / 300 - 0.8)).toBeLessThan(0.07);
  });

  it("priors and ages outside their range are refused by name", () => {
    expect(() => lifePosterior("weibull", [], { life: { p10: 5, p90: 5 } })).toThrow(
      /0 < p10 < p90 in prior.life/,
    );
    expect(() =>
      lifePosterior("weibull", [], { life: { p10: 5, p90: 9 }, spread: { p10: 0, p90: 2 } }),
    ).toThrow(/prior.spread/);
    const posterior = lifePosterior("weibull", [], { life: { p10: 5, p90: 9 } });
    expect(() => posteriorSurvival(posterior, -1)).toThrow(/requires an age >= 0/);
    expect(() => posteriorResidualQuantile(posterior, 0, 1, { inData: false })).toThrow(/p below 1/);
  });
});
