import fc from "fast-check";
import { expect, test } from "vitest";
import {
  type DemandRate,
  expectedShort,
  levelsForDemand,
  orderPositions,
  orderQuantity,
  periodicFillRate,
  pmfCdf,
  pmfMean,
  poissonLaw,
  serviceMeasures,
  smallestStock,
  stockLevels,
} from "../../src/stats/index.ts";

fc.configureGlobal({ seed: 20 });

const demand: fc.Arbitrary<DemandRate> = fc.oneof(
  fc.double({ min: 0, max: 8, noNaN: true }).map((rate) => ({ kind: "poisson", rate }) as const),
  fc
    .tuple(fc.double({ min: 0.1, max: 6, noNaN: true }), fc.double({ min: 1.05, max: 4, noNaN: true }))
    .map(([mean, ratio]) => ({ kind: "negative-binomial", mean, variance: mean * ratio }) as const),
  fc
    .tuple(fc.double({ min: 0.5, max: 50, noNaN: true }), fc.double({ min: 0, max: 0.6, noNaN: true }))
    .map(([mean, variation]) => ({ kind: "normal", mean, sd: mean * variation }) as const),
  fc
    .array(fc.integer({ min: 0, max: 9 }), { minLength: 1, maxLength: 6 })
    .filter((weights) => weights.some((weight) => weight > 0))
    .map((weights) => {
      const sum = weights.reduce((total, weight) => total + weight, 0);
      return { kind: "table", probabilities: weights.map((weight) => weight / sum) } as const;
    }),
);
const problem = fc.record({
  demand,
  leadTime: fc.record({
    mean: fc.double({ min: 0.1, max: 6, noNaN: true }),
    sd: fc.constantFrom(0, 0.2, 1),
  }),
  reviewPeriod: fc.constantFrom(0, 1, 2.5),
  target: fc.record({
    kind: fc.constantFrom("cycle" as const, "fill" as const),
    value: fc.double({ min: 0.3, max: 0.995, noNaN: true }),
  }),
  packSize: fc.constantFrom(1, 2, 5),
  minimumOrder: fc.constantFrom(1, 4, 7),
});

test("stockLevels meets its target with the smallest reorder point, and gives no NaN for any valid input", () => {
  fc.assert(
    fc.property(problem, (input) => {
      const levels = stockLevels(input);
      for (const value of Object.values(levels)) expect(Number.isFinite(value)).toBe(true);
      expect(levels.reorderPoint).toBeGreaterThanOrEqual(-1);
      expect(levels.orderUpTo).toBeGreaterThan(levels.reorderPoint);
      expect(levels.expectedShort).toBeGreaterThanOrEqual(0);
      const reached = input.target.kind === "cycle" ? levels.cycleServiceLevel : levels.fillRate;
      expect(reached).toBeGreaterThanOrEqual(input.target.value - 1e-9);
      for (const rate of [levels.cycleServiceLevel, levels.fillRate]) {
        expect(rate).toBeGreaterThanOrEqual(0);
        expect(rate).toBeLessThanOrEqual(1);
      }
    }),
    { numRuns: 150 },
  );
});

test("a higher target never lowers the reorder point, the service or the safety stock", () => {
  fc.assert(
    fc.property(problem, fc.double({ min: 0.001, max: 0.3, noNaN: true }), (input, more) => {
      const { kind, value } = input.target;
      const lower = stockLevels(input);
      const higher = stockLevels({ ...input, target: { kind, value: value + (0.999 - value) * more } });
      expect(higher.reorderPoint).toBeGreaterThanOrEqual(lower.reorderPoint);
      expect(higher.cycleServiceLevel).toBeGreaterThanOrEqual(lower.cycleServiceLevel - 1e-12);
      expect(higher.fillRate).toBeGreaterThanOrEqual(lower.fillRate - 1e-12);
      expect(higher.safetyStock).toBeGreaterThanOrEqual(lower.safetyStock);
      expect(higher.expectedShort).toBeLessThanOrEqual(lower.expectedShort + 1e-12);
    }),
    { numRuns: 60 },
  );
});

test("an order lifts the position above the reorder point, is whole packs, at least the minimum, and never negative", () => {
  const whole = fc.integer({ min: -30, max: 60 });
  fc.assert(
    fc.property(
      whole,
      whole,
      fc.integer({ min: 1, max: 12 }),
      fc.integer({ min: 0, max: 40 }),
      (p, r, q, m) => {
        const order = orderQuantity({ position: p, reorderPoint: r, packSize: q, minimumOrder: m });
        if (p > r) {
          expect(order).toBe(0);
          return;
        }
        expect(order).toBeGreaterThan(0);
        expect(order % q).toBe(0);
        expect(order).toBeGreaterThanOrEqual(m);
        expect(p + order).toBeGreaterThan(r);
        if (order - q >= m) expect(p + order - q).toBeLessThanOrEqual(r);
      },
    ),
  );
});

test("the order of a position is one of the positions of orderPositions", () => {
  const batch = [0, 0.5, 0, 0.3, 0.2];
  const positions = orderPositions({ reorderPoint: 6, packSize: 3, minimumOrder: 5, batch });
  const known = new Set(positions.map(({ position }) => position));
  for (const { position } of positions) {
    for (const size of [1, 3, 4]) {
      const after = position - size;
      const order = orderQuantity({ position: after, reorderPoint: 6, packSize: 3, minimumOrder: 5 });
      expect(known.has(after + order)).toBe(true);
    }
  }
  expect(positions.reduce((sum, { probability }) => sum + probability, 0)).toBeCloseTo(1, 12);
});

test("the law of the position is the one that a plain walk through the chain settles on", () => {
  fc.assert(
    fc.property(
      fc.integer({ min: 1, max: 4 }),
      fc.integer({ min: 1, max: 9 }),
      fc
        .array(fc.integer({ min: 0, max: 5 }), { minLength: 1, maxLength: 9 })
        .filter((list) => list.some((w) => w > 0)),
      (packSize, minimumOrder, weights) => {
        const sum = weights.reduce((total, weight) => total + weight, 0);
        const batch = [0, ...weights.map((weight) => weight / sum)];
        const positions = orderPositions({ reorderPoint: 0, packSize, minimumOrder, batch });
        const least = Math.ceil(minimumOrder / packSize) * packSize;
        let law = new Map([[least, 1]]);
        const average = new Map<number, number>();
        const steps = 6000;
        for (let step = 0; step < steps; step++) {
          const next = new Map<number, number>();
          for (const [position, chance] of law) {
            average.set(position, (average.get(position) ?? 0) + chance / steps);
            for (let size = 1; size < batch.length; size++) {
              if (batch[size] === 0) continue;
              const left = position - size;
              const after = left + orderQuantity({ position: left, reorderPoint: 0, packSize, minimumOrder });
              next.set(after, (next.get(after) ?? 0) + chance * batch[size]!);
            }
          }
          law = next;
        }
        // The average over a walk nears the law with the inverse of its length.
        for (const { position, probability } of positions) {
          expect(Math.abs((average.get(position) ?? 0) - probability)).toBeLessThan(30 / steps);
        }
        expect(positions.reduce((total, { probability }) => total + probability, 0)).toBeCloseTo(1, 9);
      },
    ),
    { numRuns: 15 },
  );
});

test("a minimum order of 500 units against batches of a few is worked out at once (took two minutes)", () => {
  const started = performance.now();
  const levels = stockLevels({
    demand: { kind: "negative-binomial", mean: 50, variance: 500 },
    leadTime: { mean: 10, sd: 3 },
    minimumOrder: 500,
    target: { kind: "fill", value: 0.98 },
  });
  expect(levels.reorderPoint).toBe(731);
  expect(levels.fillRate).toBeCloseTo(0.98004, 5);
  expect(performance.now() - started).toBeLessThan(10_000);
});

test("pairs bought in packs of two from an even position stay even", () => {
  const positions = orderPositions({ reorderPoint: 3, packSize: 2, batch: [0, 0, 1] });
  expect(positions).toEqual([{ position: 5, probability: 1 }]);
});

test("on hand less backorders is the mean position less the mean lead-time demand", () => {
  fc.assert(
    fc.property(
      fc.double({ min: 0, max: 12, noNaN: true }),
      fc.integer({ min: 0, max: 20 }),
      (mean, stock) => {
        const leadTimeDemand = poissonLaw(mean);
        const positions = [{ position: stock, probability: 1 }];
        const { onHand, backorders } = serviceMeasures({ leadTimeDemand, positions, batch: [0, 0.5, 0.5] });
        expect(onHand - backorders).toBeCloseTo(stock - mean, 9);
        expect(backorders).toBeCloseTo(expectedShort(leadTimeDemand, stock), 10);
      },
    ),
  );
});

test("the periodic fill rate equals the sum of differences of cumulative chances over the stock", () => {
  const [leadTimeDemand, protectionDemand] = [poissonLaw(3.6), poissonLaw(6)];
  for (let orderUpTo = 0; orderUpTo < 14; orderUpTo++) {
    let sum = 0;
    for (let k = 1; k <= orderUpTo; k++)
      sum += pmfCdf(leadTimeDemand, k - 1) - pmfCdf(protectionDemand, k - 1);
    expect(periodicFillRate({ leadTimeDemand, protectionDemand, orderUpTo })).toBeCloseTo(sum / 2.4, 12);
  }
  expect(periodicFillRate({ leadTimeDemand, protectionDemand: leadTimeDemand, orderUpTo: 3 })).toBe(1);
});

test("smallestStock is the smallest for both targets, and more stock never lowers the chance", () => {
  fc.assert(
    fc.property(
      fc.double({ min: 0.05, max: 20, noNaN: true }),
      fc.double({ min: 0.05, max: 0.999, noNaN: true }),
      (mean, value) => {
        const law = poissonLaw(mean);
        const fill = (stock: number) => 1 - expectedShort(law, stock) / pmfMean(law);
        const forFill = smallestStock(law, { kind: "fill", value });
        expect(fill(forFill)).toBeGreaterThanOrEqual(value - 1e-9);
        if (forFill > 0) expect(fill(forFill - 1)).toBeLessThan(value);
        const forCycle = smallestStock(law, { kind: "cycle", value });
        expect(pmfCdf(law, forCycle)).toBeGreaterThanOrEqual(value - 1e-9);
        if (forCycle > 0) expect(pmfCdf(law, forCycle - 1)).toBeLessThan(value);
        for (let s = 0; s < 20; s++) expect(pmfCdf(law, s + 1)).toBeGreaterThanOrEqual(pmfCdf(law, s));
      },
    ),
  );
});

test("without demand nothing is held and nothing is short", () => {
  for (const kind of ["cycle", "fill"] as const) {
    const target = { kind, value: 0.95 };
    for (const reviewPeriod of [0, 7]) {
      const none = {
        demand: { kind: "poisson", rate: 0 },
        leadTime: { mean: 5, sd: 2 },
        target,
        reviewPeriod,
      } as const;
      expect(stockLevels(none)).toEqual({
        reorderPoint: -1,
        orderUpTo: 0,
        safetyStock: 0,
        cycleServiceLevel: 1,
        fillRate: 1,
        expectedShort: 0,
      });
    }
    expect(smallestStock([1], target)).toBe(0);
  }
});

test("levels from laws and levels from a rate agree", () => {
  const target = { kind: "fill", value: 0.97 } as const;
  const packs = { packSize: 4, minimumOrder: 10 };
  const fromLaws = levelsForDemand({
    leadTimeDemand: poissonLaw(6),
    protectionDemand: poissonLaw(10),
    batch: poissonLaw(4),
    target,
    ...packs,
  });
  const demand = { kind: "poisson", rate: 2 } as const;
  const fromRate = stockLevels({ demand, leadTime: { mean: 3 }, reviewPeriod: 2, target, ...packs });
  expect(fromLaws).toEqual(fromRate);
});

test("impossible input is refused with a RangeError that names the function", () => {
  const good = {
    demand: { kind: "poisson", rate: 1 },
    leadTime: { mean: 2 },
    target: { kind: "cycle", value: 0.9 },
  } as const;
  for (const change of [
    { demand: { kind: "poisson", rate: -1 } },
    { demand: { kind: "poisson", rate: Number.NaN } },
    { demand: { kind: "negative-binomial", mean: 2, variance: 1 } },
    { demand: { kind: "table", probabilities: [0.5] } },
    { demand: { kind: "normal", mean: 5, sd: -1 } },
    { leadTime: { mean: -1 } },
    { leadTime: { mean: 1, sd: Number.NaN } },
    { reviewPeriod: -1 },
    { target: { kind: "cycle", value: 1 } },
    { target: { kind: "fill", value: 0 } },
    { packSize: 0 },
    { packSize: 1.5 },
    { minimumOrder: -1 },
  ] as const) {
    const bad = { ...good, ...change };
    expect(() => stockLevels(bad), JSON.stringify(change)).toThrow(RangeError);
    expect(() => stockLevels(bad), JSON.stringify(change)).toThrow(/requires/);
  }
});
