import { describe, expect, it } from "vitest";
import { ConvergenceError } from "../../src/stats/errors.ts";
import { type LifeObservation, packLives } from "../../src/stats/life-data.ts";
import { conditionalSurvival, residualQuantile } from "../../src/stats/life-distribution.ts";
import { chooseLife, fitLife } from "../../src/stats/life-fit.ts";
import { lifeLikelihood } from "../../src/stats/life-likelihood.ts";
import { normalQuantile } from "../../src/stats/normal.ts";
import { type Case, caseOf, expectCase, livesOf, uniforms } from "./cases.ts";

const z95 = normalQuantile(0.975);

function both(id: string) {
  const one = caseOf(id);
  const lives = livesOf(one);
  return { one, weibull: fitLife("weibull", lives), lognormal: fitLife("lognormal", lives) };
}

/** mu = ln scale, sigma = 1 / shape, and their standard errors, as survreg reports them. */
function onLogScale({ life, standardErrors, logLikelihood }: ReturnType<typeof both>["weibull"]) {
  return {
    beta: life.shape,
    eta: life.scale,
    mu: Math.log(life.scale),
    sigma: 1 / life.shape,
    se_mu: standardErrors.scale / life.scale,
    se_sigma: standardErrors.shape / life.shape ** 2,
    se_beta: standardErrors.shape,
    se_eta: standardErrors.scale,
    loglik: logLikelihood,
  };
}

const lognormalOf = ({ life, standardErrors, logLikelihood }: ReturnType<typeof both>["lognormal"]) => ({
  LN_mu: life.meanLog,
  LN_sigma: life.sdLog,
  LN_se_mu: standardErrors.meanLog,
  LN_se_sigma: standardErrors.sdLog,
  LN_loglik: logLikelihood,
});

const title = (one: Case) => `${one.title} (${one.source})`;

describe("fitLife against published fits and R", () => {
  it(`Weibull: ${title(caseOf("weibull-nist-8413"))}`, () => {
    const { one, weibull } = both("weibull-nist-8413");
    expectCase(one, onLogScale(weibull));
  });

  it(`Weibull: ${title(caseOf("weibull-abernethy-c5"))}`, () => {
    const { one, weibull } = both("weibull-abernethy-c5");
    expectCase(one, onLogScale(weibull));
  });

  it(`Weibull with Wald limits: ${title(caseOf("weibull-jqt1997"))}`, () => {
    const { one, weibull } = both("weibull-jqt1997");
    const { shape, scale } = weibull.life;
    const { shape: seShape, scale: seScale } = weibull.standardErrors;
    expectCase(one, {
      ...onLogScale(weibull),
      beta_wald_lo: shape - z95 * seShape,
      beta_wald_hi: shape + z95 * seShape,
      eta_wald_lo: scale - z95 * seScale,
      eta_wald_hi: scale + z95 * seScale,
      beta_log_lo: shape * Math.exp((-z95 * seShape) / shape),
      beta_log_hi: shape * Math.exp((z95 * seShape) / shape),
    });
  });

  it(`complete lives: ${title(caseOf("ballbearing"))}`, () => {
    const { one, weibull, lognormal } = both("ballbearing");
    const { beta, eta, loglik } = onLogScale(weibull);
    expectCase(one, { W_beta: beta, W_eta: eta, W_loglik: loglik, ...lognormalOf(lognormal) });
  });

  it(`B10 and residual life: ${title(caseOf("shockabsorber"))}`, () => {
    const { one, weibull, lognormal } = both("shockabsorber");
    const values = onLogScale(weibull);
    const { shape, scale } = weibull.life;
    const seLogScale = values.se_mu;
    const seLogShape = values.se_beta / shape;
    // Delta method on ln t_p = ln scale + (1 / shape) w, with the covariance of (shape, scale).
    const w = Math.log(-Math.log(0.9));
    const gradient = [-w / shape ** 2, 1 / scale] as const;
    const [[a, c], [, b]] = weibull.covariance;
    const seLogB10 = Math.sqrt(
      gradient[0] ** 2 * a + 2 * gradient[0] * gradient[1] * c + gradient[1] ** 2 * b,
    );
    expectCase(one, {
      ...values,
      ...lognormalOf(lognormal),
      eta_log_lo95: scale * Math.exp(-z95 * seLogScale),
      eta_log_hi95: scale * Math.exp(z95 * seLogScale),
      beta_log_lo95: shape * Math.exp(-z95 * seLogShape),
      beta_log_hi95: shape * Math.exp(z95 * seLogShape),
      B10: weibull.b10,
      B10_lo95: weibull.b10 * Math.exp(-z95 * seLogB10),
      B10_hi95: weibull.b10 * Math.exp(z95 * seLogB10),
      residual_S_5000_at_15000: conditionalSurvival(weibull.life, 15000, 5000),
      residual_median_at_15000: residualQuantile(weibull.life, 15000, 0.5),
    });
  });

  it(`log-normal: ${title(caseOf("locomotive-lognormal"))}`, () => {
    const { one, lognormal } = both("locomotive-lognormal");
    const {
      LN_mu: mu,
      LN_sigma: sigma,
      LN_se_mu: se_mu,
      LN_se_sigma: se_sigma,
      LN_loglik: loglik,
    } = lognormalOf(lognormal);
    expectCase(one, { mu, sigma, se_mu, se_sigma, loglik });
  });

  it(`interval-censored: ${title(caseOf("interval-heatexchanger"))}`, () => {
    const { one, weibull, lognormal } = both("interval-heatexchanger");
    expectCase(one, { ...onLogScale(weibull), ...lognormalOf(lognormal) });
  });

  it(`each item inspected once: ${title(caseOf("currentstatus-turbinewheel"))}`, () => {
    const { one, weibull, lognormal } = both("currentstatus-turbinewheel");
    const { beta, eta, loglik } = onLogScale(weibull);
    expectCase(one, { W_beta: beta, W_eta: eta, W_loglik: loglik, ...lognormalOf(lognormal) });
  });

  it(`left-truncated, and wrong when entry is ignored: ${title(caseOf("lefttrunc-circuitpack"))}`, () => {
    const { one, weibull, lognormal } = both("lefttrunc-circuitpack");
    const ignoring = fitLife(
      "weibull",
      livesOf(one).map((life) => ({ ...life, enteredAt: 0 })),
    );
    expectCase(one, {
      ...onLogScale(weibull),
      ...lognormalOf(lognormal),
      ignoring_truncation_beta: ignoring.life.shape,
      ignoring_truncation_eta: ignoring.life.scale,
    });
  });

  it("all kinds of observation in one likelihood: value, gradient, Hessian and maximum agree with R", () => {
    const { one, weibull } = both("weibull-all-kinds");
    const { beta, eta, se_beta, se_eta, loglik } = onLogScale(weibull);
    // Chain rule from (ln eta, -ln beta) to (beta, eta) at (1.5, 100).
    const at = lifeLikelihood("weibull", packLives("test", livesOf(one)), Math.log(100), -Math.log(1.5));
    expectCase(one, {
      beta,
      eta,
      se_beta,
      se_eta,
      loglik,
      loglik_at: at.value,
      dl_dbeta: -at.byLogSpread / 1.5,
      dl_deta: at.byLocation / 100,
      d2_bb: (at.logSpread2 + at.byLogSpread) / 1.5 ** 2,
      d2_be: -at.cross / 150,
      d2_ee: (at.location2 - at.byLocation) / 100 ** 2,
    });
  });
});

/** Lives of all kinds from a Weibull law of shape 2 and scale 100. */
function madeLives(n: number, seed: number): LifeObservation[] {
  const next = uniforms(seed);
  return Array.from({ length: n }, (_, i): LifeObservation => {
    const life = 100 * Math.sqrt(-Math.log(next()));
    const end = 50 + 100 * next();
    const from = Math.floor(life / 20) * 20;
    if (i % 3 === 0) return life < end ? { kind: "failed", at: life } : { kind: "running", at: end };
    if (i % 3 === 1)
      return from === 0 ? { kind: "before", at: 20 } : { kind: "between", from, to: from + 20 };
    return life < end ? { kind: "before", at: end } : { kind: "running", at: end };
  });
}

describe("fitLife", () => {
  for (const family of ["weibull", "lognormal"] as const) {
    it(`the ${family} gradient and Hessian agree with differences, in the body and in both tails`, () => {
      const lives = packLives("test", livesOf(caseOf("weibull-all-kinds")));
      for (const [location, logSpread] of [
        [4.4, -1],
        [3, 0.2],
        [6, -0.5],
        [4.2, -2.2],
      ] as const) {
        const h = 1e-5;
        const at = (dl: number, ds: number) => lifeLikelihood(family, lives, location + dl, logSpread + ds);
        const here = at(0, 0);
        const size = 1 + Math.abs(here.location2) + Math.abs(here.logSpread2);
        const close = (got: number, wanted: number) =>
          expect(Math.abs(got - wanted) / size).toBeLessThan(1e-6);
        close(here.byLocation, (at(h, 0).value - at(-h, 0).value) / (2 * h));
        close(here.byLogSpread, (at(0, h).value - at(0, -h).value) / (2 * h));
        close(here.location2, (at(h, 0).byLocation - at(-h, 0).byLocation) / (2 * h));
        close(here.cross, (at(0, h).byLocation - at(0, -h).byLocation) / (2 * h));
        close(here.logSpread2, (at(0, h).byLogSpread - at(0, -h).byLogSpread) / (2 * h));
      }
    });
  }

  it("recovers shape 2 and scale 100 from 20 000 lives of mixed kinds, within four standard errors", () => {
    const { life, standardErrors, observations } = fitLife("weibull", madeLives(20_000, 7));
    expect(Math.abs(life.shape - 2)).toBeLessThan(4 * standardErrors.shape);
    expect(Math.abs(life.scale - 100)).toBeLessThan(4 * standardErrors.scale);
    expect(standardErrors.scale).toBeLessThan(1);
    const { failed, running, between, before } = observations;
    expect(failed + running + between + before).toBe(20_000);
  });

  it("the unit of age does not matter: lives in hours and in minutes give the same fit", () => {
    const hours = livesOf(caseOf("weibull-nist-8413"));
    const minutes = hours.map(
      (life) => ({ ...life, at: (life as { at: number }).at * 60 }) as LifeObservation,
    );
    const [a, b] = [fitLife("weibull", hours), fitLife("weibull", minutes)];
    expect(b.life.shape / a.life.shape).toBeCloseTo(1, 9);
    expect(b.intervals.b10.high / a.intervals.b10.high / 60).toBeCloseTo(1, 7);
  });

  it("a count of n weighs as n equal observations", () => {
    const single = fitLife("lognormal", [
      { kind: "failed", at: 3 },
      { kind: "failed", at: 3 },
      { kind: "failed", at: 5 },
      { kind: "running", at: 6 },
    ]);
    const counted = fitLife("lognormal", [
      { kind: "failed", at: 3, count: 2 },
      { kind: "failed", at: 5 },
      { kind: "running", at: 6 },
    ]);
    expect(counted.life.sdLog).toBeCloseTo(single.life.sdLog, 10);
    expect(counted.observations).toEqual({ failed: 3, running: 1, between: 0, before: 0 });
  });

  it("an interval narrower than the digits of its ends counts as an exact failure, density times width", () => {
    const others: LifeObservation[] = [
      { kind: "failed", at: 30 },
      { kind: "running", at: 60 },
    ];
    const exact = fitLife("weibull", [...others, { kind: "failed", at: 50 }]);
    const narrow = fitLife("weibull", [...others, { kind: "between", from: 50 - 1e-9, to: 50 + 1e-9 }]);
    expect(narrow.life.shape / exact.life.shape).toBeCloseTo(1, 7);
    expect(narrow.logLikelihood - Math.log(2e-9)).toBeCloseTo(exact.logLikelihood, 5);
  });

  it("likelihood-ratio limits lie where the profile has fallen by half the chi-square quantile", () => {
    const lives = livesOf(caseOf("shockabsorber"));
    const packed = packLives("test", lives);
    const { intervals, logLikelihood } = fitLife("weibull", lives);
    for (const shape of [intervals.shape.low, intervals.shape.high]) {
      // With the shape fixed, the scale has a closed form: scale^shape = Σ t^shape / failures.
      const sum = lives.reduce((total, life) => total + (life as { at: number }).at ** shape, 0);
      const profile = lifeLikelihood("weibull", packed, Math.log(sum / 11) / shape, -Math.log(shape)).value;
      expect(logLikelihood - profile).toBeCloseTo(z95 ** 2 / 2, 6);
    }
    for (const b10 of [intervals.b10.low, intervals.b10.high]) {
      const w = Math.log(-Math.log(0.9));
      let best = -Infinity;
      for (let s = -2.5; s < 0.5; s += 1e-4) {
        best = Math.max(best, lifeLikelihood("weibull", packed, Math.log(b10) - w * Math.exp(s), s).value);
      }
      expect(logLikelihood - best).toBeCloseTo(z95 ** 2 / 2, 5);
    }
  });

  it("Wald limits on the log scale meet the likelihood-ratio limits when there are many failures", () => {
    const lives = madeLives(20_000, 7);
    const [ratio, wald] = [fitLife("weibull", lives), fitLife("weibull", lives, { limits: "wald" })];
    for (const name of ["shape", "scale", "b10", "median", "mean"] as const) {
      expect(wald.intervals[name].low / ratio.intervals[name].low).toBeCloseTo(1, 3);
      expect(wald.intervals[name].high / ratio.intervals[name].high).toBeCloseTo(1, 3);
    }
    const few = fitLife("weibull", livesOf(caseOf("shockabsorber")), { limits: "wald" });
    // Published log-scale limits of the scale (Meeker & Escobar, 1998, table 8.1, by the book's software).
    expect(few.intervals.scale.low).toBeCloseTo(22347.77, 2);
    expect(few.intervals.scale.high).toBeCloseTo(34380.49, 2);
  });

  it("limits that the data do not set are given as infinite, not as a number", () => {
    const { intervals } = fitLife("weibull", [
      { kind: "before", at: 5, count: 3 },
      { kind: "running", at: 4, count: 3 },
      { kind: "running", at: 6, count: 2 },
    ]);
    expect(intervals.scale.high).toBe(Infinity);
    expect(intervals.shape.low).toBe(0);
    expect(intervals.scale.low).toBe(0);
  });

  it("95 % likelihood-ratio limits of the B10 life hold the truth in about 95 % of 300 small samples", () => {
    const truth = 100 * Math.sqrt(-Math.log(0.9));
    let held = 0;
    for (let sample = 0; sample < 300; sample += 1) {
      const { low, high } = fitLife("weibull", madeLives(24, 1000 + 7919 * sample)).intervals.b10;
      if (low <= truth && truth <= high) held += 1;
    }
    // Standard deviation of the share is 1.3 %; the limits are approximate in samples of 24.
    expect(held / 300).toBeGreaterThan(0.9);
    expect(held / 300).toBeLessThan(0.99);
  });

  it("two failures almost at one age still settle, though hazards of later ages overflow", () => {
    const { life } = fitLife("weibull", [
      { kind: "failed", at: 47.505, enteredAt: 2 },
      { kind: "failed", at: 47.597 },
      { kind: "between", from: 25, to: 116, count: 3 },
      { kind: "between", from: 42.5, to: 65.5 },
      { kind: "running", at: 31 },
    ]);
    expect(life.shape).toBeGreaterThan(500);
    expect(Math.abs(life.scale - 47.58)).toBeLessThan(0.05);
  });

  it("300 small data sets of every kind: a stationary point within its limits, or a refusal with its reason", () => {
    const next = uniforms(5);
    let fitted = 0;
    for (let set = 0; set < 300; set += 1) {
      const unit = 10 ** (8 * next() - 3);
      const lives = Array.from({ length: 2 + Math.floor(8 * next()) }, (): LifeObservation => {
        const age = unit * (-Math.log(next())) ** (0.3 + next());
        const entry = next() < 0.25 ? { enteredAt: 0.9 * age * next() } : {};
        const kind = next();
        if (kind < 0.35) return { kind: "failed", at: age, ...entry };
        if (kind < 0.65) return { kind: "running", at: age, ...entry };
        if (kind < 0.8) return { kind: "between", from: age, to: age * (1 + 2 * next()), ...entry };
        return { kind: "before", at: age };
      });
      for (const family of ["weibull", "lognormal"] as const) {
        try {
          const fit = fitLife(family, lives);
          const { life } = fit;
          const [location, logSpread] =
            life.distribution === "weibull"
              ? [Math.log(life.scale), -Math.log(life.shape)]
              : [life.meanLog, Math.log(life.sdLog)];
          const at = lifeLikelihood(family, packLives("test", lives), location, logSpread);
          const size = 1 + Math.abs(at.location2) + Math.abs(at.logSpread2);
          expect(Math.abs(at.byLocation) + Math.abs(at.byLogSpread)).toBeLessThan(1e-5 * size);
          for (const name of ["b10", "median", "mean"] as const) {
            expect(fit.intervals[name].low).toBeLessThanOrEqual(fit[name]);
            expect(fit.intervals[name].high).toBeGreaterThanOrEqual(fit[name]);
          }
          fitted += 1;
        } catch (error) {
          if (!(error instanceof ConvergenceError || error instanceof RangeError)) throw error;
          expect(error.message).toMatch(/^fitLife .*lifePosterior with a prior$/);
        }
      }
    }
    expect(fitted).toBeGreaterThan(450);
  });

  it("data without a finite maximum are refused with the reason", () => {
    expect(() => fitLife("weibull", [])).toThrow(/at least one failure/);
    expect(() => fitLife("weibull", [{ kind: "running", at: 5 }])).toThrow(/at least one failure/);
    expect(() => fitLife("weibull", [{ kind: "failed", at: 5 }])).toThrow(/two distinct ages/);
    expect(() => fitLife("lognormal", [{ kind: "failed", at: 5, count: 9 }])).toThrow(RangeError);
    expect(() =>
      fitLife("weibull", [
        { kind: "running", at: 4 },
        { kind: "before", at: 6 },
      ]),
    ).toThrow(/one single age agrees/);
    expect(() =>
      fitLife("weibull", [
        { kind: "before", at: 4, count: 5 },
        { kind: "running", at: 9, count: 5 },
      ]),
    ).toThrow(ConvergenceError);
    expect(() =>
      fitLife("lognormal", [
        { kind: "before", at: 0.35724604651514846, count: 3 },
        { kind: "running", at: 0.48038505798234776 },
      ]),
    ).toThrow(ConvergenceError);
  });

  it("observations outside their range are refused with the function, the field and the value", () => {
    expect(() => fitLife("weibull", [{ kind: "failed", at: 0 }])).toThrow(
      /fitLife requires a finite at > 0, got 0/,
    );
    expect(() => fitLife("weibull", [{ kind: "between", from: 5, to: 5 }])).toThrow(/0 <= from < to/);
    expect(() => fitLife("weibull", [{ kind: "failed", at: 5, enteredAt: 6 }])).toThrow(/enteredAt/);
    expect(() => fitLife("weibull", [{ kind: "failed", at: 5, count: -1 }])).toThrow(/count > 0/);
  });

  it("the choice between the laws says when the data do not tell them apart", () => {
    const close = chooseLife(livesOf(caseOf("ballbearing")));
    expect(close.better).toBe("lognormal");
    expect(close.decisive).toBe(false);
    expect(close.akaikeWeight).toBeCloseTo(1 / (1 + Math.exp(-0.563405)), 5);
    const clear = chooseLife(madeLives(20_000, 7));
    expect([clear.better, clear.decisive]).toEqual(["weibull", true]);
  });
});
