import { describe, expect, test } from "vitest";
import {
  crossingTime,
  type DriftScatter,
  type DriftSeries,
  filterDrift,
  firstPassageCdf,
  fitDrift,
  fitGammaProcess,
  gammaProcessCdf,
  levelPassageCdf,
  normalCdf,
  predictLevel,
  profileDrift,
} from "../../src/stats/index.ts";
import { findRoot } from "../../src/stats/optimise.ts";
import { caseOf, expectCase } from "./cases.ts";
import { head, lasers, unitsOf } from "./units.ts";

describe("drift process on the lasers (Meeker & Escobar 1998, Table C.17)", () => {
  const all = [...lasers().values()];
  const unit101 = lasers().get("101")!;

  test("the straight-line model agrees with R: maximum likelihood, then unit 101 after 8 readings", () => {
    const fit = fitDrift(all, { diffusion: false });
    const state = filterDrift(head(unit101, 8), fit.drift, fit);
    const got: Record<string, number> = {
      mu: fit.drift,
      tau: fit.driftSd,
      sigma_e: fit.readingSd,
      loglik: fit.logLikelihood,
      u101_x: state.level,
      u101_b: state.drift,
    };
    for (const l of [1500, 2000, 2500]) {
      const { mean, variance } = predictLevel(state, 0, l);
      got[`u101_F_${l}`] = normalCdf((mean - 10) / Math.sqrt(variance));
      expect(levelPassageCdf(state, 10, 0, l).reached).toBeCloseTo(got[`u101_F_${l}`]!, 9);
    }
    expectCase(caseOf("laser-lmm-origin"), got);
  });

  test("three nested Wiener models agree with R (Peng & Tseng 2009)", () => {
    const common = fitDrift(all, { driftSpread: false, readingError: false });
    const random = fitDrift(all, { readingError: false });
    const read = fitDrift(all);
    expectCase(caseOf("laser-wiener-ml"), {
      W0_mu: common.drift,
      W0_sigma_B: common.diffusionSd,
      W0_loglik: common.logLikelihood,
      W_mu: random.drift,
      W_tau: random.driftSd,
      W_sigma_B: random.diffusionSd,
      W_loglik: random.logLikelihood,
      WME_mu: read.drift,
      WME_tau: read.driftSd,
      WME_sigma_B: read.diffusionSd,
      WME_sigma_e: read.readingSd,
      WME_loglik: read.logLikelihood,
    });
  });

  test("filter, forecasts and remaining life of unit 101 agree with R's matrix form", () => {
    const drift = 0.0020375;
    const scatter: DriftScatter = { driftSd: 0.00042, diffusionSd: 0.0104, readingSd: 0.0335 };
    const state = filterDrift(head(unit101, 8), drift, scatter);
    const s2 = scatter.diffusionSd ** 2;
    const reached = (l: number): number => levelPassageCdf(state, 10, s2, l).reached;
    const inUse = (l: number): number => levelPassageCdf(state, 10, s2, l).reachedGivenInUse;
    const got: Record<string, number> = {
      x: state.level,
      b: state.drift,
      P_xx: state.levelVariance,
      P_xb: state.covariance,
      P_bb: state.driftVariance,
      loglik8: state.logLikelihood,
      loglik16: filterDrift(unit101, drift, scatter).logLikelihood,
      loglik_all15: all.reduce((sum, series) => sum + filterDrift(series, drift, scatter).logLikelihood, 0),
    };
    for (const time of [3000, 4000]) {
      const { mean, variance } = predictLevel(state, scatter.diffusionSd, time - 2000);
      got[`pred${time}_mean`] = mean;
      got[`pred${time}_sd`] = Math.sqrt(variance + scatter.readingSd ** 2);
    }
    for (const l of [1000, 1500, 2000, 2500]) got[`RUL_F_${l}`] = reached(l);
    for (const p of [10, 50, 90]) got[`RUL_q${p}`] = findRoot((l) => inUse(l) - p / 100, 500, 4000, 1e-6);
    expectCase(caseOf("laser-kalman"), got);
  });

  test("hyper-parameters averaged over a grid agree with a dense grid in python: three units in the data", () => {
    const units = lasers(1000);
    const train = ["101", "102", "103"].map((key) => units.get(key)!);
    const own = head(units.get("104")!, 4);
    const centre = [0.5, 0.4, 0.16].map(Math.log);
    const limit = 6;
    const axis = (n: number, from: number, to: number): number[] =>
      Array.from({ length: n }, (_, i) => from + ((to - from) * i) / (n - 1));
    const grids = [axis(17, -3.5, 3.5), axis(21, -1.7, 0.9), axis(21, -6, 2.2)] as const;
    const cell = (7 / 16) * (2.6 / 20) * (8.2 / 20);
    const nodes: { log: number; logs: number[]; scatter: DriftScatter; drift: number; variance: number }[] =
      [];
    for (const a of grids[0])
      for (const b of grids[1])
        for (const c of grids[2]) {
          const logs = [centre[0]! + a, centre[1]! + b, centre[2]! + c];
          const [driftSd, diffusionSd, readingSd] = logs.map(Math.exp) as [number, number, number];
          const profile = profileDrift(train, { driftSd, diffusionSd, readingSd });
          const prior = -0.5 * (a * a + b * b + c * c) - 1.5 * Math.log(2 * Math.PI);
          nodes.push({
            log: profile.restrictedLogLikelihood + prior,
            logs,
            drift: profile.drift,
            variance: profile.driftVariance,
            scatter: { driftSd: Math.sqrt(driftSd ** 2 + profile.driftVariance), diffusionSd, readingSd },
          });
        }
    const top = Math.max(...nodes.map(({ log }) => log));
    const total = nodes.reduce((sum, { log }) => sum + Math.exp(log - top), 0);
    const weighted = nodes
      .map((node) => ({ ...node, weight: Math.exp(node.log - top) / total }))
      .filter(({ weight }) => weight > 1e-8);
    const mean = (of: (node: (typeof weighted)[number]) => number): number =>
      weighted.reduce((sum, node) => sum + node.weight * of(node), 0);
    const logMean = [0, 1].map((i) => mean(({ logs }) => logs[i]!));
    const logSd = [0, 1].map((i) => Math.sqrt(mean(({ logs }) => (logs[i]! - logMean[i]!) ** 2)));
    const got: Record<string, number> = {
      log_evidence: top + Math.log(total) + Math.log(cell),
      mean_log_tau: logMean[0]!,
      mean_log_sigma_B: logMean[1]!,
      mean_log_sigma_e: mean(({ logs }) => logs[2]!),
      sd_log_tau: logSd[0]!,
      sd_log_sigma_B: logSd[1]!,
      mean_mu: mean(({ drift }) => drift),
    };
    for (const l of [2.5, 3, 4])
      got[`new_item_F_${l}`] = mean(({ drift, scatter }) => {
        const { driftSd, diffusionSd } = scatter;
        const path = {
          distance: limit,
          drift,
          driftVariance: driftSd ** 2,
          diffusionVariance: diffusionSd ** 2,
        };
        return firstPassageCdf(path, l);
      });
    // The item's own readings weigh the hyper-parameters again.
    const states = weighted.map((node) => ({ node, state: filterDrift(own, node.drift, node.scatter) }));
    const ownTop = Math.max(...states.map(({ state }) => state.logLikelihood));
    const again = states
      .map((one) => ({ ...one, weight: one.node.weight * Math.exp(one.state.logLikelihood - ownTop) }))
      .filter(({ weight }) => weight > 1e-9);
    const mass = again.reduce((sum, { weight }) => sum + weight, 0);
    const average = (of: (one: (typeof again)[number]) => number): number =>
      again.reduce((sum, one) => sum + (one.weight / mass) * of(one), 0);
    const past = average(({ state }) => normalCdf((state.level - limit) / Math.sqrt(state.levelVariance)));
    for (const l of [1.5, 2, 2.5, 3]) {
      const reached = average(
        ({ node, state }) => levelPassageCdf(state, limit, node.scatter.diffusionSd ** 2, l).reached,
      );
      got[`u104_RUL_F_${l}`] = (reached - past) / (1 - past);
    }
    const ahead = (one: (typeof again)[number]) => predictLevel(one.state, one.node.scatter.diffusionSd, 2);
    const level = average((one) => ahead(one).mean);
    const square = average((one) => {
      const { mean: m, variance } = ahead(one);
      return variance + one.node.scatter.readingSd ** 2 + m * m;
    });
    got["u104_pred_3_mean"] = level;
    got["u104_pred_3_sd"] = Math.sqrt(square - level * level);
    expectCase(caseOf("wiener-hyper-average"), got);
  });

  test("as a gamma process they agree with R (van Noortwijk 2009)", () => {
    const steps = all.flatMap(({ reading }) => reading.map((y, j) => y - (j === 0 ? 0 : reading[j - 1]!)));
    const fit = fitGammaProcess(steps, 250);
    expectCase(caseOf("laser-gamma-process"), {
      shape_per_250h: fit.shapePerTime * 250,
      scale: fit.scale,
      loglik: fit.logLikelihood,
      P_level_4000h_below_10: 1 - gammaProcessCdf(4000, 10, fit),
    });
  });
});

describe("drift process on other data", () => {
  test("battery fade agrees with R, and the first cycles below 1.4 Ah are found (Saha & Goebel 2007)", () => {
    const units = unitsOf("data/battery.csv");
    const got: Record<string, number> = {};
    const fades: DriftSeries[] = [];
    for (const [name, { time, reading }] of units) {
      const j = reading.findIndex((y) => y < 1.4);
      got[`EOL_first_cycle_below_1.4_${name}`] = j < 0 ? -1 : time[j]!;
      const every = time.flatMap((_, i) => (i % 6 === 5 ? [i] : []));
      fades.push({
        time: every.map((i) => time[i]! / 100),
        reading: every.map((i) => reading[0]! - reading[i]!),
      });
    }
    const fit = fitDrift(fades);
    expectCase(caseOf("battery-fade"), {
      ...got,
      mu: fit.drift,
      tau: fit.driftSd,
      sigma_B: fit.diffusionSd,
      sigma_e: fit.readingSd,
      loglik: fit.logLikelihood,
    });
  });

  test("crack growth: crossing times and slopes of the straightened paths (Hudak et al. 1978, Lu & Meeker 1993)", () => {
    const units = unitsOf("data/alloya.csv");
    const crossings = new Map([...units].map(([key, series]) => [key, crossingTime(series, 1.6)]));
    const got: Record<string, number> = { n_cross: [...crossings.values()].filter((t) => t !== null).length };
    for (const key of [1, 2, 10]) got[`t16_unit${key}`] = crossings.get(String(key))!;
    for (const key of [1, 10, 21]) {
      const { time, reading } = units.get(String(key))!;
      const straight = { time, reading: reading.map((y) => 1 - (y / 0.9) ** -3.75) };
      // Independent errors only: the profile is then least squares through the origin.
      got[`slope_lin_unit${key}`] = profileDrift([straight], {
        driftSd: 0,
        diffusionSd: 0,
        readingSd: 1,
      }).drift;
    }
    expectCase(caseOf("alloyA-crack"), got);
  });

  test("arguments outside their range are refused, readings that say nothing too", () => {
    const scatter = { driftSd: 1, diffusionSd: 1, readingSd: 1 };
    expect(() => filterDrift({ time: [2, 1], reading: [0, 0] }, 1, scatter)).toThrow(RangeError);
    expect(() => filterDrift({ time: [1], reading: [Number.NaN] }, 1, scatter)).toThrow(RangeError);
    expect(() => filterDrift({ time: [1], reading: [1] }, 1, { ...scatter, readingSd: -1 })).toThrow(
      RangeError,
    );
    expect(() => profileDrift([], scatter)).toThrow(RangeError);
    expect(() => fitDrift([{ time: [0], reading: [1] }])).toThrow(RangeError);
    expect(() => fitGammaProcess([1, -1], 1)).toThrow(RangeError);
    expect(() => fitGammaProcess([1, 1], 1)).toThrow(RangeError);
  });
});
