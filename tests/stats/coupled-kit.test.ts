import fc from "fast-check";
import { expect, test } from "vitest";
import { bestKit, coupledKit, jointChance, poissonLaw } from "../../src/stats/index.ts";

fc.configureGlobal({ seed: 20 });

const lines = fc.array(
  fc.record({
    price: fc.integer({ min: 3, max: 40 }),
    packSize: fc.constantFrom(1, 1, 2),
    held: fc.constantFrom(0, 0, 1),
    mean: fc.double({ min: 0.1, max: 2.5, noNaN: true }),
  }),
  { minLength: 1, maxLength: 3 },
);
const factors = [
  { weight: 1, factor: 0.4 },
  { weight: 2, factor: 1 },
  { weight: 1, factor: 2.5 },
];
type Line = { price: number; packSize: number; held: number; mean: number };
const scenariosOf = (list: readonly Line[]) =>
  factors.map(({ weight, factor }) => ({
    weight,
    demands: list.map(({ mean }) => poissonLaw(factor * mean)),
  }));
const piecesOf = (list: readonly Line[], packs: readonly number[]) =>
  list.map(({ held, packSize }, i) => held + packs[i]! * packSize);

function bestChance(list: readonly Line[], budget: number): number {
  const scenarios = scenariosOf(list);
  let best = 0;
  const search = (index: number, left: number, packs: number[]) => {
    if (index === list.length) {
      best = Math.max(best, jointChance(scenarios, piecesOf(list, packs)));
      return;
    }
    for (let count = 0; count * list[index]!.price <= left && count < 30; count++) {
      search(index + 1, left - count * list[index]!.price, [...packs, count]);
    }
  };
  search(0, budget, []);
  return best;
}

test("coupledKit keeps to the budget, states its true chance, and comes within 1 % of a search through every kit", () => {
  fc.assert(
    fc.property(lines, fc.integer({ min: 0, max: 130 }), (list, budget) => {
      const kit = coupledKit({ lines: list, scenarios: scenariosOf(list), budget });
      expect(kit.cost).toBeLessThanOrEqual(budget);
      expect(kit.jointChance).toBeCloseTo(jointChance(scenariosOf(list), piecesOf(list, kit.packs)), 12);
      const best = bestChance(list, budget);
      expect(kit.jointChance).toBeLessThanOrEqual(best + 1e-10);
      expect(kit.jointChance).toBeGreaterThanOrEqual(0.99 * best);
    }),
    { numRuns: 80 },
  );
});

test("with one scenario it comes within 1 % of the exact kit for independent lines", () => {
  const demands = [1.2, 0.6, 2.5, 0.3].map(poissonLaw);
  const prices = [18, 45, 9, 70];
  for (const budget of [60, 100, 150, 200, 250, 300]) {
    const exact = bestKit({
      lines: demands.map((demand, i) => ({ demand, price: prices[i]! })),
      aim: "joint",
      budget,
    });
    const found = coupledKit({
      lines: prices.map((price) => ({ price })),
      scenarios: [{ weight: 1, demands }],
      budget,
    });
    expect(found.jointChance).toBeGreaterThanOrEqual(0.99 * exact.jointChance);
    expect(found.jointChance).toBeLessThanOrEqual(exact.jointChance + 1e-12);
  }
});

test("a line that surely runs short is bought for first; where the money does not reach, the chance is 0", () => {
  const scenarios = [{ weight: 1, demands: [[0, 0, 0.5, 0.5], poissonLaw(1)] }];
  const ask = (budget: number) => coupledKit({ lines: [{ price: 10 }, { price: 3 }], scenarios, budget });
  expect(ask(20).packs).toEqual([2, 0]);
  expect(ask(20).jointChance).toBeCloseTo(0.5 * Math.exp(-1), 12);
  expect(ask(12).jointChance).toBe(0);
  expect(ask(0)).toEqual({ packs: [0, 0], cost: 0, jointChance: 0 });
});

test("impossible input is refused with a RangeError that names the function", () => {
  const good = { lines: [{ price: 2 }], scenarios: [{ weight: 1, demands: [[0.5, 0.5]] }], budget: 5 };
  expect(() => coupledKit(good)).not.toThrow();
  for (const change of [
    { budget: -1 },
    { lines: [{ price: 0 }] },
    { scenarios: [] },
    { scenarios: [{ weight: -1, demands: [[1]] }] },
    { scenarios: [{ weight: 1, demands: [] }] },
    { scenarios: [{ weight: 1, demands: [[0.5]] }] },
  ]) {
    expect(() => coupledKit({ ...good, ...change }), JSON.stringify(change)).toThrow(/^coupledKit requires/);
  }
});
