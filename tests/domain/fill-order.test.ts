import fc from "fast-check";
import { expect, it } from "vitest";
import { fillOrder } from "../../src/domain/fill-order.ts";
import { poissonLaw } from "../../src/stats/index.ts";

const line = (mean: number, stocked: number, unitPrice: number) => ({
  needed: poissonLaw(mean),
  stocked,
  unitPieces: 1,
  unitPrice,
});

it("an order below the minimum is filled with what is most likely to be used, and no further than needed", () => {
  // A sixth of the first (8 %), a seventh of the second (4.5 %), a seventh of the first (3.4 %).
  expect(fillOrder([line(3, 5, 400), line(3.2, 6, 100)], 700)).toEqual([2, 1]);
  expect(fillOrder([line(3, 5, 400), line(3.2, 6, 100)], 500)).toEqual([1, 1]);
  expect(fillOrder([line(3, 5, 400), line(0.1, 1, 100)], 401)).toEqual([2, 0]);
  expect(fillOrder([line(3, 5, 400)], 0)).toEqual([0]);
});

it("it is not filled with what will hardly ever be used", () => {
  expect(fillOrder([line(0.1, 2, 400)], 4000)).toBeNull();
  expect(fillOrder([], 1)).toBeNull();
  // The fourth is used with 35 %, the third with 58 %.
  expect(fillOrder([line(3, 2, 400)], 400, 0.5)).toEqual([1]);
  expect(fillOrder([line(3, 2, 400)], 401, 0.5)).toBeNull();
});

it("what is added reaches the minimum, and would not without its last unit", () => {
  fc.assert(
    fc.property(
      fc.array(fc.tuple(fc.integer({ min: 1, max: 20 }), fc.integer({ min: 1, max: 900 })), {
        minLength: 1,
        maxLength: 5,
      }),
      fc.integer({ min: 1, max: 3000 }),
      (given, missing) => {
        const lines = given.map(([mean, price]) => line(mean, mean, price));
        const units = fillOrder(lines, missing);
        if (units === null) return;
        const cost = units.reduce((sum, n, i) => sum + n * lines[i]!.unitPrice, 0);
        expect(cost).toBeGreaterThanOrEqual(missing);
        const dearest = Math.max(...lines.filter((_, i) => units[i]! > 0).map(({ unitPrice }) => unitPrice));
        expect(cost - dearest).toBeLessThan(missing);
      },
    ),
    { numRuns: 100, seed: 9 },
  );
});
