import { expect, test } from "vitest";
import {
  bestKit,
  cheapestKit,
  evaluateKit,
  type KitLine,
  marginalKits,
  pmfCdf,
  poissonLaw,
} from "../../../src/stats/index.ts";
import { expectAll, referenceCase } from "./reference-case.ts";

test("mx-01 spares mix for nine types: marginal analysis and exact optimum (course data, method of Fox 1966)", () => {
  type Inputs = { rate: number[]; repair_time: number[]; cost: number[]; budget: number; budgets: number[] };
  const reference = referenceCase<Inputs>("mx-01");
  const { rate, repair_time, cost, budget, budgets } = reference.inputs;
  const lines: KitLine[] = cost.map((price, i) => ({
    price,
    demand: poissonLaw(rate[i]! * repair_time[i]!),
  }));
  const path = marginalKits({ lines, aim: "shortage", budget });
  const last = path[path.length - 1]!;
  const filled = marginalKits({ lines, aim: "shortage", budget, skip: true }).at(-1)!;
  const answers: Record<string, unknown> = {
    "EBO with no spares": path[0]!.expectedShort,
    "pure greedy mix": last.packs,
    "pure greedy EBO": last.expectedShort,
    "pure greedy cost": last.cost,
    "fill-up greedy mix": filled.packs,
    "fill-up greedy EBO": filled.expectedShort,
    "fill-up greedy cost": filled.cost,
  };
  path.slice(1).forEach((kit, i) => {
    answers[`efficient point ${i + 1}: cost`] = kit.cost;
    answers[`efficient point ${i + 1}: EBO`] = kit.expectedShort;
    // Each point of the way is the best for its own cost.
    const exact = bestKit({ lines, aim: "shortage", budget: kit.cost });
    expect(exact.expectedShort).toBeCloseTo(kit.expectedShort, 12);
  });
  for (const sum of budgets) {
    const best = bestKit({ lines, aim: "shortage", budget: sum });
    answers[`exact mix, budget ${sum}`] = best.packs;
    answers[`exact EBO, budget ${sum}`] = best.expectedShort;
    answers[`exact cost, budget ${sum}`] = best.cost;
  }
  expectAll(reference, answers);
});

test("mx-02 what to carry: joint chance of no stock-out under a budget, and the cheapest mix for 0.9", () => {
  type Inputs = { means: number[]; price: number[]; budgets: number[]; target: number };
  const reference = referenceCase<Inputs>("mx-02");
  const { means, price, budgets, target } = reference.inputs;
  const lines: KitLine[] = means.map((mean, i) => ({ price: price[i]!, demand: poissonLaw(mean) }));
  const none = evaluateKit(
    lines,
    lines.map(() => 0),
  );
  const answers: Record<string, unknown> = { "P(no stock-out), nothing carried": none.jointChance };
  for (const budget of budgets) {
    const filled = marginalKits({ lines, aim: "joint", budget, skip: true }).at(-1)!;
    const best = bestKit({ lines, aim: "joint", budget });
    answers[`greedy mix, budget ${budget}`] = filled.packs;
    answers[`greedy P, budget ${budget}`] = filled.jointChance;
    answers[`exact mix, budget ${budget}`] = best.packs;
    answers[`exact P, budget ${budget}`] = best.jointChance;
    answers[`exact cost, budget ${budget}`] = best.cost;
  }
  const cheapest = cheapestKit({ lines, chance: target })!;
  const marginals = lines.map(({ demand }, i) => pmfCdf(demand, cheapest.packs[i]!));
  answers[`cheapest cost for joint ${target}`] = cheapest.cost;
  answers[`cheapest mix for joint ${target}`] = cheapest.packs;
  answers["its joint P"] = cheapest.jointChance;
  answers["sum of single-line P minus (n-1) (Bonferroni floor) for that mix"] =
    marginals.reduce((sum, chance) => sum + chance, 0) - (lines.length - 1);
  expectAll(reference, answers);
});
