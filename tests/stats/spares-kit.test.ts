import fc from "fast-check";
import { expect, test } from "vitest";
import {
  bestKit,
  cheapestKit,
  convolve,
  evaluateKit,
  jointChance,
  type KitAim,
  kitCurve,
  type KitLine,
  marginalKits,
  mixture,
  pmfCdf,
  poissonLaw,
} from "../../src/stats/index.ts";

fc.configureGlobal({ seed: 20 });

const line: fc.Arbitrary<KitLine> = fc.record({
  price: fc.integer({ min: 1, max: 40 }),
  demand: fc.oneof(
    fc.double({ min: 0, max: 2.5, noNaN: true }).map(poissonLaw),
    // A mixture far from log-concave, for which marginal analysis may go wrong.
    fc
      .tuple(fc.double({ min: 0.1, max: 0.9, noNaN: true }), fc.double({ min: 2, max: 6, noNaN: true }))
      .map(([weight, mean]) =>
        mixture([
          { weight, probabilities: poissonLaw(0.1) },
          { weight: 1 - weight, probabilities: poissonLaw(mean) },
        ]),
      ),
  ),
  packSize: fc.constantFrom(1, 1, 2, 4),
  held: fc.constantFrom(0, 0, 1, 3),
  weight: fc.constantFrom(1, 1, 0.3, 5),
});
const lines = fc.array(line, { minLength: 1, maxLength: 3 });
const aim = fc.constantFrom<KitAim>("shortage", "joint");
const budget = fc.integer({ min: 0, max: 150 });

/** Every kit within the budget. */
function allKits(list: readonly KitLine[], most: number): number[][] {
  const [first, ...rest] = list;
  if (first === undefined) return [[]];
  const kits: number[][] = [];
  for (let packs = 0; packs * first.price <= most; packs++) {
    for (const others of allKits(rest, most - packs * first.price)) kits.push([packs, ...others]);
  }
  return kits;
}

test("bestKit finds what a search through every kit finds, and never exceeds the budget", () => {
  fc.assert(
    fc.property(lines, aim, budget, (list, wanted, most) => {
      const best = bestKit({ lines: list, aim: wanted, budget: most });
      expect(best.cost).toBeLessThanOrEqual(most);
      const searched = allKits(list, most).map((packs) => evaluateKit(list, packs));
      if (wanted === "shortage") {
        expect(best.expectedShort).toBeCloseTo(Math.min(...searched.map((kit) => kit.expectedShort)), 9);
      } else {
        expect(best.jointChance).toBeCloseTo(Math.max(...searched.map((kit) => kit.jointChance)), 9);
      }
    }),
    { numRuns: 80 },
  );
});

test("the curve rises in cost and in service, and each of its kits is the best for its own cost", () => {
  fc.assert(
    fc.property(lines, aim, budget, (list, wanted, most) => {
      const curve = kitCurve({ lines: list, aim: wanted, budget: most });
      expect(curve[0]!.cost).toBe(0);
      for (let i = 1; i < curve.length; i++) {
        const [before, kit] = [curve[i - 1]!, curve[i]!];
        expect(kit.cost).toBeGreaterThan(before.cost);
        expect(kit.cost).toBeLessThanOrEqual(most);
        if (wanted === "shortage") expect(kit.expectedShort).toBeLessThan(before.expectedShort);
        else expect(kit.jointChance).toBeGreaterThan(before.jointChance);
      }
      for (const kit of [curve[Math.floor(curve.length / 2)]!, curve[curve.length - 1]!]) {
        expect(evaluateKit(list, kit.packs)).toEqual(kit);
        const alone = bestKit({ lines: list, aim: wanted, budget: kit.cost });
        expect(alone.packs).toEqual(kit.packs);
      }
    }),
    { numRuns: 60 },
  );
});

test("marginal analysis is never better than the exact kit, and equals it at its own costs for Poisson demand", () => {
  const poissonLines = fc.array(
    fc.record({
      price: fc.integer({ min: 1, max: 40 }),
      demand: fc.double({ min: 0.05, max: 2.5, noNaN: true }).map(poissonLaw),
    }),
    { minLength: 1, maxLength: 4 },
  );
  fc.assert(
    fc.property(poissonLines, aim, budget, (list, wanted, most) => {
      for (const kit of marginalKits({ lines: list, aim: wanted, budget: most })) {
        expect(kit.cost).toBeLessThanOrEqual(most);
        const exact = bestKit({ lines: list, aim: wanted, budget: kit.cost });
        if (wanted === "shortage") expect(kit.expectedShort).toBeCloseTo(exact.expectedShort, 9);
        else expect(kit.jointChance).toBeCloseTo(exact.jointChance, 9);
      }
      const filled = marginalKits({ lines: list, aim: wanted, budget: most, skip: true }).at(-1)!;
      const exact = bestKit({ lines: list, aim: wanted, budget: most });
      expect(filled.cost).toBeLessThanOrEqual(most);
      expect(filled.expectedShort).toBeGreaterThanOrEqual(
        wanted === "shortage" ? exact.expectedShort - 1e-9 : 0,
      );
    }),
    { numRuns: 60 },
  );
});

test("cheapestKit meets the chance at the lowest cost of all kits that do", () => {
  fc.assert(
    fc.property(
      fc.array(line, { minLength: 1, maxLength: 2 }),
      fc.double({ min: 0.05, max: 0.97, noNaN: true }),
      (list, chance) => {
        const kit = cheapestKit({ lines: list, chance })!;
        expect(kit.jointChance).toBeGreaterThanOrEqual(chance - 1e-9);
        if (kit.cost === 0) return;
        const cheaper = allKits(list, kit.cost - 1).map((packs) => evaluateKit(list, packs).jointChance);
        expect(Math.max(...cheaper)).toBeLessThan(chance);
      },
    ),
    { numRuns: 40 },
  );
});

test("lines that share a cause: the average of the products lies between the product of averages and the smallest", () => {
  const easy = [poissonLaw(0.5), poissonLaw(0.3)];
  const hard = [poissonLaw(3), poissonLaw(2)];
  const stock = [2, 1];
  const scenarios = [
    { weight: 3, demands: easy },
    { weight: 1, demands: hard },
  ];
  const marginals = stock.map((s, i) => 0.75 * pmfCdf(easy[i]!, s) + 0.25 * pmfCdf(hard[i]!, s));
  const joint = jointChance(scenarios, stock);
  expect(joint).toBeGreaterThan(marginals[0]! * marginals[1]!);
  expect(joint).toBeLessThan(Math.min(...marginals));
  expect(joint).toBeGreaterThan(marginals[0]! + marginals[1]! - 1);
});

test("a line that surely runs short is served before anything else, and nothing turns infinite", () => {
  const sure = { price: 30, demand: convolve([0, 0, 1], poissonLaw(0.5)) };
  const other = { price: 5, demand: poissonLaw(2) };
  const best = bestKit({ lines: [sure, other], aim: "joint", budget: 70 });
  expect(best.packs).toEqual([2, 2]);
  const poor = bestKit({ lines: [sure, other], aim: "joint", budget: 20 });
  expect(poor.jointChance).toBe(0);
  expect(Number.isFinite(poor.expectedShort)).toBe(true);
});

test("forty lines with prices to the cent under a large budget are solved exactly in reasonable time", () => {
  const list = Array.from({ length: 40 }, (_, i) => ({
    price: 199 + ((i * 7919) % 2500),
    demand: poissonLaw(0.2 + ((i * 37) % 23) / 10),
  }));
  const started = performance.now();
  const best = bestKit({ lines: list, aim: "joint", budget: 60_000 });
  expect(performance.now() - started).toBeLessThan(8000);
  const greedy = marginalKits({ lines: list, aim: "joint", budget: 60_000, skip: true }).at(-1)!;
  expect(best.cost).toBeLessThanOrEqual(60_000);
  expect(best.jointChance).toBeGreaterThanOrEqual(greedy.jointChance - 1e-12);
});

test("impossible kits are refused", () => {
  const good = { price: 3, demand: [0.5, 0.5] };
  const ask =
    (change: object, most = 10) =>
    () =>
      bestKit({ lines: [{ ...good, ...change }], aim: "joint", budget: most });
  expect(ask({})).not.toThrow();
  for (const change of [
    { price: 0 },
    { price: 1.5 },
    { demand: [0.4] },
    { packSize: 0 },
    { held: -1 },
    { weight: -1 },
  ]) {
    expect(ask(change), JSON.stringify(change)).toThrow(/^kitCurve requires/);
  }
  expect(ask({}, -1)).toThrow(/^kitCurve requires budget/);
  expect(ask({}, Number.NaN)).toThrow(/^kitCurve requires budget/);
  expect(() => cheapestKit({ lines: [good], chance: 1 })).toThrow(RangeError);
  expect(() => evaluateKit([good], [])).toThrow(RangeError);
  expect(bestKit({ lines: [], aim: "joint", budget: 5 })).toEqual({
    packs: [],
    cost: 0,
    expectedShort: 0,
    jointChance: 1,
  });
});

test("marginal analysis used to stop at nothing where a few pieces are surely too few", () => {
  const lines = [
    { price: 3, demand: poissonLaw(200) },
    { price: 5, demand: poissonLaw(1) },
  ];
  // The law leaves out what is less likely than 1e-20 of its mode, so that up to about 100 pieces have no chance at all.
  expect(lines[0]!.demand[50]).toBe(0);
  expect(cheapestKit({ lines, chance: 0.99 })!.jointChance).toBeGreaterThanOrEqual(0.99);
});
