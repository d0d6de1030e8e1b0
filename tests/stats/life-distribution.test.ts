import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import {
  conditionalSurvival,
  type LifeDistribution,
  lifeDensity,
  lifeHazard,
  lifeLogSurvival,
  lifeMean,
  lifeQuantile,
  lifeSurvival,
  residualQuantile,
} from "../../src/stats/life-distribution.ts";

type Point = { fn: string; args: [number, number, number]; ref: number };
const points = JSON.parse(readFileSync("tests/reference/special-functions.json", "utf8")) as Point[];

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

const laws = [weibull(0.7, 30), weibull(1, 30), weibull(3.2, 30), lognormal(3.4, 0.3), lognormal(3.4, 1.4)];

describe("life distributions", () => {
  it("distribution functions and quantiles agree with mpmath, lower tails included", () => {
    const compared = points.filter(({ fn }) => /^(weibull|lognormal)\.(cdf|quantile)$/.test(fn));
    expect(compared.length).toBe(15);
    for (const { fn, args, ref } of compared) {
      const life = fn.startsWith("weibull") ? weibull(args[1], args[2]) : lognormal(args[1], args[2]);
      const got = fn.endsWith("quantile") ? lifeQuantile(life, args[0]) : 1 - lifeSurvival(life, args[0]);
      // 1 - S keeps absolute, not relative, digits in the lower tail.
      const tolerance = fn.endsWith("quantile") ? 1e-13 * ref : 2e-16 + 1e-14 * ref;
      expect(Math.abs(got - ref), `${fn}(${args})`).toBeLessThanOrEqual(tolerance);
    }
  });

  it("hazard is density over survival, and the density integrates to the survival", () => {
    for (const life of laws) {
      for (const t of [2, 20, 60]) {
        expect(lifeHazard(life, t) / (lifeDensity(life, t) / lifeSurvival(life, t))).toBeCloseTo(1, 12);
        let integral = 0;
        const h = 0.01;
        for (let u = t + h / 2; u < t + 5; u += h) integral += h * lifeDensity(life, u);
        expect(integral).toBeCloseTo(lifeSurvival(life, t) - lifeSurvival(life, t + 5), 5);
      }
    }
  });

  it("the mean life is the integral of the survival", () => {
    for (const life of laws) {
      // Substitution t = e^x: the integrand x -> S(e^x) e^x dies out quickly on both sides.
      let integral = 0;
      for (let x = -30; x < 14; x += 0.005) integral += 0.005 * lifeSurvival(life, Math.exp(x)) * Math.exp(x);
      expect(integral / lifeMean(life)).toBeCloseTo(1, 6);
    }
  });

  it("quantiles invert the survival", () => {
    for (const life of laws) {
      for (const p of [0.001, 0.1, 0.5, 0.99])
        expect(lifeSurvival(life, lifeQuantile(life, p))).toBeCloseTo(1 - p, 12);
      expect(lifeQuantile(life, 0)).toBe(0);
      expect(lifeQuantile(life, 1)).toBe(Infinity);
    }
  });

  it("residual quantiles invert the conditional survival, from new to far beyond the typical life", () => {
    for (const life of laws) {
      for (const age of [0, 3, 30, 120, 3000]) {
        for (const p of [1e-6, 0.1, 0.5, 0.999]) {
          const ahead = residualQuantile(life, age, p);
          expect(conditionalSurvival(life, age, ahead) - (1 - p)).toBeCloseTo(0, 9);
        }
      }
    }
  });

  it("a Weibull life of shape 1 does not age: what remains has the same law at every age", () => {
    for (const age of [0, 5, 500])
      expect(residualQuantile(weibull(1, 30), age, 0.3)).toBeCloseTo(-30 * Math.log(0.7), 9);
  });

  it("conditional survival exists where both survivals underflow to zero", () => {
    const old = weibull(3, 10);
    expect(lifeSurvival(old, 200)).toBe(0);
    expect(conditionalSurvival(old, 200, 0.01)).toBeCloseTo(Math.exp(-(20.001 ** 3) + 20 ** 3), 8);
    expect(lifeLogSurvival(lognormal(0, 0.1), 1e9)).toBeLessThan(-20_000);
    expect(conditionalSurvival(lognormal(0, 0.1), 1e9, 1e6)).toBeGreaterThan(0);
  });

  it("ages and parameters outside their range are refused by name", () => {
    expect(() => lifeSurvival(weibull(0, 3), 1)).toThrow(/requires a finite shape > 0/);
    expect(() => lifeSurvival(lognormal(1, -1), 1)).toThrow(/requires a finite sdLog > 0/);
    expect(() => lifeHazard(weibull(1, 3), -1)).toThrow(/lifeHazard requires a finite age >= 0/);
    expect(() => lifeQuantile(weibull(1, 3), 1.5)).toThrow(/lifeQuantile requires p in \[0, 1\]/);
    expect(() => conditionalSurvival(weibull(1, 3), Infinity, 1)).toThrow(RangeError);
  });
});
