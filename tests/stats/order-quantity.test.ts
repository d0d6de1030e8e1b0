import fc from "fast-check";
import { expect, test } from "vitest";
import {
  bestLotReorder,
  bestOrderUpTo,
  economicOrderQuantity,
  economicPacks,
  lotAndReorderLevel,
  lotReorderCost,
  newsvendor,
  newsvendorCost,
  newsvendorNormal,
  normalLoss,
  normalLossInverse,
  normalReorderLevel,
  orderUpToCost,
  poissonLaw,
} from "../../src/stats/index.ts";

fc.configureGlobal({ seed: 20 });

const cost = fc.double({ min: 0.05, max: 50, noNaN: true });
const mean = fc.double({ min: 0.1, max: 12, noNaN: true });

test("the economic order quantity has equal ordering and holding cost, and no pack multiple beats economicPacks", () => {
  fc.assert(
    fc.property(
      mean,
      cost,
      cost,
      fc.integer({ min: 1, max: 9 }),
      fc.integer({ min: 1, max: 30 }),
      (d, k, h, q, m) => {
        const problem = { demandRate: d, orderCost: k, holdingCost: h };
        const lot = economicOrderQuantity(problem);
        expect((k * d) / lot).toBeCloseTo((h * lot) / 2, 8);
        const best = economicPacks({ ...problem, packSize: q, minimumOrder: m });
        expect(best.quantity % q).toBe(0);
        expect(best.quantity).toBeGreaterThanOrEqual(m);
        for (let packs = Math.ceil(m / q); packs < 300; packs++) {
          expect(best.costRate).toBeLessThanOrEqual((k * d) / (packs * q) + (h * packs * q) / 2 + 1e-12);
        }
      },
    ),
    { numRuns: 50 },
  );
});

test("no quantity costs less than the newsvendor's", () => {
  fc.assert(
    fc.property(mean, cost, cost, (mu, under, over) => {
      const demand = poissonLaw(mu);
      const best = newsvendor({ demand, under, over });
      for (let quantity = 0; quantity < 40; quantity++) {
        expect(best.cost).toBeLessThanOrEqual(newsvendorCost({ demand, under, over, quantity }) + 1e-9);
      }
    }),
  );
  const normal = newsvendorNormal({ mean: 50, sd: 0, under: 1, over: 1 });
  expect(normal).toEqual({ quantity: 50, cost: 0 });
});

test("bestLotReorder is the cheapest of every lot and reorder point in reach", () => {
  fc.assert(
    fc.property(mean, cost, cost, cost, (mu, h, b, k) => {
      const problem = {
        leadTimeDemand: poissonLaw(mu),
        demandRate: 1.3,
        holdingCost: h,
        backorderCost: b,
        orderCost: k,
      };
      const best = bestLotReorder(problem);
      expect(lotReorderCost({ ...problem, ...best })).toBeCloseTo(best.costRate, 8);
      for (let r = best.reorderPoint - 4; r <= best.reorderPoint + 4; r++) {
        for (let lot = Math.max(1, best.lot - 4); lot <= best.lot + 4; lot++) {
          const other = lotReorderCost({ ...problem, reorderPoint: r, lot });
          expect(best.costRate).toBeLessThanOrEqual(other + 1e-9 * other);
        }
      }
    }),
    { numRuns: 30 },
  );
});

test("bestOrderUpTo is the cheapest of every pair of levels in reach", () => {
  fc.assert(
    fc.property(
      fc.double({ min: 0.3, max: 5, noNaN: true }),
      cost,
      cost,
      fc.double({ min: 0, max: 20, noNaN: true }),
      (mu, h, b, k) => {
        const problem = { demand: poissonLaw(mu), holdingCost: h, backorderCost: b, orderCost: k };
        const best = bestOrderUpTo(problem);
        for (let s = best.reorderPoint - 5; s <= best.reorderPoint + 5; s++) {
          for (let level = Math.max(s + 1, best.orderUpTo - 6); level <= best.orderUpTo + 6; level++) {
            const other = orderUpToCost({ ...problem, reorderPoint: s, orderUpTo: level });
            expect(best.costRate).toBeLessThanOrEqual(other * (1 + 1e-9));
          }
        }
      },
    ),
    { numRuns: 30 },
  );
});

test("the unit normal loss falls, is convex, and its inverse gives z back from -30 to 30", () => {
  for (let z = -30; z <= 30; z += 0.37) {
    const loss = normalLoss(z);
    expect(loss).toBeGreaterThan(normalLoss(z + 0.1));
    expect(normalLoss(z - 0.1) + normalLoss(z + 0.1)).toBeGreaterThanOrEqual(2 * loss);
    expect(normalLossInverse(loss)).toBeCloseTo(z, 7);
  }
  expect(normalLoss(40)).toBe(0);
  expect(normalLoss(-Infinity)).toBe(Infinity);
});

test("lot and reorder level satisfy both of their conditions", () => {
  const problem = {
    demandRate: 200,
    orderCost: 50,
    holdingCost: 2,
    shortageCost: 25,
    levelAt: (chance: number) => 100 * (1 - chance),
    shortAt: (level: number) => (100 - level) ** 2 / 200,
  };
  const { lot, reorderLevel, expectedShort } = lotAndReorderLevel(problem);
  expect(1 - reorderLevel / 100).toBeCloseTo((lot * 2) / (25 * 200), 10);
  expect(lot).toBeCloseTo(Math.sqrt((2 * 200 * (50 + 25 * expectedShort)) / 2), 8);
  expect(() => lotAndReorderLevel({ ...problem, shortageCost: 0.5 })).toThrow("cost more than holding a lot");
});

test("impossible costs are refused with a RangeError that names the function", () => {
  const lot = { demandRate: 1, orderCost: 1, holdingCost: 1 };
  expect(() => economicOrderQuantity({ ...lot, holdingCost: 0 })).toThrow(/^economicOrderQuantity requires/);
  expect(() => economicOrderQuantity({ ...lot, demandRate: Number.NaN })).toThrow(
    /^economicOrderQuantity requires/,
  );
  expect(() => economicPacks({ ...lot, packSize: 0 })).toThrow(/^economicPacks requires/);
  expect(() => newsvendor({ demand: [1], under: 0, over: 1 })).toThrow(/^criticalRatio requires/);
  expect(() => newsvendorNormal({ mean: 1, sd: -1, under: 1, over: 1 })).toThrow(
    /^newsvendorNormal requires/,
  );
  const target = { kind: "fill", value: 0.9 } as const;
  expect(() => normalReorderLevel({ mean: 1, sd: 1, target })).toThrow(/^normalReorderLevel requires a lot/);
  const policy = { holdingCost: 1, backorderCost: 1, orderCost: 1 };
  expect(() => bestOrderUpTo({ ...policy, demand: [1] })).toThrow("a demand that can be above 0");
  expect(() => bestOrderUpTo({ ...policy, backorderCost: 0, demand: [0, 1] })).toThrow(
    /^bestOrderUpTo requires/,
  );
  expect(() => normalLossInverse(0)).toThrow(/^normalLossInverse requires/);
  expect(() => normalLoss(Number.NaN)).toThrow(/^normalLoss requires/);
});
