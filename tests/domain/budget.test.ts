import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { type BudgetLine, budgetPlan, targetPlan } from "../../src/domain/budget.ts";
import { kitCurve, pmfCdf, poissonLaw, scaleToBatches } from "../../src/stats/index.ts";

const anyLine: fc.Arbitrary<BudgetLine> = fc
  .record({
    mean: fc.double({ min: 0.05, max: 5, noNaN: true }),
    batch: fc.constantFrom(1, 1, 2, 4),
    held: fc.integer({ min: 0, max: 4 }),
    unitPieces: fc.integer({ min: 1, max: 4 }),
    unitPrice: fc.integer({ min: 1, max: 40 }),
  })
  .map(({ mean, batch, ...line }) => ({ needed: scaleToBatches(poissonLaw(mean), batch), ...line }));
const anyLines = fc.array(anyLine, { minLength: 1, maxLength: 4 });
const anyBudget = fc.integer({ min: 0, max: 160 });
const runs = { numRuns: 150, seed: 41 };

/** The best of every choice that the money pays for. */
function bruteForce(lines: readonly BudgetLine[], budget: number, from = 0): number {
  const line = lines[from];
  if (line === undefined) return 1;
  let best = 0;
  for (let units = 0; units * line.unitPrice <= budget; units++) {
    const chance = pmfCdf(line.needed, line.held + units * line.unitPieces);
    best = Math.max(best, chance * bruteForce(lines, budget - units * line.unitPrice, from + 1));
    if (chance > 1 - 1e-9) break;
  }
  return best;
}

describe("the plan for a budget", () => {
  it("never spends more than the budget, nor buys less than nothing", () => {
    fc.assert(
      fc.property(anyLines, anyBudget, (lines, budget) => {
        const plan = budgetPlan(lines, budget);
        expect(plan.spent).toBe(plan.units.reduce((sum, units, i) => sum + units * lines[i]!.unitPrice, 0));
        expect(plan.spent).toBeLessThanOrEqual(budget);
        expect(plan.units.every((units) => Number.isSafeInteger(units) && units >= 0)).toBe(true);
        expect(plan.chance).toBeCloseTo(
          lines.reduce(
            (p, line, i) => p * pmfCdf(line.needed, line.held + plan.units[i]! * line.unitPieces),
            1,
          ),
          9,
        );
      }),
      runs,
    );
  });

  it("is no better than the best of all choices, which is no better than the bound stated", () => {
    fc.assert(
      fc.property(anyLines, fc.integer({ min: 0, max: 80 }), (lines, budget) => {
        const plan = budgetPlan(lines, budget);
        const best = bruteForce(lines, budget);
        // A pack that gains less than 1e-7 is not looked at, by either in its own way.
        expect(plan.chance).toBeLessThanOrEqual(best + 1e-6);
        expect(best).toBeLessThanOrEqual(plan.chanceAtMost + 1e-6);
      }),
      { ...runs, numRuns: 100 },
    );
  });

  it("is the best choice at every corner of its curve: as the exact kits of the same cost", () => {
    const lines: BudgetLine[] = [
      { needed: poissonLaw(1.5), held: 0, unitPieces: 1, unitPrice: 9 },
      { needed: poissonLaw(0.7), held: 1, unitPieces: 1, unitPrice: 4 },
      { needed: poissonLaw(3), held: 2, unitPieces: 2, unitPrice: 11 },
    ];
    const kits = kitCurve({
      lines: lines.map(({ needed, held, unitPieces, unitPrice }) => ({
        demand: needed,
        held,
        packSize: unitPieces,
        price: unitPrice,
      })),
      aim: "joint",
      budget: 60,
    });
    for (const step of budgetPlan(lines, 60).curve.filter(({ spent }) => spent <= 60)) {
      const best = Math.max(
        ...kits.filter(({ cost }) => cost <= step.spent).map(({ jointChance }) => jointChance),
      );
      expect(step.chance).toBeCloseTo(best, 9);
      expect(budgetPlan(lines, step.spent).chance).toBeCloseTo(best, 9);
    }
  });

  it("gives each next step of the curve less for its money than the one before", () => {
    fc.assert(
      fc.property(anyLines, (lines) => {
        const { curve } = budgetPlan(lines, 0);
        let before = Infinity;
        let chance = lines.reduce((p, line) => p * pmfCdf(line.needed, line.held), 1);
        for (const step of curve) {
          if (chance > 1e-200) {
            const rate = Math.log(step.chance / chance) / step.cost;
            expect(rate).toBeLessThanOrEqual(before * (1 + 1e-6) + 1e-9);
            before = rate;
          }
          chance = step.chance;
        }
      }),
      runs,
    );
  });

  it("buys a whole set where one piece of it gains nothing", () => {
    const set = { needed: scaleToBatches([0.2, 0.8], 4), held: 0, unitPieces: 1, unitPrice: 5 };
    expect(budgetPlan([set], 19).units).toEqual([0]);
    expect(budgetPlan([set], 20)).toMatchObject({ units: [4], spent: 20 });
    expect(budgetPlan([set], 19).next).toMatchObject({ line: 0, units: 4, cost: 20 });
  });

  it("takes what costs nothing, and says what the next money would buy", () => {
    const free = { needed: poissonLaw(2), held: 0, unitPieces: 1, unitPrice: 0 };
    const dear = { needed: poissonLaw(1), held: 0, unitPieces: 1, unitPrice: 700 };
    const plan = budgetPlan([free, dear], 699);
    expect(plan.spent).toBe(0);
    expect(plan.units[0]).toBeGreaterThan(5);
    expect(plan.next).toMatchObject({ line: 1, units: 1, cost: 700 });
    expect(plan.next!.chance).toBeGreaterThan(plan.chance);
    expect(budgetPlan([free], 0).next).toBeNull();
    expect(budgetPlan([], 100)).toMatchObject({ units: [], spent: 0, chance: 1, next: null });
  });
});

/** The least money with which every line together reaches the target. */
function leastMoney(lines: readonly BudgetLine[], target: number, most: number): number {
  let least = Infinity;
  const from = (i: number, chance: number, spent: number): void => {
    if (spent >= least || chance < target - 1e-12) return;
    const line = lines[i];
    if (line === undefined) {
      least = spent;
      return;
    }
    for (let units = 0; spent + units * line.unitPrice <= most; units++) {
      const own = pmfCdf(line.needed, line.held + units * line.unitPieces);
      from(i + 1, chance * own, spent + units * line.unitPrice);
      if (own > 1 - 1e-9) break;
    }
  };
  from(0, 1, 0);
  return least;
}

describe("the plan for a target of the whole list", () => {
  const anyTarget = fc.double({ min: 0.5, max: 0.99, noNaN: true });

  it("reaches the target with no unit to spare, and its money is that of its packs", () => {
    fc.assert(
      fc.property(anyLines, anyTarget, (lines, target) => {
        const plan = targetPlan(lines, target);
        const chanceWith = (units: readonly number[]) =>
          lines.reduce((p, line, i) => p * pmfCdf(line.needed, line.held + units[i]! * line.unitPieces), 1);
        expect(plan.chance).toBeCloseTo(chanceWith(plan.units), 9);
        expect(plan.chance).toBeGreaterThanOrEqual(target - 1e-9);
        expect(plan.spent).toBe(plan.units.reduce((sum, units, i) => sum + units * lines[i]!.unitPrice, 0));
        plan.units.forEach((units, i) => {
          expect(Number.isSafeInteger(units) && units >= 0).toBe(true);
          if (units > 0) expect(chanceWith(plan.units.with(i, units - 1))).toBeLessThan(target);
        });
      }),
      runs,
    );
  });

  it("costs at least what the cheapest of all choices costs, which costs at least the bound stated", () => {
    let ours = 0;
    let best = 0;
    fc.assert(
      fc.property(anyLines, anyTarget, (lines, target) => {
        const plan = targetPlan(lines, target);
        const least = leastMoney(lines, target, plan.spent);
        expect(least).toBeLessThanOrEqual(plan.spent);
        expect(plan.spentAtLeast).toBeLessThanOrEqual(least);
        ours += plan.spent;
        best += least;
      }),
      { ...runs, numRuns: 100 },
    );
    // Over all of them together it pays a few hundredths more than the cheapest choice.
    expect(ours).toBeLessThan(1.04 * best);
  });

  it("buys nothing where what there is reaches the target already", () => {
    const lines: BudgetLine[] = [{ needed: [0.95, 0.05], held: 0, unitPieces: 1, unitPrice: 10 }];
    expect(targetPlan(lines, 0.95)).toMatchObject({ units: [0], spent: 0, spentAtLeast: 0 });
    expect(targetPlan(lines, 0.96)).toMatchObject({ units: [1], spent: 10, chance: 1 });
    expect(targetPlan([], 0.9)).toEqual({ units: [], spent: 0, chance: 1, spentAtLeast: 0 });
  });
});
