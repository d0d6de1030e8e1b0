import { expect, test } from "vitest";
import { bestOrderUpTo, orderUpToCost, poissonLaw } from "../../../src/stats/index.ts";
import { expectAll, referenceCase } from "./reference-case.ts";

test("sv-04 best reorder point and order-up-to level agree with the instances of Zheng & Federgruen 1991", () => {
  type Inputs = { holding: number; backorder: number; fixed: number; means: number[] };
  const reference = referenceCase<Inputs>("sv-04");
  const { holding, backorder, fixed, means } = reference.inputs;
  const answers: Record<string, unknown> = {};
  for (const mean of means) {
    const problem = {
      demand: poissonLaw(mean),
      holdingCost: holding,
      backorderCost: backorder,
      orderCost: fixed,
    };
    const best = bestOrderUpTo(problem);
    answers[`mean ${mean}: s`] = best.reorderPoint;
    answers[`mean ${mean}: S`] = best.orderUpTo;
    answers[`mean ${mean}: cost`] = best.costRate;
    expect(orderUpToCost({ ...problem, ...best })).toBeCloseTo(best.costRate, 9);
  }
  expectAll(reference, answers);
});
