import { describe, expect, it } from "vitest";
import {
  breakageCount,
  rateBelief,
  rateQuantile,
  unbrokenProbability,
  updateRate,
} from "../../src/stats/breakage.ts";
import {
  causeIncidences,
  combinedQuantile,
  combinedSurvival,
  endsByBreakage,
} from "../../src/stats/competing.ts";
import { negativeBinomialCdf, negativeBinomialPmf } from "../../src/stats/counts.ts";
import { ConvergenceError } from "../../src/stats/errors.ts";
import { integrate } from "../../src/stats/integrate.ts";
import { type LifeDistribution, lifeSurvival } from "../../src/stats/life-distribution.ts";
import { fitLife } from "../../src/stats/life-fit.ts";
import { aalenJohansen } from "../../src/stats/survival-curve.ts";
import {
  shapeEvidence,
  updateShapeBelief,
  weibayesScale,
  weibayesScaleLimit,
  weibayesSurvival,
} from "../../src/stats/weibayes.ts";
import { caseOf, column, expectCase } from "./cases.ts";

const weibull = (shape: number, scale: number): LifeDistribution => ({
  distribution: "weibull",
  shape,
  scale,
});

describe("accidental breakage", () => {
  it("agrees with R on posterior, counts and the combination with wear-out (gamma-Poisson model, textbook)", () => {
    const one = caseOf("accidental-gamma");
    const belief = updateRate({ events: 1, exposure: 50 }, { breakages: 3, exposure: 240 });
    const wear = (ahead: number) => lifeSurvival(weibull(3, 60), ahead);
    const counts = breakageCount(belief, 30);
    expectCase(one, {
      post_a: belief.events,
      post_b: belief.exposure,
      rate_mean: belief.events / belief.exposure,
      rate_lo90: rateQuantile(belief, 0.05),
      rate_hi90: rateQuantile(belief, 0.95),
      P_no_breakage_20: unbrokenProbability(belief, 20),
      P_ge_1_in_3x10: 1 - negativeBinomialCdf(0, counts),
      S_mixed_40: combinedSurvival(wear, belief, 40),
      median_mixed: combinedQuantile(wear, belief, 0.5),
      P_first_is_breakage_by_60: endsByBreakage(wear, belief, 60),
      P_count_0: negativeBinomialPmf(0, counts),
      P_count_1: negativeBinomialPmf(1, counts),
      P_count_2: negativeBinomialPmf(2, counts),
    });
  });

  it("the counts' law is the Poisson law averaged over the belief about the rate", () => {
    const belief = { events: 2.5, exposure: 80 };
    const density = (rate: number) => {
      // Gamma(5/2) = 3 sqrt(pi) / 4.
      return (80 ** 2.5 * rate ** 1.5 * Math.exp(-80 * rate)) / ((3 * Math.sqrt(Math.PI)) / 4);
    };
    const twoBreakages = integrate(
      (rate) => density(rate) * ((rate * 40) ** 2 / 2) * Math.exp(-40 * rate),
      0,
      1,
    );
    expect(negativeBinomialPmf(2, breakageCount(belief, 40))).toBeCloseTo(twoBreakages, 9);
  });

  it("a belief of given mean is worth its events: ten times as many move a tenth as much", () => {
    const weak = updateRate(rateBelief({ mean: 0.01, events: 1 }), { breakages: 5, exposure: 100 });
    const firm = updateRate(rateBelief({ mean: 0.01, events: 100 }), { breakages: 5, exposure: 100 });
    expect(weak.events / weak.exposure).toBeCloseTo(0.03, 12);
    expect(firm.events / firm.exposure).toBeCloseTo(105 / 10_100, 12);
  });

  it("ending by breakage, ending by wear and surviving sum to one", () => {
    const belief = { events: 3, exposure: 90 };
    const law = weibull(2.2, 50);
    const wear = (ahead: number) => lifeSurvival(law, ahead);
    const byBreakage = endsByBreakage(wear, belief, 70);
    // Wear first: the density of wear times the chance of being unbroken until then.
    const byWear = integrate(
      (u) => {
        const hazard = (2.2 / 50) * (u / 50) ** 1.2;
        return hazard * wear(u) * unbrokenProbability(belief, u);
      },
      0,
      70,
    );
    expect(byBreakage + byWear + combinedSurvival(wear, belief, 70)).toBeCloseTo(1, 9);
    expect(endsByBreakage(() => 1, belief, Infinity)).toBeCloseTo(1, 9);
  });

  it("beliefs and exposures outside their range are refused", () => {
    expect(() => rateBelief({ mean: 0, events: 1 })).toThrow(/mean > 0/);
    expect(() => updateRate({ events: 0, exposure: 1 }, { breakages: 0, exposure: 1 })).toThrow(/events > 0/);
    expect(() => unbrokenProbability({ events: 1, exposure: 1 }, -2)).toThrow(/exposure >= 0/);
    expect(() => combinedQuantile(() => 1, { events: 1, exposure: 1 }, 1)).toThrow(/p below 1/);
  });
});

describe("competing causes of failure", () => {
  it("two modes of shock absorbers agree with R: fits, joint reliability, incidences (O'Connor, 1985; Meeker & Escobar, 1998, chapter 15)", () => {
    const one = caseOf("competing-shock");
    const modes = one.data["mode"] as string[];
    const ages = column(one, "km");
    const fitMode = (mode: string) =>
      fitLife(
        "weibull",
        ages.map((at, i) => ({ kind: modes[i] === mode ? "failed" : "running", at })),
      );
    const [first, second] = [fitMode("Mode1"), fitMode("Mode2")];
    const both = (t: number) => lifeSurvival(first.life, t) * lifeSurvival(second.life, t);
    const [CIF1_20000, CIF2_20000] = causeIncidences([first.life, second.life], 20_000) as [number, number];
    const steps = aalenJohansen(
      ages.map((at, i) => ({ cause: modes[i] === "Censored" ? null : modes[i]!, at })),
    );
    const incidence = (mode: string, t: number) => steps.filter(({ at }) => at <= t).at(-1)!.incidence[mode]!;
    expectCase(one, {
      m1_beta: first.life.shape,
      m1_eta: first.life.scale,
      m1_loglik: first.logLikelihood,
      m2_beta: second.life.shape,
      m2_eta: second.life.scale,
      m2_loglik: second.logLikelihood,
      R_10000: both(10_000),
      R_20000: both(20_000),
      CIF1_20000,
      CIF2_20000,
      AJ1_15000: incidence("Mode1", 15_000),
      AJ2_15000: incidence("Mode2", 15_000),
      AJ1_20000: incidence("Mode1", 20_000),
      AJ2_20000: incidence("Mode2", 20_000),
    });
  });

  it("incidences and joint survival sum to one, also with an infinite hazard at age 0", () => {
    const laws: LifeDistribution[] = [
      weibull(0.5, 80),
      weibull(3, 40),
      { distribution: "lognormal", meanLog: 3.5, sdLog: 0.4 },
    ];
    for (const t of [5, 30, 90]) {
      const joint = laws.reduce((product, law) => product * lifeSurvival(law, t), 1);
      const sum = causeIncidences(laws, t).reduce((total, value) => total + value, 0);
      expect(sum + joint).toBeCloseTo(1, 9);
    }
  });
});

describe("Weibayes", () => {
  it("agrees with the closed forms for zero and few failures (Nelson, 1985; Abernethy, chapter 6)", () => {
    const one = caseOf("weibayes");
    const items = column(one, "time").map((at) => ({ at, failed: false }));
    const none = shapeEvidence(items, 2);
    const two = { ...none, failures: 2 };
    const posterior = updateShapeBelief({ shape: 2, events: 0.5, exposure: 20_000 }, none);
    expectCase(one, {
      weibayes_eta_r1: weibayesScale({ ...none, failures: 1 }),
      eta_lower_90: weibayesScaleLimit(none, 0.9),
      eta_lower_95: weibayesScaleLimit(none, 0.95),
      post_a: posterior.events,
      post_b: posterior.exposure,
      pred_S_300: weibayesSurvival(posterior, 0, 300),
      pred_resid_S_100_given_300: weibayesSurvival(posterior, 300, 100),
      two_fail_eta: weibayesScale(two),
      two_fail_eta_lower_90: weibayesScaleLimit(two, 0.9),
    });
  });

  it("the scale is the maximum-likelihood scale at the assumed shape, with delayed entry and counts", () => {
    const items = [
      { at: 30, failed: true, count: 2 },
      { at: 55, failed: false, enteredAt: 20 },
      { at: 41, failed: true, enteredAt: 10 },
    ];
    const free = fitLife(
      "weibull",
      items.map(({ failed, ...item }) => ({ ...item, kind: failed ? "failed" : "running" })),
    );
    expect(weibayesScale(shapeEvidence(items, free.life.shape)) / free.life.scale).toBeCloseTo(1, 7);
  });

  it("no failure has no best scale, and an entry after the age is refused", () => {
    expect(() => weibayesScale({ shape: 2, exposure: 9, failures: 0 })).toThrow(/at least one failure/);
    expect(() => shapeEvidence([{ at: 3, failed: true, enteredAt: 4 }], 2)).toThrow(/enteredAt < at/);
    expect(() => shapeEvidence([], 2)).toThrow(/exposure > 0/);
  });
});

describe("integrate", () => {
  it("is exact to 1e-10 on smooth, steep and root-singular functions", () => {
    expect(integrate(Math.exp, 0, 1)).toBeCloseTo(Math.E - 1, 12);
    expect(integrate((x) => 1 / (1 + ((x - 0.3) / 1e-3) ** 2), 0, 1)).toBeCloseTo(
      1e-3 * (Math.atan(700) + Math.atan(300)),
      10,
    );
    expect(integrate((x) => 1 / Math.sqrt(x), 0, 1)).toBeCloseTo(2, 8);
  });

  it("limits out of order and functions that cannot be integrated are refused", () => {
    expect(() => integrate(Math.exp, 1, 0)).toThrow(/limits in order/);
    expect(() => integrate((x) => 1 / x, 0, 1)).toThrow(/finite between the limits/);
    expect(() => integrate((x) => Math.sin(1e6 * x), 0, 1)).toThrow(ConvergenceError);
  });
});
