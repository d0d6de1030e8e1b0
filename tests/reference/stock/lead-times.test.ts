import { expect, test } from "vitest";
import {
  demandOverLeadTime,
  expectedLeft,
  expectedShort,
  leadTimeDemandMoments,
  leadTimePoints,
  negativeBinomialLaw,
  normalQuantile,
  normalReorderLevel,
  pmfCdf,
  pmfMean,
  pmfQuantile,
  pmfVariance,
  poissonLaw,
  serviceMeasures,
  stockLevels,
} from "../../../src/stats/index.ts";
import { expectAll, referenceCase } from "./reference-case.ts";

test("lt-01 safety stock under random demand and lead time agrees with Chopra & Meindl (values from memory)", () => {
  type Inputs = {
    demand_mean: number;
    demand_sd: number;
    lead_mean: number;
    lead_sd: number[];
    cycle_service: number;
  };
  const reference = referenceCase<Inputs>("lt-01");
  const { demand_mean, demand_sd, lead_mean, lead_sd, cycle_service } = reference.inputs;
  const answers: Record<string, unknown> = {};
  for (const sd of lead_sd) {
    const moments = leadTimeDemandMoments({
      demand: { mean: demand_mean, sd: demand_sd },
      leadTime: { mean: lead_mean, sd },
    });
    answers[`sd of lead-time demand, sL=${sd}`] = moments.sd;
    const target = { kind: "cycle", value: cycle_service } as const;
    answers[`safety stock, sL=${sd}`] = normalReorderLevel({ ...moments, target }) - moments.mean;
  }
  expectAll(reference, answers);
});

test("lt-02 Poisson demand over a gamma lead time is negative binomial (Hadley & Whitin 1963), by nodes and in closed form", () => {
  type Inputs = {
    demand_rate: number;
    lead_shape: number;
    lead_scale: number;
    levels: number[];
    stock: number[];
  };
  const reference = referenceCase<Inputs>("lt-02");
  const { demand_rate: rate, lead_shape: shape, lead_scale: scale, levels, stock } = reference.inputs;
  const mean = shape * scale;
  const sd = Math.sqrt(shape) * scale;
  const leadTimes = leadTimePoints({ mean, sd });
  const mixed = demandOverLeadTime({ demandDuring: (duration) => poissonLaw(rate * duration), leadTimes });
  const closed = negativeBinomialLaw({ size: shape, probability: 1 / (1 + rate * scale) });
  const plain = poissonLaw(rate * mean);
  for (const law of [mixed, closed]) {
    const answers: Record<string, unknown> = {
      mean: pmfMean(law),
      var: pmfVariance(law),
      "formula var":
        leadTimeDemandMoments({ demand: { mean: rate, sd: Math.sqrt(rate) }, leadTime: { mean, sd } }).sd **
        2,
    };
    for (const level of levels) {
      answers[`reorder point for P(D<=r)>=${level}`] = pmfQuantile(law, level);
      answers[`wrong: Poisson with mean lead time, ${level}`] = pmfQuantile(plain, level);
      answers[`approx: normal, ${level} (not rounded)`] =
        pmfMean(law) + normalQuantile(level) * Math.sqrt(pmfVariance(law));
    }
    for (const k of [0, 5, 10, 20]) answers[`P(D=${k})`] = law[k];
    for (const s of stock) answers[`EBO(${s})`] = expectedShort(law, s);
    expectAll(reference, answers);
  }
  for (const level of levels) {
    const levels = stockLevels({
      demand: { kind: "poisson", rate },
      leadTime: { mean, sd },
      target: { kind: "cycle", value: level },
    });
    expect(levels.reorderPoint).toBe(pmfQuantile(closed, level));
  }
});

test("lt-03 lead times that may overtake leave a Poisson number on order (Palm 1938; Feeney & Sherbrooke 1966)", () => {
  type Inputs = {
    demand_rate: number;
    lead_mean: number;
    lead_shape: number;
    base_stock: number[];
    targets: number[];
  };
  const reference = referenceCase<Inputs>("lt-03");
  const { demand_rate: rate, lead_mean, lead_shape, base_stock, targets } = reference.inputs;
  const pipeline = poissonLaw(rate * lead_mean);
  const answers: Record<string, unknown> = { "pipeline mean": pmfMean(pipeline) };
  for (const stock of base_stock) {
    const measures = serviceMeasures({
      leadTimeDemand: pipeline,
      positions: [{ position: stock, probability: 1 }],
    });
    answers[`S=${stock} ready rate P(on hand>0)`] = measures.readyRate;
    answers[`S=${stock} fill rate`] = measures.fillRate;
    answers[`S=${stock} backorders`] = measures.backorders;
    answers[`S=${stock} on hand`] = measures.onHand;
    expect(expectedLeft(pipeline, stock)).toBeCloseTo(measures.onHand, 12);
  }
  for (const value of targets) {
    const overtaking = stockLevels({
      demand: { kind: "poisson", rate },
      leadTime: { mean: lead_mean },
      target: { kind: "fill", value },
    });
    const inTurn = stockLevels({
      demand: { kind: "poisson", rate },
      leadTime: { mean: lead_mean, sd: lead_mean / Math.sqrt(lead_shape) },
      target: { kind: "fill", value },
    });
    answers[`smallest S with fill>=${value}`] = overtaking.orderUpTo;
    answers[`no-crossing gamma lead time (different model): smallest S with fill>=${value}`] =
      inTurn.orderUpTo;
  }
  expectAll(reference, answers);
});

test("lt-04 a two-point lead time is mixed exactly where the normal approximation fails", () => {
  type Inputs = {
    demand_rate: number;
    lead_values: number[];
    lead_probs: number[];
    levels: number[];
    at: number[];
  };
  const reference = referenceCase<Inputs>("lt-04");
  const { demand_rate: rate, lead_values, lead_probs, levels, at } = reference.inputs;
  const law = demandOverLeadTime({
    demandDuring: (duration) => poissonLaw(rate * duration),
    leadTimes: lead_values.map((duration, i) => ({ duration, probability: lead_probs[i]! })),
  });
  const answers: Record<string, unknown> = { mean: pmfMean(law), var: pmfVariance(law) };
  for (const level of levels) {
    answers[`reorder point ${level}`] = pmfQuantile(law, level);
    answers[`normal approx ${level} (not rounded)`] =
      pmfMean(law) + normalQuantile(level) * Math.sqrt(pmfVariance(law));
  }
  for (const k of at) {
    answers[`P(D<=${k})`] = pmfCdf(law, k);
    answers[`EBO(${k})`] = expectedShort(law, k);
  }
  expectAll(reference, answers);
});

test("lt-05 the stock covers review period and lead time, in mean and in variance (textbook exercises)", () => {
  type Inputs = {
    review_case: {
      demand_mean: number;
      demand_sd: number;
      review: number;
      lead_mean: number;
      lead_sd: number;
      risk: number;
      on_hand: number;
    };
    constant_demand: { demand: number; lead_mean: number; lead_sd: number; service: number };
  };
  const reference = referenceCase<Inputs>("lt-05");
  const { review_case: a, constant_demand: b } = reference.inputs;
  const demand = { mean: a.demand_mean, sd: a.demand_sd };
  const leadTime = { mean: a.lead_mean, sd: a.lead_sd };
  const both = leadTimeDemandMoments({ demand, leadTime, reviewPeriod: a.review });
  const leadOnly = leadTimeDemandMoments({ demand, leadTime });
  const target = { kind: "cycle", value: 1 - a.risk } as const;
  const level = normalReorderLevel({ ...both, target });
  const constant = leadTimeDemandMoments({
    demand: { mean: b.demand, sd: 0 },
    leadTime: { mean: b.lead_mean, sd: b.lead_sd },
  });
  const reorder = normalReorderLevel({ ...constant, target: { kind: "cycle", value: b.service } });
  expectAll(reference, {
    "sd over review + lead time": both.sd,
    "order-up-to level": level,
    "order quantity": level - a.on_hand,
    "wrong: order quantity with sd over lead time only":
      normalReorderLevel({ mean: both.mean, sd: leadOnly.sd, target }) - a.on_hand,
    "constant demand: sd of lead-time demand": constant.sd,
    "constant demand: safety stock": reorder - constant.mean,
    "constant demand: reorder point": reorder,
  });
  const whole = stockLevels({
    demand: { kind: "normal", ...demand },
    leadTime,
    reviewPeriod: a.review,
    target,
  });
  expect(whole.orderUpTo).toBe(Math.ceil(level));
});
