import { expect, test } from "vitest";
import {
  convolve,
  convolveAll,
  discreteRenewal,
  erlangCounts,
  erlangStagesLeft,
  expectedShort,
  gammaP,
  mixture,
  negativeBinomialLaw,
  pmfCdf,
  pmfMean,
  pmfQuantile,
  pmfVariance,
  poissonLaw,
  renewalCounts,
  renewalFunction,
} from "../../../src/stats/index.ts";
import { expectAll, referenceCase } from "./reference-case.ts";

const weibullCdf = (shape: number, scale: number, age = 0) => {
  const spent = (age / scale) ** shape;
  return (t: number) => (t <= 0 ? 0 : -Math.expm1(spent - ((age + t) / scale) ** shape));
};

const logGammaOf = (x: number): number => {
  // Shift up to where Stirling's series holds to the last digit.
  if (x < 15) return logGammaOf(x + 1) - Math.log(x);
  const y = 1 / (x * x);
  return (x - 0.5) * Math.log(x) - x + 0.5 * Math.log(2 * Math.PI) + (1 / 12 - y * (1 / 360 - y / 1260)) / x;
};

function weibullFromMoments(mean: number, scv: number): { shape: number; scale: number } {
  const excess = (b: number) => Math.exp(logGammaOf(1 + 2 / b) - 2 * logGammaOf(1 + 1 / b)) - 1 - scv;
  let [low, high] = [0.3, 8];
  for (let i = 0; i < 80; i++) {
    const middle = (low + high) / 2;
    if (excess(middle) > 0) low = middle;
    else high = middle;
  }
  return { shape: low, scale: mean / Math.exp(logGammaOf(1 + 1 / low)) };
}

test("ren-01 renewal function of a Weibull life agrees with the Smith-Leadbetter series (Tijms 2003, table 8.1.1)", () => {
  const reference = referenceCase<{ scv: number; mean: number; t: number[] }>("ren-01");
  const { scv, mean, t } = reference.inputs;
  const { shape, scale } = weibullFromMoments(mean, scv);
  const answers: Record<string, unknown> = { shape, scale };
  for (const horizon of t) {
    answers[`M(${horizon})`] = renewalFunction({ cdf: weibullCdf(shape, scale), horizon });
    answers[`asymptote(${horizon})`] = horizon / mean + (scv - 1) / 2;
  }
  expectAll(reference, answers);
});

test("ren-02 counts of a two-stage life agree with Poisson sums, in closed form and on the grid (Cox 1962)", () => {
  const reference = referenceCase<{ stages: number; stage_rate: number; t: number[] }>("ren-02");
  const { stages, stage_rate: rate, t } = reference.inputs;
  const cdf = (age: number) => gammaP(stages, rate * age);
  const exact: Record<string, unknown> = {};
  const onGrid: Record<string, unknown> = {};
  for (const horizon of t) {
    const grid = renewalCounts({ firstCdf: cdf, laterCdf: cdf, horizon, steps: 240 });
    for (const [answers, law] of [
      [exact, erlangCounts({ stages, rate, horizon })],
      [onGrid, grid.probabilities],
    ] as const) {
      answers[`mean N(${horizon})`] = pmfMean(law);
      answers[`var N(${horizon})`] = pmfVariance(law);
      for (let n = 0; n < 4; n++) answers[`P(N(${horizon})=${n})`] = law[n];
    }
    expect(grid.mean).toBeCloseTo(pmfMean(grid.probabilities), 9);
    expect(grid.variance).toBeCloseTo(pmfVariance(grid.probabilities), 8);
  }
  expectAll(reference, exact);
  expectAll(reference, onGrid);
});

test("ren-03 counts from a worn two-stage part agree with the mixture over stages to go, closed form and grid", () => {
  type Inputs = { stages: number; stage_rate: number; age: number; horizon: number };
  const reference = referenceCase<Inputs>("ren-03");
  const { stages, stage_rate: rate, age, horizon } = reference.inputs;
  const left = erlangStagesLeft({ stages, rate, age });
  const survival = (t: number) => 1 - gammaP(stages, rate * t);
  const grid = renewalCounts({
    firstCdf: (t) => 1 - survival(age + t) / survival(age),
    laterCdf: (t) => gammaP(stages, rate * t),
    horizon,
    steps: 240,
  });
  const asNew = erlangCounts({ stages, rate, horizon });
  for (const law of [erlangCounts({ stages, rate, age, horizon }), grid.probabilities]) {
    const answers: Record<string, unknown> = {
      "P(first life needs 2 stages)": left[2],
      "P(first life needs 1 stages)": left[1],
      "P(survives horizon)": law[0],
      mean: pmfMean(law),
      var: pmfVariance(law),
      "mean if the part were new (wrong)": pmfMean(asNew),
    };
    for (let n = 0; n < 6; n++) answers[`P(N=${n})`] = law[n];
    expectAll(reference, answers);
  }
});

test("ren-04 demand of three worn positions agrees with an integral of 60-digit count series", () => {
  type Inputs = {
    shape: number;
    scale: number;
    ages: number[];
    horizon: number;
    levels: number[];
    stock: number[];
  };
  const reference = referenceCase<Inputs>("ren-04");
  const { shape, scale, ages, horizon, levels, stock } = reference.inputs;
  const answers: Record<string, unknown> = {};
  const positions = ages.map((age) => {
    const counts = renewalCounts({
      firstCdf: weibullCdf(shape, scale, age),
      laterCdf: weibullCdf(shape, scale),
      horizon,
    });
    answers[`age ${age}: P(no change)`] = counts.probabilities[0];
    answers[`age ${age}: mean`] = counts.mean;
    return counts.probabilities;
  });
  const demand = convolveAll(positions);
  for (let k = 0; k < 10; k++) answers[`P(D=${k})`] = demand[k];
  answers["mean"] = pmfMean(demand);
  answers["var"] = pmfVariance(demand);
  for (const level of levels) answers[`quantile ${level}`] = pmfQuantile(demand, level);
  for (const s of stock) answers[`EBO(${s})`] = expectedShort(demand, s);
  expectAll(reference, answers);
});

test("ren-05 breakage that ends the life, and breakage beside it, agree with simulation of 1e6 histories", () => {
  type Inputs = { shape: number; scale: number; breakage_rate: number; horizon: number };
  const reference = referenceCase<Inputs>("ren-05");
  const { shape, scale, breakage_rate: rate, horizon } = reference.inputs;
  const first = (t: number) => -Math.expm1(-((t / scale) ** shape) - rate * t);
  const withBreakage = renewalCounts({ firstCdf: first, laterCdf: first, horizon });
  const wear = weibullCdf(shape, scale);
  const worn = renewalCounts({ firstCdf: wear, laterCdf: wear, horizon }).probabilities;
  const beside = convolve(worn, poissonLaw(rate * horizon));
  const answers: Record<string, unknown> = {
    "A mean": withBreakage.mean,
    "A var": withBreakage.variance,
    "A mean breakages": rate * horizon,
    "A mean wear-outs": withBreakage.mean - rate * horizon,
    "B mean": pmfMean(beside),
    "B var": pmfVariance(beside),
  };
  for (let k = 0; k < 5; k++) {
    answers[`A P(D=${k})`] = withBreakage.probabilities[k];
    answers[`B P(D=${k})`] = beside[k];
  }
  expectAll(reference, answers);
});

test("ren-06 lamp failures per month agree with the printed recursion (operations-research course page)", () => {
  const reference = referenceCase<{ positions: number; p: number[]; periods: number }>("ren-06");
  const { positions, p, periods } = reference.inputs;
  const meanLife = p.reduce((sum, chance, i) => sum + (i + 1) * chance, 0);
  const answers: Record<string, unknown> = {
    "mean life": meanLife,
    "steady failures per period": positions / meanLife,
  };
  discreteRenewal({ life: p, periods }).forEach((expected, i) => {
    answers[`expected failures period ${i + 1}`] = positions * expected;
  });
  expectAll(reference, answers);
});

test("ren-07 one uncertain rate shared by all positions gives a negative binomial demand (Gelman et al. 2013, 2.6)", () => {
  type Inputs = {
    posterior_shape: number;
    posterior_rate: number;
    positions: number;
    horizon: number;
    levels: number[];
    stock: number[];
  };
  const reference = referenceCase<Inputs>("ren-07");
  const { posterior_shape: a, posterior_rate: b, positions: n, horizon, levels, stock } = reference.inputs;
  const shared = negativeBinomialLaw({ size: a, probability: b / (b + n * horizon) });
  const one = negativeBinomialLaw({ size: a, probability: b / (b + horizon) });
  const plugIn = poissonLaw((a / b) * n * horizon);
  const answers: Record<string, unknown> = {};
  for (const [name, law] of [
    ["shared", shared],
    ["independent (wrong)", convolveAll(Array.from({ length: n }, () => one))],
    ["plug-in Poisson (wrong)", plugIn],
  ] as const) {
    answers[`${name} mean`] = pmfMean(law);
    answers[`${name} var`] = pmfVariance(law);
    for (const level of levels) answers[`${name} quantile ${level}`] = pmfQuantile(law, level);
  }
  for (const s of stock) {
    answers[`shared P(D<=${s})`] = pmfCdf(shared, s);
    answers[`plug-in P(D<=${s})`] = pmfCdf(plugIn, s);
  }
  expectAll(reference, answers);
});

test("ren-08 an uncertain common scale widens the demand of four positions as quadrature over it says", () => {
  type Inputs = {
    shape: number;
    log_scale_mean: number;
    log_scale_sd: number;
    positions: number;
    horizon: number;
    levels: number[];
  };
  const reference = referenceCase<Inputs>("ren-08");
  const { shape, log_scale_mean: centre, log_scale_sd: sd, positions, horizon, levels } = reference.inputs;
  const counts = (scale: number) => {
    const cdf = weibullCdf(shape, scale);
    return renewalCounts({ firstCdf: cdf, laterCdf: cdf, horizon }).probabilities;
  };
  const fold = (law: number[]) => convolveAll(Array.from({ length: positions }, () => law));
  // The trapezoidal rule on a normal weight converges faster than any power of its step.
  const nodes = Array.from({ length: 49 }, (_, i) => (i - 24) * 0.3);
  const given = nodes.map((z) => {
    const one = counts(Math.exp(centre + sd * z));
    return { weight: Math.exp(-0.5 * z * z), one, all: fold(one) };
  });
  const total = given.reduce((sum, { weight }) => sum + weight, 0);
  const shared = mixture(given.map(({ weight, all }) => ({ weight, probabilities: all })));
  const independent = fold(mixture(given.map(({ weight, one }) => ({ weight, probabilities: one }))));
  const plugIn = fold(counts(Math.exp(centre)));
  const mean = pmfMean(shared);
  const average = (f: (all: number[]) => number) =>
    given.reduce((sum, { weight, all }) => sum + (weight / total) * f(all), 0);
  const answers: Record<string, unknown> = {
    mean,
    var: pmfVariance(shared),
    "mean of conditional variances": average(pmfVariance),
    "variance of conditional means": average((all) => (pmfMean(all) - mean) ** 2),
    "independent draws per position (wrong): var": pmfVariance(independent),
    "plug-in median scale (wrong): var": pmfVariance(plugIn),
  };
  for (let k = 3; k < 12; k++) answers[`P(D=${k})`] = shared[k];
  for (const level of levels) {
    answers[`quantile ${level}`] = pmfQuantile(shared, level);
    answers[`independent draws per position (wrong): quantile ${level}`] = pmfQuantile(independent, level);
    answers[`plug-in median scale (wrong): quantile ${level}`] = pmfQuantile(plugIn, level);
  }
  expectAll(reference, answers);
});

test("ren-09 renewal theorem, Blackwell and second-order asymptotes hold for a three-stage life (Cox 1962; Tijms 2003)", () => {
  const reference = referenceCase<{ stages: number; stage_rate: number; t: number[]; h: number }>("ren-09");
  const { stages, stage_rate: rate, t, h } = reference.inputs;
  const mu = stages / rate;
  const variance = stages / rate ** 2;
  const third = (2 * stages) / rate ** 3;
  const answers: Record<string, unknown> = { "h/mu": h / mu };
  for (const horizon of t) {
    const law = erlangCounts({ stages, rate, horizon });
    const mean = pmfMean(law);
    answers[`M(${horizon})`] = mean;
    answers[`var N(${horizon})`] = pmfVariance(law);
    answers[`M asymptote(${horizon})`] = horizon / mu + (variance - mu ** 2) / (2 * mu ** 2);
    answers[`var asymptote(${horizon})`] =
      (variance * horizon) / mu ** 3 +
      1 / 12 +
      (5 * variance ** 2) / (4 * mu ** 4) -
      (2 * third) / (3 * mu ** 3);
    answers[`M(${horizon})/t`] = mean / horizon;
    answers[`M(${horizon}+h)-M(${horizon})`] =
      pmfMean(erlangCounts({ stages, rate, horizon: horizon + h })) - mean;
  }
  expectAll(reference, answers);
});
