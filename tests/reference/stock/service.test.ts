import { expect, test } from "vitest";
import {
  bestLotReorder,
  compoundPoissonLaw,
  criticalRatio,
  economicOrderQuantity,
  expectedLeft,
  expectedShort,
  fillInHorizon,
  leadTimeDemandMoments,
  levelsForDemand,
  logarithmicLaw,
  lotAndReorderLevel,
  lotReorderCost,
  negativeBinomialLaw,
  newsvendor,
  newsvendorCost,
  newsvendorNormal,
  normalCdf,
  normalLoss,
  normalLossInverse,
  normalQuantile,
  normalReorderLevel,
  orderPositions,
  periodicFillRate,
  pmfCdf,
  pmfMean,
  pmfQuantile,
  pmfVariance,
  poissonCdf,
  poissonLaw,
  poissonQuantile,
  serviceMeasures,
  smallestStock,
  stockLevels,
} from "../../../src/stats/index.ts";
import { expectAll, referenceCase } from "./reference-case.ts";

/** The measures of the cases, by the cases' names. */
function named(measures: ReturnType<typeof serviceMeasures>) {
  const { readyRate, fillRate, backorders, onHand } = measures;
  return { ready_rate: readyRate, fill_rate: fillRate, backorders, on_hand: onHand };
}

const firstWhole = (holds: (k: number) => boolean) => {
  for (let k = 0; k < 1000; k++) if (holds(k)) return k;
  return undefined;
};

test("sv-01 base stock with Poisson demand agrees with Hopp & Spearman, Factory Physics, section 2.4.2", () => {
  type Inputs = { lead_demand_mean: number; holding: number; backorder: number; reorder_points: number[] };
  const reference = referenceCase<Inputs>("sv-01");
  const { lead_demand_mean: mean, holding, backorder, reorder_points } = reference.inputs;
  const demand = poissonLaw(mean);
  // The case states the rule "smallest r with G(r) >= b/(h+b)". The rule holds for the base stock S = r + 1, so that the
  // cheapest reorder point is one lower, as the case's own costs show.
  const cheapest = bestLotReorder({
    leadTimeDemand: demand,
    demandRate: mean,
    holdingCost: holding,
    backorderCost: backorder,
    orderCost: 0,
  });
  expect(cheapest.reorderPoint).toBe(10);
  expect(cheapest.costRate).toBeCloseTo(48.36560429617283, 9);
  const answers: Record<string, unknown> = {
    "critical ratio": criticalRatio({ under: backorder, over: holding }),
    "best r": newsvendor({ demand, under: backorder, over: holding }).quantity,
  };
  for (const r of reorder_points) {
    const positions = orderPositions({ reorderPoint: r });
    expect(positions).toEqual([{ position: r + 1, probability: 1 }]);
    const { fillRate, backorders, onHand } = serviceMeasures({ leadTimeDemand: demand, positions });
    answers[`r=${r} (S=${r + 1}): fill rate`] = fillRate;
    answers[`r=${r}: backorders`] = backorders;
    answers[`r=${r}: on hand`] = onHand;
    answers[`r=${r}: cost`] = holding * onHand + backorder * backorders;
  }
  expectAll(reference, answers);
});

test("sv-02 daily order-up-to with Poisson demand: exact and textbook fill rate (Cachon & Terwiesch, inputs)", () => {
  type Inputs = {
    demand_rate: number;
    lead_time: number;
    review: number;
    S_b: number;
    fill_target: number;
    holding: number;
    backorder: number;
  };
  const reference = referenceCase<Inputs>("sv-02");
  const { demand_rate: rate, lead_time, review, S_b, fill_target, holding, backorder } = reference.inputs;
  const leadTimeDemand = poissonLaw(rate * lead_time);
  const protectionDemand = poissonLaw(rate * (lead_time + review));
  const exact = (orderUpTo: number) => periodicFillRate({ leadTimeDemand, protectionDemand, orderUpTo });
  const textbook = (orderUpTo: number) => 1 - expectedShort(protectionDemand, orderUpTo) / (rate * review);
  const levels = stockLevels({
    demand: { kind: "poisson", rate },
    leadTime: { mean: lead_time },
    reviewPeriod: review,
    target: { kind: "fill", value: fill_target },
  });
  const answers: Record<string, unknown> = {
    "mean on order": pmfMean(leadTimeDemand),
    "mean over L+R": pmfMean(protectionDemand),
    [`P(stock-out in a day), S=${S_b}`]: 1 - pmfCdf(protectionDemand, S_b),
    [`smallest S, exact fill>=${fill_target}`]: levels.orderUpTo,
    [`smallest S, approx fill>=${fill_target}`]: firstWhole((s) => textbook(s) >= fill_target),
    "critical ratio": criticalRatio({ under: backorder, over: holding }),
    "cost-optimal S": newsvendor({ demand: protectionDemand, under: backorder, over: holding }).quantity,
  };
  for (let s = 7; s < 12; s++) {
    answers[`exact fill rate S=${s}`] = exact(s);
    answers[`approx 1-B(L+R)/demand S=${s}`] = textbook(s);
  }
  expectAll(reference, answers);
});

test("sv-03 best lot and reorder point agree with Snyder & Shen 2019, example 5.8", () => {
  type Inputs = {
    holding: number;
    backorder: number;
    fixed: number;
    demand_rate: number;
    lead_time: number;
    also: [number, number][];
  };
  const reference = referenceCase<Inputs>("sv-03");
  const { holding, backorder, fixed, demand_rate, lead_time, also } = reference.inputs;
  const leadTimeDemand = poissonLaw(demand_rate * lead_time);
  const problem = {
    holdingCost: holding,
    backorderCost: backorder,
    orderCost: fixed,
    demandRate: demand_rate,
    leadTimeDemand,
  };
  const best = bestLotReorder(problem);
  const measures = serviceMeasures({
    leadTimeDemand,
    positions: orderPositions({ reorderPoint: best.reorderPoint, packSize: best.lot }),
  });
  const answers: Record<string, unknown> = {
    r: best.reorderPoint,
    Q: best.lot,
    cost: best.costRate,
    "fill rate at optimum": measures.fillRate,
    "backorders at optimum": measures.backorders,
    "on hand at optimum": measures.onHand,
  };
  for (const [reorderPoint, lot] of also) {
    answers[`cost(r=${reorderPoint},Q=${lot})`] = lotReorderCost({ ...problem, reorderPoint, lot });
  }
  expectAll(reference, answers);
});

test("sv-05 buffer, lot and level, newsvendor and setup agree with Taha, chapter 16 (misprint .643 noted)", () => {
  type Inputs = {
    buffer: { mean_day: number; sd_day: number; lead_days: number; alpha: number };
    lot_reorder: {
      demand: number;
      fixed: number;
      holding: number;
      shortage: number;
      lead_demand_max: number;
    };
    newsvendor: { under: number; over: number; mean: number; sd: number; values: number[]; probs: number[] };
    setup: { max: number; holding: number; penalty: number; fixed: number };
  };
  const reference = referenceCase<Inputs>("sv-05");
  const { buffer, lot_reorder: lot, newsvendor: news, setup } = reference.inputs;
  const moments = leadTimeDemandMoments({
    demand: { mean: buffer.mean_day, sd: buffer.sd_day },
    leadTime: { mean: buffer.lead_days },
  });
  const level = normalReorderLevel({ ...moments, target: { kind: "cycle", value: 1 - buffer.alpha } });
  const most = lot.lead_demand_max;
  const together = lotAndReorderLevel({
    demandRate: lot.demand,
    orderCost: lot.fixed,
    holdingCost: lot.holding,
    shortageCost: lot.shortage,
    levelAt: (chance) => most * (1 - chance),
    shortAt: (reorder) => (most - reorder) ** 2 / (2 * most),
  });
  const table = new Array<number>(Math.max(...news.values) + 1).fill(0);
  news.values.forEach((value, i) => {
    table[value] = news.probs[i]!;
  });
  // One period, demand uniform on [0, max]: expected cost of a stock, and where ordering stops paying for its setup.
  const best = setup.max * criticalRatio({ under: setup.penalty, over: setup.holding });
  const cost = (stock: number) =>
    (setup.holding * stock ** 2 + setup.penalty * (setup.max - stock) ** 2) / (2 * setup.max);
  const half = Math.sqrt((2 * setup.max * setup.fixed) / (setup.holding + setup.penalty));
  expect(cost(best - half)).toBeCloseTo(setup.fixed + cost(best), 9);
  expectAll(reference, {
    buffer: level - moments.mean,
    "reorder level": level,
    "y*": together.lot,
    "R*": together.reorderLevel,
    "existence: y-hat": economicOrderQuantity({
      demandRate: lot.demand,
      orderCost: lot.fixed + (lot.shortage * most) / 2,
      holdingCost: lot.holding,
    }),
    "existence: y-tilde": (lot.shortage * lot.demand) / lot.holding,
    "critical ratio": criticalRatio(news),
    "normal order": newsvendorNormal(news).quantity,
    "discrete order": newsvendor({ demand: table, under: news.under, over: news.over }).quantity,
    S: best,
    "expected cost at S": cost(best),
    "s root (negative: never order)": best - half,
  });
});

test("sv-06 cycle service and fill rate of one reorder point agree with Chopra & Meindl (values from memory)", () => {
  type Inputs = {
    demand_mean: number;
    demand_sd: number;
    lead: number;
    reorder: number;
    lot: number;
    fill_target: number;
  };
  const reference = referenceCase<Inputs>("sv-06");
  const { demand_mean, demand_sd, lead, reorder, lot, fill_target } = reference.inputs;
  const moments = leadTimeDemandMoments({
    demand: { mean: demand_mean, sd: demand_sd },
    leadTime: { mean: lead },
  });
  const z = (reorder - moments.mean) / moments.sd;
  const short = moments.sd * normalLoss(z);
  const target = { kind: "fill", value: fill_target } as const;
  expectAll(reference, {
    "sd of lead-time demand": moments.sd,
    "safety stock": reorder - moments.mean,
    "cycle service level": normalCdf(z),
    "expected shortage per cycle": short,
    "fill rate": 1 - short / lot,
    [`safety stock for fill ${fill_target}`]: normalReorderLevel({ ...moments, target, lot }) - moments.mean,
  });
});

test("sv-07 unit normal loss and its inverse agree with 50-digit values, also far in the tail", () => {
  const reference = referenceCase<{ z: number[]; inverse: number[] }>("sv-07");
  const answers: Record<string, unknown> = {};
  for (const z of reference.inputs.z) answers[`G(${z})`] = normalLoss(z);
  for (const loss of reference.inputs.inverse) answers[`z with G(z)=${loss}`] = normalLossInverse(loss);
  expectAll(reference, answers);
});

test("sv-08 cumulative Poisson, loss and quantiles agree with exact sums", () => {
  const reference = referenceCase<{ pairs: [number, number][]; quantiles: [number, number][] }>("sv-08");
  const answers: Record<string, unknown> = {};
  for (const [mean, k] of reference.inputs.pairs) {
    answers[`P(X<=${k}; ${mean})`] = pmfCdf(poissonLaw(mean), k);
    answers[`E[(X-${k})+; ${mean}]`] = expectedShort(poissonLaw(mean), k);
    expect(pmfCdf(poissonLaw(mean), k)).toBeCloseTo(poissonCdf(k, mean), 13);
  }
  for (const [mean, level] of reference.inputs.quantiles) {
    const shown = Number(level.toPrecision(6));
    answers[`smallest k: P(X<=k; ${mean})>=${shown}`] = pmfQuantile(poissonLaw(mean), level);
    expect(poissonQuantile(level, mean)).toBe(pmfQuantile(poissonLaw(mean), level));
  }
  expectAll(reference, answers);
});

test("sv-09 batches: Panjer's recursion, and three different service rates for singles and pairs (Panjer 1981)", () => {
  type Inputs = {
    log_batches: { rate: number; lead: number; p: number };
    pairs: { rate: number; lead: number; p1: number; p2: number; base_stock: number[] };
  };
  const reference = referenceCase<Inputs>("sv-09");
  const { log_batches: a, pairs: b } = reference.inputs;
  const logarithmic = compoundPoissonLaw({ rate: a.rate * a.lead, batch: logarithmicLaw(a.p) });
  const size = (-a.rate * a.lead) / Math.log(1 - a.p);
  const closed = negativeBinomialLaw({ size, probability: 1 - a.p });
  const gaps = closed.slice(0, 60).map((chance, k) => Math.abs(chance - (logarithmic[k] ?? 0)));
  const answers: Record<string, unknown> = {
    "log batches: equivalent negative binomial size": size,
    "log batches: max gap to negative binomial": Math.max(...gaps),
  };
  for (const k of [0, 1, 2, 5, 10]) answers[`log batches: P(D=${k})`] = logarithmic[k];
  const batch = [0, b.p1, b.p2];
  const demand = compoundPoissonLaw({ rate: b.rate * b.lead, batch });
  answers["pairs: mean"] = pmfMean(demand);
  answers["pairs: var"] = pmfVariance(demand);
  for (const k of [0, 1, 2, 3, 4, 8]) answers[`pairs: P(D=${k})`] = demand[k];
  for (const stock of b.base_stock) {
    const positions = [{ position: stock, probability: 1 }];
    const measures = serviceMeasures({ leadTimeDemand: demand, positions, batch });
    answers[`pairs S=${stock}: ready rate`] = measures.readyRate;
    answers[`pairs S=${stock}: unit fill rate`] = measures.fillRate;
    answers[`pairs S=${stock}: complete-order fill rate`] = measures.completeOrderFillRate;
    answers[`pairs S=${stock}: backorders`] = measures.backorders;
  }
  expectAll(reference, answers);
});

test("sv-10 packs leave the position uniform, a minimum order of two packs does not (Hadley & Whitin 1963)", () => {
  type Inputs = {
    unit: { rate: number; lead: number; pack: number; r: number[]; target: number };
    batch: { rate: number; lead: number; batch_probs: number[]; pack: number; moq: number; r: number };
  };
  const reference = referenceCase<Inputs>("sv-10");
  const { unit, batch: b } = reference.inputs;
  const answers: Record<string, unknown> = {};
  const leadTimeDemand = poissonLaw(unit.rate * unit.lead);
  for (const reorderPoint of unit.r) {
    const positions = orderPositions({ reorderPoint, packSize: unit.pack });
    for (const [name, value] of Object.entries(named(serviceMeasures({ leadTimeDemand, positions })))) {
      answers[`unit demand r=${reorderPoint} pack=${unit.pack}: ${name}`] = value;
    }
  }
  answers[`unit demand: smallest r with fill>=${unit.target}`] = levelsForDemand({
    leadTimeDemand,
    packSize: unit.pack,
    target: { kind: "fill", value: unit.target },
  }).reorderPoint;
  const batch = [0, ...b.batch_probs];
  const batchDemand = compoundPoissonLaw({ rate: b.rate * b.lead, batch });
  const packs = orderPositions({ reorderPoint: b.r, packSize: b.pack, batch });
  answers["batch, pack only: position is uniform"] =
    packs.length === b.pack && packs.every(({ probability }) => Math.abs(probability - 1 / b.pack) < 1e-9);
  const least = orderPositions({ reorderPoint: b.r, packSize: b.pack, minimumOrder: b.moq, batch });
  for (const { position, probability } of least) {
    answers[`batch, minimum order ${b.moq}: P(position=${position})`] = probability;
  }
  for (const [prefix, positions] of [
    [`batch, pack ${b.pack}`, packs],
    [`batch, minimum order ${b.moq}`, least],
  ] as const) {
    const measures = named(serviceMeasures({ leadTimeDemand: batchDemand, positions, batch }));
    for (const [name, value] of Object.entries(measures)) answers[`${prefix}: ${name}`] = value;
  }
  expectAll(reference, answers);
});

test("sv-11 periodic review: fill rate, ready rate over time and cycle service of Poisson demand", () => {
  type Inputs = { rate: number; lead: number; review: number; S: number[]; target: number };
  const reference = referenceCase<Inputs>("sv-11");
  const { rate, lead, review, S, target } = reference.inputs;
  const leadTimeDemand = poissonLaw(rate * lead);
  const protectionDemand = poissonLaw(rate * (lead + review));
  const textbook = (s: number) => 1 - expectedShort(protectionDemand, s) / (rate * review);
  const levelFor = (kind: "fill" | "cycle") =>
    stockLevels({
      demand: { kind: "poisson", rate },
      leadTime: { mean: lead },
      reviewPeriod: review,
      target: { kind, value: target },
    }).orderUpTo;
  const answers: Record<string, unknown> = {
    [`smallest S, fill>=${target}`]: levelFor("fill"),
    [`smallest S, cycle service>=${target}`]: levelFor("cycle"),
    [`smallest S, approx fill>=${target}`]: firstWhole((s) => textbook(s) >= target),
  };
  for (const orderUpTo of S) {
    answers[`S=${orderUpTo}: fill rate`] = periodicFillRate({ leadTimeDemand, protectionDemand, orderUpTo });
    answers[`S=${orderUpTo}: approx fill`] = textbook(orderUpTo);
    answers[`S=${orderUpTo}: cycle service P(D(L+R)<=S)`] = pmfCdf(protectionDemand, orderUpTo);
    // Simpson's rule over the review period.
    const steps = 64;
    let sum = 0;
    for (let i = 0; i <= steps; i++) {
      const weight = i === 0 || i === steps ? 1 : i % 2 === 1 ? 4 : 2;
      sum += weight * poissonCdf(orderUpTo - 1, rate * (lead + (review * i) / steps));
    }
    answers[`S=${orderUpTo}: ready rate (time average)`] = sum / (3 * steps);
  }
  expectAll(reference, answers);
});

test("sv-12 newsvendor agrees with Snyder & Shen 2019, examples 4.3, 4.4, 4.7; two targets give two season buys", () => {
  type Costs = { over: number; under: number };
  type Inputs = {
    normal: Costs & { mean: number; sd: number };
    normal_lead: Costs & { mean: number; sd: number; lead: number };
    poisson: Costs & { mean: number };
    table: Costs & { pmf: Record<string, number> };
    season: { size: number; prob: number; targets: number[]; check: number };
  };
  const reference = referenceCase<Inputs>("sv-12");
  const { normal, normal_lead, poisson, table, season } = reference.inputs;
  const { lead } = normal_lead;
  const one = newsvendorNormal(normal);
  const covered = leadTimeDemandMoments({
    demand: normal_lead,
    leadTime: { mean: lead },
    reviewPeriod: 1,
  });
  const several = newsvendorNormal({ ...covered, under: normal_lead.under, over: normal_lead.over });
  const counts = { demand: poissonLaw(poisson.mean), under: poisson.under, over: poisson.over };
  const law = Array.from({ length: 9 }, (_, k) => table.pmf[String(k)] ?? 0);
  const listed = { demand: law, under: table.under, over: table.over };
  const demand = negativeBinomialLaw({ size: season.size, probability: season.prob });
  const answers: Record<string, unknown> = {
    "normal: order-up-to": one.quantity,
    "normal: cost": one.cost,
    [`normal, lead ${lead} + review 1: order-up-to`]: several.quantity,
    [`normal, lead ${lead} + review 1: cost`]: several.cost,
    "poisson: S": newsvendor(counts).quantity,
    "poisson: cost": newsvendor(counts).cost,
    "poisson: cost at S=5": newsvendorCost({ ...counts, quantity: 5 }),
    "table: S": newsvendor(listed).quantity,
    "table: cost": newsvendor(listed).cost,
    "table: cost at 3": newsvendorCost({ ...listed, quantity: 3 }),
    [`season: P(D<=${season.check})`]: pmfCdf(demand, season.check),
    [`season: expected fill at ${season.check}`]: fillInHorizon(demand, season.check),
    [`season: expected left over at ${season.check}`]: expectedLeft(demand, season.check),
  };
  for (const value of season.targets) {
    answers[`season: buy for P(D<=q)>=${value}`] = smallestStock(demand, { kind: "cycle", value });
    answers[`season: buy for expected fill>=${value}`] = smallestStock(demand, { kind: "fill", value });
  }
  expectAll(reference, answers);
});

test("sv-13 n spares last for at most n failures: exact Poisson, not the 42 % printed for three spares", () => {
  type Inputs = {
    transmitter: { units: number; mtbf: number; hours: number; levels: number[] };
    drives: { units: number; hours: number; level: number; mtbf: number[] };
  };
  const reference = referenceCase<Inputs>("sv-13");
  const { transmitter: a, drives } = reference.inputs;
  const failures = poissonLaw((a.units * a.hours) / a.mtbf);
  const answers: Record<string, unknown> = { "transmitter: mean failures": pmfMean(failures) };
  for (let k = 2; k < 8; k++) answers[`transmitter: P(failures<=${k})`] = pmfCdf(failures, k);
  for (const value of a.levels) {
    answers[`transmitter: spares for ${value}`] = smallestStock(failures, { kind: "cycle", value });
  }
  for (const mtbf of drives.mtbf) {
    const mean = (drives.units * drives.hours) / mtbf;
    const target = { kind: "cycle", value: drives.level } as const;
    answers[`drives, MTBF ${mtbf}: mean`] = mean;
    answers[`drives, MTBF ${mtbf}: exact Poisson spares`] = smallestStock(poissonLaw(mean), target);
    answers[`drives, MTBF ${mtbf}: normal approximation, rounded up`] = Math.ceil(
      mean + normalQuantile(drives.level) * Math.sqrt(mean),
    );
  }
  expectAll(reference, answers);
});

test("sv-14 lot and reorder level agree with Nahmias & Olsen; P1 and P2 rules with Silver, Pyke & Thomas (from memory)", () => {
  type Inputs = {
    lot_reorder: {
      fixed: number;
      holding: number;
      stockout: number;
      demand: number;
      mean: number;
      sd: number;
      type1: number;
      type2: number;
    };
    p1: { mean: number; sd: number; target: number };
    p2: { mean: number; sd: number; lot: number; target: number };
  };
  const reference = referenceCase<Inputs>("sv-14");
  const { lot_reorder: a, p1, p2 } = reference.inputs;
  const costs = { demandRate: a.demand, orderCost: a.fixed, holdingCost: a.holding };
  const problem = {
    ...costs,
    shortageCost: a.stockout,
    levelAt: (chance: number) => a.mean - a.sd * normalQuantile(chance),
    shortAt: (level: number) => a.sd * normalLoss((level - a.mean) / a.sd),
  };
  const economic = economicOrderQuantity(costs);
  const first = lotAndReorderLevel({ ...problem, rounds: 1 });
  const settled = lotAndReorderLevel(problem);
  const cycle = (value: number) => ({ kind: "cycle", value }) as const;
  const fill = (value: number) => ({ kind: "fill", value }) as const;
  const level1 = normalReorderLevel({ ...p1, target: cycle(p1.target) });
  const level2 = normalReorderLevel({ ...p2, target: fill(p2.target) });
  expectAll(reference, {
    "starting lot (EOQ)": economic,
    "first reorder level": first.reorderLevel,
    "first expected shortage": first.expectedShort,
    "second lot": first.lot,
    lot: settled.lot,
    "reorder level": settled.reorderLevel,
    "safety stock": settled.reorderLevel - a.mean,
    "cycle service level": normalCdf((settled.reorderLevel - a.mean) / a.sd),
    "fill rate": 1 - settled.expectedShort / settled.lot,
    [`cycle service ${a.type1}: reorder level`]: normalReorderLevel({ ...a, target: cycle(a.type1) }),
    [`fill ${a.type2} with EOQ: reorder level`]: normalReorderLevel({
      ...a,
      target: fill(a.type2),
      lot: economic,
    }),
    "P1: k": (level1 - p1.mean) / p1.sd,
    "P1: safety stock": level1 - p1.mean,
    "P1: reorder point": level1,
    "P2: G(k)": ((1 - p2.target) * p2.lot) / p2.sd,
    "P2: k": (level2 - p2.mean) / p2.sd,
    "P2: reorder point": level2,
  });
});
