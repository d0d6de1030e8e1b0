import { describe, expect, it } from "vitest";
import { breakageEvidence, unbrokenChance } from "../../src/domain/breakage.ts";
import { shippedKinds } from "../../seeds/index.ts";
import type { Kind } from "../../src/domain/kind.ts";
import {
  type SeenAtUsage,
  sizeAt,
  wearLimit,
  wearPiece,
  wearPrior,
  wearScale,
} from "../../src/domain/wear.ts";

const kind = (code: string): Kind => ({
  ...shippedKinds.find((one) => one.code === code)!,
  id: code,
  shipped: true,
});
const same = { asNew: null, limits: null, usualLife: null };
const piece = { id: "p", asNew: null, priorUsage: null, priorUsageSd: null };
const seen = (usage: number, value: number, more: Partial<SeenAtUsage> = {}): SeenAtUsage => ({
  usage,
  bySurface: {},
  value,
  sd: 0.1,
  grade: null,
  ...more,
});

describe("wear in the trade's words, as numbers", () => {
  it("a limit is a size (tyre diameter falls to it) or a loss (from the spur's own new span), and both are a wear", () => {
    const tyre = wearScale(kind("TYR-RT"), same);
    expect([tyre.sign, tyre.limits.basis]).toEqual([-1, "size"]);
    expect(wearLimit(tyre)).toBeCloseTo(63.5 - 61.9, 12);
    const spur = wearScale(kind("SPR-48"), same);
    expect([spur.sign, spur.limits.basis]).toEqual([-1, "loss"]);
    expect(wearLimit(spur)).toBe(spur.limits.club);
    expect(sizeAt(tyre, 63.5, 1.6)).toBeCloseTo(61.9, 12);
  });

  it("readings that rise with wear (play) and ones that fall give a wear that grows", () => {
    const bush = kind("BSH-PL");
    const { observations } = wearPiece(bush, same, piece, [seen(100, 0.08), seen(200, 0.11)]);
    expect(observations.map((o) => o.wear)).toEqual([expect.closeTo(0.04, 12), expect.closeTo(0.07, 12)]);
    const tyre = wearPiece(kind("TYR-RT"), same, piece, [seen(50, 63.1)]);
    expect(tyre.observations[0]!.wear).toBeCloseTo(0.4, 12);
  });

  it("a graded kind wears from 0 to 1, and a grade stands beside readings of a measured one", () => {
    const belt = wearPiece(kind("BLT"), same, piece, [seen(300, 0, { value: null, sd: null, grade: 2 })]);
    expect([belt.limit, belt.observations[0]!.grade]).toEqual([1, 2]);
    const spur = wearPiece(kind("SPR-48"), same, piece, [
      seen(300, 15.45),
      seen(300, 0, { value: null, sd: null, grade: 1 }),
    ]);
    expect(spur.observations.map((o) => [o.wear !== undefined, o.grade])).toEqual([
      [true, undefined],
      [false, 1],
    ]);
  });

  it("where the limit is a loss, the readings when new become the piece's own start: the mean weighted by precision", () => {
    const spur = kind("SPR-48");
    const { asNew, asNewSd } = spur.measure!;
    const sd = spur.measure!.instruments[0]!.repeatabilitySd;
    const own = wearPiece(spur, same, { ...piece, asNew: asNew + 0.02 }, [seen(330, asNew - 0.03, { sd })]);
    const weight = asNewSd ** 2 / (asNewSd ** 2 + sd ** 2);
    expect(own.startSd).toBeCloseTo(Math.sqrt(1 / (asNewSd ** -2 + sd ** -2)), 12);
    expect(own.observations).toHaveLength(1);
    expect(own.observations[0]!.wear).toBeCloseTo(0.03 + 0.02 * weight, 12);
  });

  it("where the limit is a size, the as-new reading is a reading like any other", () => {
    const tyre = wearPiece(kind("TYR-RT"), same, { ...piece, asNew: 63.4 }, [seen(50, 63.1)]);
    expect(tyre.observations.map((o) => [o.usage, Number(o.wear!.toFixed(6))])).toEqual([
      [0, 0.1],
      [50, 0.4],
    ]);
  });

  it("a line's own size, limits and usual life go before its kind's", () => {
    const line = {
      asNew: 63,
      limits: { basis: "size" as const, race: null, club: 61, stop: null },
      usualLife: { p10: 50, p90: 90 },
    };
    expect(wearLimit(wearScale(kind("TYR-RT"), line))).toBeCloseTo(2, 12);
    expect(wearLimit(wearScale(kind("TYR-RT"), line), "race")).toBeNull();
    expect(wearPrior(kind("TYR-RT"), line).life).toEqual({ p10: 50, p90: 90 });
  });

  it("surfaces other than the one the usual life is stated on are learned, each from the trade's multiplier", () => {
    const { conditions } = wearPrior(kind("TYR-RT"), same);
    expect(conditions).toContainEqual({ name: "carpet", multiplier: 0.45 });
    expect(conditions!.map(({ name }) => name)).not.toContain("asphalt");
    const { observations } = wearPiece(kind("TYR-RT"), same, piece, [
      seen(60, 63, { bySurface: { asphalt: 40, carpet: 20 } }),
    ]);
    expect(observations[0]!.exposures![conditions!.findIndex(({ name }) => name === "carpet")]).toBe(20);
  });
});

describe("breakage", () => {
  const spur = kind("SPR-48");

  it("is believed as the kind says before anything broke, and moves with what breaks in how many runs", () => {
    const believed = breakageEvidence(spur, []);
    expect(believed.shape / believed.rate).toBeCloseTo(spur.breakagePerRun, 12);
    const learned = breakageEvidence(spur, [
      { runs: 500, broken: true },
      { runs: 500, broken: true },
    ]);
    expect([learned.broken, learned.runs]).toEqual([2, 1000]);
    expect(learned.shape / learned.rate).toBeCloseTo((1 + 2) / (1 / spur.breakagePerRun + 1000), 12);
  });

  it("gives the chance of the negative binomial law with no event: (rate / (rate + runs)) to the shape", () => {
    const evidence = { shape: 3, rate: 1250, broken: 2, runs: 1000 };
    expect(unbrokenChance(evidence, 0)).toBe(1);
    expect(unbrokenChance(evidence, 100)).toBeCloseTo((1250 / 1350) ** 3, 12);
  });
});
