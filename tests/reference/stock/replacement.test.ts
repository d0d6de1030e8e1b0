import { expect, test } from "vitest";
import {
  ageReplacement,
  ageReplacementCost,
  ageReplacementPeriods,
  convolveAll,
  discreteRenewal,
  gammaQ,
  groupReplacement,
  pmfMean,
  pmfQuantile,
  renewalCounts,
  setCdf,
} from "../../../src/stats/index.ts";
import { expectAll, referenceCase } from "./reference-case.ts";

const weibull = (shape: number, scale: number) => (t: number) =>
  Math.exp(-((Math.max(0, t) / scale) ** shape));
const gamma = (shape: number, rate: number) => (t: number) => gammaQ(shape, rate * Math.max(0, t));

test("ar-01 best age of a Weibull life agrees with the root of Barlow & Hunter 1960, not with the coarse 493.19", () => {
  const reference = referenceCase<{ shape: number; scale: number; planned: number; unplanned: number }>(
    "ar-01",
  );
  const { shape, scale, planned, unplanned } = reference.inputs;
  const best = ageReplacement({
    survival: weibull(shape, scale),
    plannedCost: planned,
    failureCost: unplanned,
  });
  const age = best.interval!;
  expectAll(reference, {
    "best age": age,
    "cost rate": best.costRate,
    "run-to-failure cost rate": best.costRateRunToFailure,
    "cost ratio to run-to-failure": 1 - best.saving,
    "P(planned change)": best.plannedShare,
    "mean cycle": best.meanCycle,
    "hazard at best age times (cf-cp)":
      (shape / scale) * (age / scale) ** (shape - 1) * (unplanned - planned),
  });
  // Every age from 437 to 558 is within 1 % of the best.
  expect(best.within.from).toBeCloseTo(436.07, 1);
  expect(best.within.to).toBeCloseTo(557.5, 1);
});

test("ar-02 best age of a uniform life agrees with closed forms (Durrett; Jardine & Tsang, not their grid age 30000)", () => {
  type Inputs = {
    always_plus_breakdown: { new: number; breakdown: number; max_life: number };
    planned_unplanned: { planned: number; unplanned: number; max_life: number; grid: number[] };
  };
  const reference = referenceCase<Inputs>("ar-02");
  const { always_plus_breakdown: a, planned_unplanned: b } = reference.inputs;
  const uniform = (most: number) => (t: number) => Math.min(1, Math.max(0, 1 - t / most));
  const car = ageReplacement({
    survival: uniform(a.max_life),
    plannedCost: a.new,
    failureCost: a.new + a.breakdown,
  });
  const item = { survival: uniform(b.max_life), plannedCost: b.planned, failureCost: b.unplanned };
  const best = ageReplacement(item);
  const answers: Record<string, unknown> = {
    "best age": car.interval,
    "cost rate": car.costRate,
    "continuous best age": best.interval,
    "continuous best cost": best.costRate,
  };
  for (const interval of b.grid) answers[`C(${interval})`] = ageReplacementCost({ ...item, interval });
  expectAll(reference, answers);
});

test("ar-03 running to failure is found best exactly where no finite age is (Barlow & Proschan 1965, from memory)", () => {
  type Item = {
    name: string;
    law: "weibull" | "gamma";
    shape: number;
    scale: number;
    rate: number;
    planned: number;
    unplanned: number;
  };
  const reference = referenceCase<{ items: Item[] }>("ar-03");
  const answers: Record<string, unknown> = {};
  for (const { name, law, shape, scale, rate, planned, unplanned } of reference.inputs.items) {
    const best = ageReplacement({
      survival: law === "weibull" ? weibull(shape, scale) : gamma(shape, rate),
      plannedCost: planned,
      failureCost: unplanned,
    });
    answers[`${name}: finite optimum`] = best.interval !== null;
    answers[`${name}: run-to-failure cost rate`] = best.costRateRunToFailure;
    if (best.interval === null) {
      expect(best.costRate).toBe(best.costRateRunToFailure);
      expect(best.worthwhile).toBe(false);
      continue;
    }
    answers[`${name}: best age`] = best.interval;
    answers[`${name}: cost rate`] = best.costRate;
    answers[`${name}: saving against run-to-failure, percent`] = 100 * best.saving;
    expect(best.worthwhile).toBe(best.saving >= 0.01);
  }
  expectAll(reference, answers);
});

test("ar-04 age replacement in whole meetings agrees with the exact recursion", () => {
  type Inputs = { p0: number; step: number; planned: number[]; unplanned: number; show: number[] };
  const reference = referenceCase<Inputs>("ar-04");
  const { p0, step, planned, unplanned, show } = reference.inputs;
  const life: number[] = [];
  for (let age = 0, surviving = 1; surviving > 1e-16; age++) {
    const chance = Math.min(1, p0 + step * age);
    life.push(surviving * chance);
    surviving *= 1 - chance;
  }
  const answers: Record<string, unknown> = {
    "mean life": life.reduce((sum, chance, i) => sum + (i + 1) * chance, 0),
  };
  for (const plannedCost of planned) {
    const best = ageReplacementPeriods({ life, plannedCost, failureCost: unplanned });
    answers["run-to-failure cost"] = best.costRateRunToFailure;
    answers[`planned ${plannedCost}: best age`] = best.periods;
    answers[`planned ${plannedCost}: cost at best age`] = best.costRate;
    for (const n of show) answers[`planned ${plannedCost}: C(${n})`] = best.costRates[n - 1];
  }
  expectAll(reference, answers);
});

test("gr-01 pairs and sets of four replaced at the first worn part use 76 % and 57 % of the mean part life", () => {
  type Inputs = { shape: number; scale: number; horizon: number; set_sizes: number[]; levels: number[] };
  const reference = referenceCase<Inputs>("gr-01");
  const { shape, scale, horizon, set_sizes, levels } = reference.inputs;
  const cdf = (t: number) => -Math.expm1(-((Math.max(0, t) / scale) ** shape));
  // Running to failure costs failureCost / mean life: with cost 1 the rate is the inverse of the mean life.
  const meanOf = (life: (t: number) => number) =>
    1 / ageReplacement({ survival: (t) => 1 - life(t), plannedCost: 1, failureCost: 1 }).costRateRunToFailure;
  const answers: Record<string, unknown> = {};
  for (const size of set_sizes) {
    const setLife = setCdf(cdf, size);
    const counts = renewalCounts({ firstCdf: setLife, laterCdf: setLife, horizon });
    const prefix = `set of ${size}`;
    // The scale of a Weibull law is the age that 1/e survive.
    const setScale = scale * size ** (-1 / shape);
    expect(setLife(setScale)).toBeCloseTo(1 - Math.exp(-1), 12);
    answers[`${prefix}: scale of first-to-wear life`] = setScale;
    answers[`${prefix}: mean life of the set`] = meanOf(setLife);
    answers[`${prefix}: share of mean part life used`] = meanOf(setLife) / meanOf(cdf);
    answers[`${prefix}: expected sets`] = counts.mean;
    answers[`${prefix}: expected parts (sets x n)`] = size * counts.mean;
    for (const level of levels) {
      answers[`${prefix}: sets quantile ${level}`] = pmfQuantile(counts.probabilities, level);
    }
  }
  const single = renewalCounts({ firstCdf: cdf, laterCdf: cdf, horizon }).probabilities;
  const four = convolveAll([single, single, single, single]);
  answers["four changed singly: expected parts"] = pmfMean(four);
  for (const level of levels)
    answers[`four changed singly: parts quantile ${level}`] = pmfQuantile(four, level);
  expectAll(reference, answers);
});

test("gr-02 group change of lamps agrees with the recursion under both conventions, and costs more than single changes", () => {
  const reference = referenceCase<{ positions: number; p: number[]; individual: number; group: number }>(
    "gr-02",
  );
  const { positions, p, individual, group } = reference.inputs;
  const answers: Record<string, unknown> = {
    "mean life": p.reduce((sum, chance, i) => sum + (i + 1) * chance, 0),
  };
  discreteRenewal({ life: p, periods: p.length }).forEach((expected, i) => {
    answers[`expected failures week ${i + 1}`] = positions * expected;
  });
  for (const [lastPeriod, name, short] of [
    ["single", "also replaced singly", "also replaced singly"],
    ["absorbed", "absorbed", "absorbed"],
  ] as const) {
    const result = groupReplacement({
      positions,
      life: p,
      individualCost: individual,
      groupCost: group,
      lastPeriod,
    });
    result.costRates.forEach((cost, i) => {
      answers[`group every ${i + 1}, last-week failures ${name}: cost per week`] = cost;
    });
    answers[`best interval (${short})`] = result.periods;
    answers["individual policy cost per week"] = result.costRateSingly;
    expect(result.costRate).toBeGreaterThan(result.costRateSingly);
  }
  expectAll(reference, answers);
});
