import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { isDue, packsFor, reorderLevels, restockDecision, type Terms } from "../../src/domain/restock.ts";
import {
  createRandom,
  fillInHorizon,
  negativeBinomialLaw,
  pmfCdf,
  pmfQuantile,
  poissonLaw,
  scaleToBatches,
  type ServiceTarget,
  smallestStock,
} from "../../src/stats/index.ts";

const leadTime = { meanDays: 6, sdDays: 2, byDay: [0, 0, 0, 0, 0.2, 0.3, 0.3, 0.2], deliveries: 3 };
const terms: Terms = { packSize: 1, orderMultiplePacks: 1, priceMinorUnits: 100, leadTime };
const today = "2027-01-01";
const needsOf = (mean: number) =>
  ["2027-01-10", "2027-02-10", "2027-03-10"].map((day, i) => ({
    day,
    needed: poissonLaw((mean * (i + 1)) / 3),
  }));
const anyNeeds = fc.record({
  mean: fc.double({ min: 0.01, max: 60, noNaN: true }),
  size: fc.double({ min: 0.5, max: 20, noNaN: true }),
});
const needsFrom = ({ mean, size }: { mean: number; size: number }) =>
  ["2027-01-10", "2027-03-10"].map((day, i) => ({
    day,
    needed: negativeBinomialLaw({ size, probability: size / (size + (mean * (i + 1)) / 2) }),
  }));
const anyTarget = fc.record({
  kind: fc.constantFrom<ServiceTarget["kind"]>("cycle", "fill"),
  value: fc.double({ min: 0.5, max: 0.999, noNaN: true }),
});
const anyTerms = fc.record({
  packSize: fc.integer({ min: 1, max: 50 }),
  orderMultiplePacks: fc.integer({ min: 1, max: 12 }),
  priceMinorUnits: fc.integer({ min: 0, max: 10_000_000 }),
});
const anyStock = fc.integer({ min: 0, max: 80 });
const runs = { numRuns: 150, seed: 2027 };

describe("what to order of a line", () => {
  it("is whole packs in the supplier's multiples, of whole money, never fewer than none, and meets the target", () => {
    fc.assert(
      fc.property(anyNeeds, anyTarget, anyTerms, anyStock, (need, target, given, stock) => {
        const needs = needsFrom(need);
        const decision = restockDecision(needs, () => stock, target, { ...given, leadTime }, today);
        expect(Number.isSafeInteger(decision.packs) && decision.packs >= 0).toBe(true);
        expect(decision.packs % given.orderMultiplePacks).toBe(0);
        expect(decision.costMinorUnits).toBe(decision.packs * given.priceMinorUnits);
        expect(decision.pieces).toBe(decision.packs * given.packSize);
        const last = needs.at(-1)!.needed;
        const reached =
          target.kind === "cycle" ? decision.chanceWith : fillInHorizon(last, stock + decision.pieces);
        expect(reached).toBeGreaterThanOrEqual(target.value - 1e-9);
        for (const chance of [decision.chanceWith, decision.chanceWithout])
          expect(chance >= 0 && chance <= 1).toBe(true);
        expect(decision.chanceWith).toBeGreaterThanOrEqual(decision.chanceWithout);
      }),
      runs,
    );
  });

  it("more stock never lowers the chance and never orders more", () => {
    fc.assert(
      fc.property(
        anyNeeds,
        anyTarget,
        anyTerms,
        anyStock,
        fc.integer({ min: 1, max: 20 }),
        (need, target, given, stock, more) => {
          const decide = (held: number) =>
            restockDecision(needsFrom(need), () => held, target, { ...given, leadTime }, today);
          const [less, plus] = [decide(stock), decide(stock + more)];
          expect(plus.chanceWithout).toBeGreaterThanOrEqual(less.chanceWithout - 1e-12);
          expect(plus.packs).toBeLessThanOrEqual(less.packs);
          expect(plus.expectedShort).toBeLessThanOrEqual(less.expectedShort + 1e-12);
        },
      ),
      runs,
    );
  });

  it("a higher target never orders less, nor later", () => {
    fc.assert(
      fc.property(
        anyNeeds,
        anyTarget,
        anyTerms,
        anyStock,
        fc.double({ min: 0, max: 1, noNaN: true }),
        (need, target, given, stock, up) => {
          const decide = (value: number) =>
            restockDecision(
              needsFrom(need),
              () => stock,
              { ...target, value },
              { ...given, leadTime },
              today,
            );
          const [low, high] = [decide(target.value), decide(target.value + up * (0.999 - target.value))];
          expect(high.packs).toBeGreaterThanOrEqual(low.packs);
          expect(high.stockWanted).toBeGreaterThanOrEqual(low.stockWanted);
          if (low.orderBy !== null) expect(high.orderBy! <= low.orderBy).toBe(true);
        },
      ),
      runs,
    );
  });

  it("is ordered so early that a slow delivery comes before the day at which what there is gets short", () => {
    const decision = restockDecision(needsOf(6), () => 3, { kind: "cycle", value: 0.9 }, terms, today);
    // 3 last through January (Poisson 2: 86 % is too little), so through none: the first day is short, 7 days before it.
    expect(decision.orderBy).toBe("2027-01-02");
    const later = restockDecision(needsOf(6), () => 4, { kind: "cycle", value: 0.9 }, terms, today);
    expect(later.orderBy).toBe("2027-02-02");
    expect(
      restockDecision(needsOf(6), () => 40, { kind: "cycle", value: 0.9 }, terms, today).orderBy,
    ).toBeNull();
  });

  it("has its day by the target for that, however sure the stock is to be", () => {
    const [sure, usual]: ServiceTarget[] = [
      { kind: "cycle", value: 0.999999 },
      { kind: "cycle", value: 0.9 },
    ];
    const decision = restockDecision(needsOf(6), () => 4, sure!, terms, today, usual);
    const alone = restockDecision(needsOf(6), () => 4, usual!, terms, today);
    expect(decision.orderBy).toBe(alone.orderBy);
    expect(decision.pieces).toBeGreaterThan(alone.pieces);
    // What lasts for the usual target is bought for the last day only.
    expect(restockDecision(needsOf(6), () => 12, sure!, terms, today, usual).orderBy).toBe("2027-03-02");
  });

  it("is late where that day is past", () => {
    const decision = restockDecision(
      needsOf(30),
      () => 0,
      { kind: "cycle", value: 0.9 },
      terms,
      "2027-01-08",
    );
    expect(decision).toMatchObject({ late: true, orderBy: "2027-01-08" });
  });
});

describe("what is ordered of a line that does not keep", () => {
  const needs = needsOf(9);
  const decide = (shelfLifeDays: number | undefined, available = 0) =>
    restockDecision(
      needs,
      () => available,
      { kind: "cycle", value: 0.9 },
      { ...terms, ...(shelfLifeDays === undefined ? {} : { shelfLifeDays }) },
      today,
    );

  it("is for as long as it keeps, and not counted on after that", () => {
    const [keeps, long, short] = [decide(undefined), decide(365), decide(40)];
    expect(long).toEqual(keeps);
    // From 1 January: six days on the way, 40 on the shelf; the need through 10 February is 6.
    expect(short.keepsThrough).toBe("2027-02-16");
    expect(short.stockWanted).toBe(smallestStock(needs[1]!.needed, { kind: "cycle", value: 0.9 }));
    expect(short.packs).toBeLessThan(keeps.packs);
    const surelyUsed = pmfQuantile(needs[1]!.needed, 0.1);
    expect(short.chanceWith).toBeCloseTo(pmfCdf(needs[2]!.needed, surelyUsed), 12);
    expect(short.chanceWith).toBeLessThan(keeps.chanceWith);
  });

  it("is never more than of one that keeps, and never less with a higher target", () => {
    for (const life of [1, 20, 40, 60, 90])
      for (const there of [0, 3, 7]) {
        const packs = [0.5, 0.8, 0.95].map(
          (value) =>
            restockDecision(
              needs,
              () => there,
              { kind: "cycle", value },
              { ...terms, shelfLifeDays: life },
              today,
            ).packs,
        );
        expect(packs).toEqual(packs.toSorted((a, b) => a - b));
        expect(decide(life, there).packs).toBeLessThanOrEqual(decide(undefined, there).packs);
      }
  });
});

describe("reorder levels", () => {
  it("ask for an order where no more than the reorder point is there, but never for one of nothing", () => {
    const levels = { reorderPoint: 3, orderUpTo: 5, expectedNeed: 2, safetyStock: 1, chance: 0.95 };
    expect([2, 3, 4].map((there) => isDue(levels, there))).toEqual([true, true, false]);
    expect([2, 3].map((there) => isDue({ ...levels, orderUpTo: 3 }, there))).toEqual([true, false]);
    expect(isDue({ ...levels, reorderPoint: 0, orderUpTo: 0 }, 0)).toBe(false);
  });

  const within = (days: number) => poissonLaw(0.4 * days);
  it("cover the delivery, and with a review that of the next look: what is not ordered now has to last until then", () => {
    const watched = reorderLevels(within, leadTime, { kind: "cycle", value: 0.9 });
    const weekly = reorderLevels(within, leadTime, { kind: "cycle", value: 0.9 }, 7);
    expect(watched.expectedNeed).toBeCloseTo(0.4 * 5.5, 9);
    expect(watched.orderUpTo).toBe(watched.reorderPoint);
    expect(weekly.expectedNeed).toBeCloseTo(0.4 * 12.5, 9);
    expect(weekly.orderUpTo).toBeGreaterThan(watched.orderUpTo);
    // As many as are not ordered on last until then as often as was asked, one fewer do not.
    expect(weekly.reorderPoint).toBe(weekly.orderUpTo - 1);
    const lasts = (pieces: number) => {
      const whole = leadTime.byDay.map((chance, days) => chance * pmfCdf(within(days + 7), pieces));
      return whole.reduce((sum, one) => sum + one, 0);
    };
    expect(lasts(weekly.orderUpTo)).toBeCloseTo(weekly.chance, 9);
    expect(weekly.chance).toBeGreaterThanOrEqual(0.9);
    expect(lasts(weekly.reorderPoint)).toBeLessThan(0.9);
    expect(watched.chance).toBeGreaterThanOrEqual(0.9);
  });

  it("are those of the calculator: demand of 2 a day, a delivery after 3, a look every 2, for 90 %, are 13 and 14", () => {
    const certain = { meanDays: 3, sdDays: 0, byDay: [0, 0, 0, 1], deliveries: 0 };
    const needed = (days: number) => poissonLaw(2 * days);
    const { reorderPoint, orderUpTo, expectedNeed } = reorderLevels(
      needed,
      certain,
      { kind: "cycle", value: 0.9 },
      2,
    );
    expect([reorderPoint, orderUpTo]).toEqual([13, 14]);
    expect(expectedNeed).toBeCloseTo(10, 9);
  });

  it("allow for sets that take the stock past the point: 20,000 simulated deliveries of sets of four keep the target", () => {
    const certain = { meanDays: 9, sdDays: 0, byDay: [...Array(9).fill(0), 1], deliveries: 0 };
    const sets = (days: number) => scaleToBatches(poissonLaw(0.12 * days), 4);
    const target = { kind: "cycle", value: 0.9 } as const;
    const random = createRandom(5);
    /** Share of orders until whose delivery nothing is short, where stock is ordered up to a level at or below a point. */
    const kept = (
      { reorderPoint, orderUpTo }: { reorderPoint: number; orderUpTo: number },
      start: number,
    ) => {
      let [position, good, orders] = [start, 0, 0];
      while (orders < 20_000) {
        position -= 4;
        if (position > reorderPoint || position >= orderUpTo) continue;
        // What is there and ordered by now has come when this order comes, and has to last until then.
        good += 4 * random.poisson(0.12 * 9) <= position ? 1 : 0;
        orders++;
        position = orderUpTo;
      }
      return good / orders;
    };
    const levels = reorderLevels(sets, certain, target, 0, 4);
    const single = reorderLevels(sets, certain, target);
    expect([single.reorderPoint, levels.reorderPoint, levels.orderUpTo]).toEqual([8, 11, 12]);
    for (const start of [12, 13, 14, 15]) expect(kept(levels, start)).toBeGreaterThan(0.9);
    // Without the allowance the sets take the stock to 4 before an order goes out.
    expect(kept(single, 12)).toBeLessThan(0.75);
    // Looked at once a week, the need between two looks has it in it.
    expect(reorderLevels(sets, certain, target, 7, 4)).toEqual(reorderLevels(sets, certain, target, 7));
    const nothing = reorderLevels(() => [1], certain, target, 0, 4);
    expect([nothing.reorderPoint, nothing.orderUpTo]).toEqual([0, 0]);
  });

  it("never fall with the target or the review period", () => {
    fc.assert(
      fc.property(
        anyTarget,
        fc.integer({ min: 0, max: 60 }),
        fc.integer({ min: 0, max: 60 }),
        (target, a, b) => {
          const [short, long] = [Math.min(a, b), Math.max(a, b)];
          const levels = (days: number, value: number) =>
            reorderLevels(within, leadTime, { ...target, value }, days);
          expect(levels(long, target.value).orderUpTo).toBeGreaterThanOrEqual(
            levels(short, target.value).orderUpTo,
          );
          expect(levels(short, 0.999).orderUpTo).toBeGreaterThanOrEqual(
            levels(short, target.value).orderUpTo,
          );
          expect(levels(short, target.value).orderUpTo).toBeGreaterThanOrEqual(
            levels(short, target.value).reorderPoint,
          );
        },
      ),
      { ...runs, numRuns: 60 },
    );
  });
});

it.each([
  [0, 1, 1, 0],
  [-3, 4, 1, 0],
  [1, 4, 1, 1],
  [5, 4, 1, 2],
  [5, 4, 10, 10],
  [41, 4, 10, 20],
])(
  "%i pieces in packs of %i, sold by %i packs, are %i packs",
  (pieces, packSize, orderMultiplePacks, packs) => {
    expect(packsFor(pieces, { packSize, orderMultiplePacks })).toBe(packs);
  },
);
