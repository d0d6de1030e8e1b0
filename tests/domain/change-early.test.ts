import { describe, expect, it } from "vitest";
import { changeEarly, dueNow } from "../../src/domain/change-early.ts";
import { ageReplacement } from "../../src/stats/index.ts";

const weibull = (shape: number, scale: number) => (t: number) => -Math.expm1(-((t / scale) ** shape));
const known = (worn: (t: number) => number) => [{ weight: 1, worn }];
const alone = { size: 1, breaksPerUsage: 0, usualLife: 400 };
const costs = { plannedCost: 100, lostRunCost: 400 };

describe("changing early", () => {
  it("agrees with the exact optimum of the law: Weibull shape 2.5, ratio 5 (from 437 to 558 costs within 1 % of 493)", () => {
    const scale = 1000;
    const exact = ageReplacement({
      survival: (t) => 1 - weibull(2.5, scale)(t),
      plannedCost: 100,
      failureCost: 500,
    });
    const early = changeEarly(known(weibull(2.5, scale)), { ...alone, usualLife: scale }, costs);
    expect(Math.abs(early.interval! / exact.interval! - 1)).toBeLessThan(0.01);
    expect(Math.abs(early.within.from - 437)).toBeLessThan(8);
    expect(Math.abs(early.within.to! - 558)).toBeLessThan(8);
    expect(early.saving).toBeCloseTo(exact.saving, 2);
    expect(early.worthwhile).toBe(true);
  });

  it("is not worth it where wear-out does not accelerate, or where nothing is lost", () => {
    expect(changeEarly(known(weibull(1, 300)), alone, costs).worthwhile).toBe(false);
    expect(changeEarly(known(weibull(0.8, 300)), alone, costs).worthwhile).toBe(false);
    expect(changeEarly(known(weibull(4, 300)), alone, { plannedCost: 100, lostRunCost: 0 })).toMatchObject({
      worthwhile: false,
      interval: null,
    });
  });

  it("is worth less where most parts break before they wear out", () => {
    const still = changeEarly(known(weibull(3, 300)), alone, costs);
    const broken = changeEarly(known(weibull(3, 300)), { ...alone, breaksPerUsage: 1 / 150 }, costs);
    expect(broken.saving).toBeLessThan(still.saving);
  });

  it("comes earlier the more a lost run costs, and earlier for a set than for one piece", () => {
    const at = (lostRunCost: number, size = 1) =>
      changeEarly(known(weibull(3, 300)), { ...alone, size }, { plannedCost: 100, lostRunCost }).interval!;
    expect(at(1000)).toBeLessThan(at(400));
    expect(at(400)).toBeLessThan(at(200));
    expect(at(400, 4)).toBeLessThan(at(400));
  });

  it("of a line whose wear is not known exactly is still worth it, though the mixed law of its lives has hardly any rise", () => {
    const laws = [150, 300, 600, 1200].map((scale) => ({ weight: 0.25, worn: weibull(3, scale) }));
    const mixed = known((t) => laws.reduce((sum, { weight, worn }) => sum + weight * worn(t), 0));
    const shared = changeEarly(laws, alone, costs);
    expect(shared.worthwhile).toBe(true);
    expect(shared.saving).toBeGreaterThan(changeEarly(mixed, alone, costs).saving);
  });

  it("has a finite cost for a law without a finite mean", () => {
    const heavy = known((t) => 0.9 * weibull(3, 300)(t) + 0.1 * (t / (t + 5000)));
    const early = changeEarly(heavy, alone, costs);
    expect(early.costRate).toBeGreaterThan(0);
    expect(early.costRate).toBeLessThanOrEqual(early.costRateRunToEnd);
    expect(Number.isFinite(early.costRateRunToEnd)).toBe(true);
  });

  it("of one piece is due when its own risk over a stretch costs more than the stretch is worth", () => {
    const early = changeEarly(known(weibull(3, 300)), alone, costs);
    const limit = (early.costRate * 30) / costs.lostRunCost;
    expect(dueNow(early, limit * 1.05, 30, costs)).toBe(true);
    expect(dueNow(early, limit * 0.95, 30, costs)).toBe(false);
    expect(dueNow(changeEarly(known(weibull(1, 300)), alone, costs), 0.9, 30, costs)).toBe(false);
  });
});
