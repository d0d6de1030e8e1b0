import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { shippedKinds } from "../../seeds/index.ts";
import { type LineKnowledge, pieceForecast, type PieceInUse } from "../../src/domain/forecast.ts";
import { breakageEvidence } from "../../src/domain/breakage.ts";
import type { Kind } from "../../src/domain/kind.ts";
import { wearLimit, wearPrior, wearScale } from "../../src/domain/wear.ts";
import { checkGain, checksWithin } from "../../src/domain/worthwhile-check.ts";
import { createRandom, fitWearLine } from "../../src/stats/index.ts";
import { bentBack, straightened } from "../../src/stats/wear-bend.ts";

const same = { asNew: null, limits: null, usualLife: null };
const lineOf = (code: string): LineKnowledge => {
  const kind: Kind = { ...shippedKinds.find((one) => one.code === code)!, id: code, shipped: true };
  const limit = wearLimit(wearScale(kind, same))!;
  const wear = fitWearLine({ pieces: [], limit }, wearPrior(kind, same));
  return { kind, overrides: same, wear, breakage: breakageEvidence(kind, []) };
};
const spurs = lineOf("SPR-48");
const belts = lineOf("BLT");
const pieceAt = (
  usage: number,
  seen: { usage: number; value?: number; grade?: number }[] = [],
): PieceInUse => ({
  id: "p",
  asNew: null,
  priorUsage: null,
  priorUsageSd: null,
  seen: seen.map((one) => ({
    usage: one.usage,
    bySurface: {},
    value: one.value ?? null,
    sd: one.value === undefined ? null : 0.018,
    grade: one.grade ?? null,
  })),
  now: { usage, bySurface: {} },
});
const costs = { change: 1500, lostRun: 2500 };
const gainOf = (line: LineKnowledge, piece: PieceInUse, ahead: number, money = costs) =>
  checkGain(line, piece, pieceForecast(line, piece), ahead, money);
const { p10, p90 } = spurs.kind.usualLife;

describe("checkGain", () => {
  it("is nothing for a new piece, most in the middle of the usual lives, and less again where the piece is surely due", () => {
    const [fresh, middle, old] = [0, (p10 + p90) / 2, 3 * p90].map((usage) =>
      gainOf(spurs, pieceAt(usage), 33),
    ) as [ReturnType<typeof gainOf>, ReturnType<typeof gainOf>, ReturnType<typeof gainOf>];
    expect(fresh).toMatchObject({ gain: 0, decision: "leave", switches: 0 });
    expect(middle.gain).toBeGreaterThan(100);
    expect(middle.switches).toBeGreaterThan(0.1);
    expect(old.decision).toBe("change");
    expect(old.gain).toBeLessThan(middle.gain / 4);
  });

  it("changing pays from the chance at which its cost is that of the risk: 1500 of 4000", () => {
    const { changeFrom, decision, wearsOut } = gainOf(spurs, pieceAt(p10), 33);
    expect(changeFrom).toBeCloseTo(0.375, 12);
    expect(decision).toBe(wearsOut > changeFrom ? "change" : "leave");
  });

  it("a reading that was just taken makes another one worth less", () => {
    const usage = (p10 + p90) / 2;
    const { asNew } = wearScale(spurs.kind, same);
    const value = asNew - 0.95 * spurs.wear.scale.wear;
    const before = gainOf(spurs, pieceAt(usage), 33);
    const after = gainOf(
      spurs,
      pieceAt(usage, [
        { usage, value },
        { usage, value },
        { usage, value },
      ]),
      33,
    );
    expect(after.gain).toBeLessThan(before.gain);
  });

  it("works for a kind that is only graded", () => {
    const usage = (belts.kind.usualLife.p10 + belts.kind.usualLife.p90) / 2;
    const middle = gainOf(belts, pieceAt(usage), 33);
    expect(middle.gain).toBeGreaterThan(0);
    const graded = gainOf(belts, pieceAt(usage, [{ usage, grade: 1 }]), 33);
    expect(graded.gain).toBeLessThan(middle.gain);
  });

  it("is never below 0, never above what certainty is worth, and grows with nothing at stake to nothing", () => {
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 3 * p90, noNaN: true }),
        fc.double({ min: 0, max: 100, noNaN: true }),
        fc.integer({ min: 0, max: 5000 }),
        fc.integer({ min: 0, max: 20_000 }),
        (usage, ahead, change, lostRun) => {
          const { gain, wearsOut, switches } = gainOf(spurs, pieceAt(usage), ahead, { change, lostRun });
          expect(gain).toBeGreaterThanOrEqual(0);
          const sure = Math.min(change, change + lostRun);
          // The law of the reading is approximate, so that its mean chance may be a little off the one known now.
          const off = 0.03 * (change + lostRun);
          expect(gain).toBeLessThanOrEqual(
            Math.min(change, wearsOut * (change + lostRun)) - wearsOut * sure + off + 1e-9,
          );
          expect(switches).toBeGreaterThanOrEqual(0);
          expect(switches).toBeLessThanOrEqual(1 + 1e-12);
          if (lostRun === 0) expect(gain).toBe(0);
        },
      ),
      { seed: 11, numRuns: 40 },
    );
  });

  it("agrees with drawing many readings and deciding after each: the same gain within 15 % and three standard errors", () => {
    const usage = 0.85 * p10;
    const piece = pieceAt(usage);
    const { gain } = gainOf(spurs, piece, 33);
    const random = createRandom(5);
    const { prior, points, scale } = spurs.wear;
    const { asNew } = wearScale(spurs.kind, same);
    const loss = costs.change + costs.lostRun;
    // The wear now is drawn from the wear line itself, hyper-parameters, piece and path, where the method takes two half
    // normal laws.
    const drawnWear = () => {
      // Nothing was read of this line, so that its points have equal weights.
      const { hyper } = points[Math.floor(random.uniform() * points.length)]!;
      const clock = (usage / scale.usage) ** hyper.exponent;
      const rate = hyper.rate * Math.exp(hyper.spread * random.normal());
      const path = rate * clock + hyper.rate * hyper.noise * Math.sqrt(clock) * random.normal();
      const start = straightened((prior.startSd / scale.wear) * random.normal(), hyper.bend);
      return scale.wear * bentBack(start + path, hyper.bend);
    };
    const after: number[] = [];
    for (let i = 0; i < 400; i++) {
      const value = asNew - (drawnWear() + prior.readingSd * random.normal());
      const seen = pieceForecast(spurs, pieceAt(usage, [{ usage, value }]));
      after.push(seen.pastLimitProbability + (1 - seen.pastLimitProbability) * seen.remainingCdf(33));
    }
    const mean = (values: number[]) => values.reduce((sum, v) => sum + v, 0) / values.length;
    const chance = mean(after);
    const saved = after.map((p) => Math.min(costs.change, chance * loss) - Math.min(costs.change, p * loss));
    const error = Math.sqrt(mean(saved.map((v) => (v - mean(saved)) ** 2)) / saved.length);
    expect(Math.abs(gain - mean(saved))).toBeLessThan(0.15 * gain + 3 * error);
  });
});

describe("checksWithin", () => {
  it("takes the checks that gain most together, not the one with the highest rate first, and orders them by gain a minute", () => {
    const checks = [
      { name: "a", minutes: 6, gain: 66 },
      { name: "b", minutes: 5, gain: 50 },
      { name: "c", minutes: 5, gain: 51 },
      { name: "d", minutes: 1, gain: 0 },
    ];
    expect(checksWithin(checks, 10).map(({ name }) => name)).toEqual(["c", "b"]);
    expect(checksWithin(checks, 11).map(({ name }) => name)).toEqual(["a", "c"]);
    expect(checksWithin(checks, 4)).toEqual([]);
    expect(checksWithin(checks, 0)).toEqual([]);
  });

  it("is as good as trying every choice, and never takes more than the minutes", () => {
    const check = fc.record({
      minutes: fc.integer({ min: 0, max: 80 }).map((tenths) => tenths / 10),
      gain: fc.integer({ min: 0, max: 1000 }),
    });
    fc.assert(
      fc.property(fc.array(check, { maxLength: 8 }), fc.integer({ min: 0, max: 20 }), (checks, minutes) => {
        const chosen = checksWithin(checks, minutes);
        const sum = (some: typeof checks, of: "minutes" | "gain") => some.reduce((s, one) => s + one[of], 0);
        expect(sum(chosen, "minutes")).toBeLessThanOrEqual(minutes + 1e-9);
        let best = 0;
        for (let mask = 0; mask < 2 ** checks.length; mask++) {
          const some = checks.filter((_, i) => (mask >> i) & 1);
          const tenths = some.reduce((s, one) => s + Math.max(1, Math.round(one.minutes * 10)), 0);
          if (tenths <= minutes * 10) best = Math.max(best, sum(some, "gain"));
        }
        expect(sum(chosen, "gain")).toBe(best);
      }),
      { seed: 3, numRuns: 100 },
    );
  });

  it("refuses minutes that are none", () => {
    expect(() => checksWithin([], -1)).toThrow(RangeError);
    expect(() => checksWithin([], Number.NaN)).toThrow(RangeError);
  });
});
