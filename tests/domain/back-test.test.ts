import { describe, expect, it } from "vitest";
import { shippedKinds } from "../../seeds/index.ts";
import { accuracyOf } from "../../src/domain/accuracy.ts";
import {
  endOfPiece,
  eveningsOf,
  type PastLine,
  type PastPiece,
  piecesKnownBy,
  type Scored,
  scorePiece,
  seenOn,
} from "../../src/domain/back-test.ts";
import type { Kind } from "../../src/domain/kind.ts";
import { wearLimit, wearPrior, wearScale } from "../../src/domain/wear.ts";
import { createRandom, fitWearLine, normalQuantile } from "../../src/stats/index.ts";

const same = { asNew: null, limits: null, usualLife: null };
const kindOf = (code: string): Kind => ({
  ...shippedKinds.find((one) => one.code === code)!,
  id: code,
  shipped: true,
});
const tyre = kindOf("TYR-RT");
const belt = kindOf("BLT");
const day = (n: number) => new Date(Date.parse("2026-01-01T18:00:00Z") + n * 86_400_000).toISOString();
const look = (on: number, usage: number, seen: { value?: number; grade?: number }) => ({
  at: day(on),
  usage,
  bySurface: {},
  value: seen.value ?? null,
  sd: seen.value === undefined ? null : 0.1,
  grade: seen.grade ?? null,
});
const piece = (looks: PastPiece["looks"], more: Partial<PastPiece> = {}): PastPiece => ({
  id: "p",
  asNew: null,
  priorUsage: null,
  priorUsageSd: null,
  worn: null,
  looks,
  ...more,
});
const lineOf = (kind: Kind, ...pieces: PastPiece[]): PastLine => ({ kind, overrides: same, pieces });

describe("evenings of a back-test", () => {
  const line = lineOf(
    tyre,
    piece([look(1, 30, { value: 63.3 }), look(3, 60, { value: 63.1 }), look(5, 90, { value: 62.9 })]),
    piece([look(3, 20, { value: 63.4 })], { id: "q" }),
  );

  it("are the days on which something was seen of a piece whose next look, or end, is known", () => {
    expect(eveningsOf(line)).toEqual([day(1), day(3)]);
    expect(seenOn(line, day(3)).map(({ id }) => id)).toEqual(["p", "q"]);
    const worn = lineOf(tyre, piece([look(5, 90, { value: 62.9 })], { worn: { usage: 120, bySurface: {} } }));
    expect(eveningsOf(worn)).toEqual([day(5)]);
  });

  it("know nothing of what came later", () => {
    const before = piecesKnownBy(line, day(1));
    expect(before.map(({ id, observations }) => [id, observations.length])).toEqual([["p", 1]]);
    const changed = lineOf(
      tyre,
      piece([...line.pieces[0]!.looks.slice(0, 1), look(3, 60, { value: 50 })]),
      piece([look(4, 20, { value: 50 })], { id: "q" }),
    );
    expect(piecesKnownBy(changed, day(1))).toEqual(before);
  });
});

describe("endOfPiece", () => {
  // A tyre falls from 63.5 to its limit of 61.9.
  it("is where the line between the readings around the limit passes it", () => {
    const line = lineOf(tyre, piece([look(1, 100, { value: 62.2 }), look(2, 140, { value: 61.6 })]));
    expect(endOfPiece(line, line.pieces[0]!)).toMatchObject({
      usage: expect.closeTo(120, 9),
      finished: true,
    });
  });

  it("is not at a reading that a later one contradicts", () => {
    const looks = [
      look(1, 50, { value: 61.5 }),
      look(2, 100, { value: 62.5 }),
      look(3, 150, { value: 62.2 }),
    ];
    const line = lineOf(tyre, piece(looks));
    expect(endOfPiece(line, line.pieces[0]!)).toMatchObject({ usage: 150, finished: false });
  });

  it("is halfway between the last look and the retirement of a piece worn out in between, and open where it came off at its last look", () => {
    const looks = [look(1, 100, { grade: 2 })];
    const worn = (usage: number) => {
      const line = lineOf(belt, piece(looks, { worn: { usage, bySurface: {} } }));
      return endOfPiece(line, line.pieces[0]!);
    };
    expect(worn(160)).toMatchObject({ usage: 130, finished: true });
    expect(worn(100)).toMatchObject({ usage: 100, finished: false });
  });

  it("is halfway between the looks around the first grade 4", () => {
    const line = lineOf(belt, piece([look(1, 100, { grade: 3 }), look(2, 150, { grade: 4 })]));
    expect(endOfPiece(line, line.pieces[0]!)).toMatchObject({ usage: 125, finished: true });
  });
});

/** Pieces that wear as the kind is believed to, each looked at after every thirty minutes until it is past its limit. */
function drawnLine(kind: Kind, count: number, seed: number): PastLine {
  const random = createRandom(seed);
  const scale = wearScale(kind, same);
  const limit = wearLimit(scale)!;
  const { p10, p90 } = kind.usualLife;
  const typical = Math.sqrt(p10 * p90);
  const levelSd = Math.log(p90 / p10) / (2 * normalQuantile(0.9)) / Math.SQRT2;
  const step = typical / 8;
  const level = Math.exp(levelSd * random.normal());
  const pieces = Array.from({ length: count }, (_, i) => {
    const rate = (level * limit * Math.exp(levelSd * random.normal())) / typical;
    const looks: ReturnType<typeof look>[] = [];
    let wear = 0;
    for (let k = 1; k <= 14 && wear < limit; k++) {
      wear += rate * step * Math.exp(0.3 * random.normal());
      const noisy = wear + 0.1 * limit * random.normal();
      const grade = [0.1, 0.4, 0.75, 1].filter((bound) => noisy >= bound * limit).length;
      const value = scale.asNew + scale.sign * (wear + 0.1 * random.normal());
      looks.push(look(10 * k + (i % 3), k * step, kind.measure === null ? { grade } : { value }));
    }
    return piece(looks, { id: `p${i}` });
  });
  return lineOf(kind, ...pieces);
}

function scoresOf(line: PastLine): Scored[] {
  const limit = wearLimit(wearScale(line.kind, same))!;
  const random = createRandom(3);
  return eveningsOf(line)
    .filter((_, i) => i % 4 === 0)
    .flatMap((evening) => {
      const fit = fitWearLine({ pieces: piecesKnownBy(line, evening), limit }, wearPrior(line.kind, same));
      return seenOn(line, evening).flatMap((one) => scorePiece(line, fit, one, evening, random));
    });
}

describe("scorePiece", () => {
  it("finds the ranges of a world like the believed one held as often as they say, and beats the straight line", () => {
    const accuracy = accuracyOf(scoresOf(drawnLine(tyre, 18, 5)));
    expect(accuracy.map(({ target }) => target)).toEqual(["reading", "end"]);
    for (const { enough, coverage, naive } of accuracy) {
      expect(enough).toBe(true);
      expect(Math.abs(coverage[1]!.share - 0.8)).toBeLessThan(0.15);
      expect(naive.ourMeanCrps!).toBeLessThan(naive.meanCrps!);
    }
  });

  it("works for a kind that is only graded", () => {
    const [grades] = accuracyOf(scoresOf(drawnLine(belt, 16, 8)));
    expect(grades).toMatchObject({ target: "grade", enough: true });
    expect(Math.abs(grades!.coverage[1]!.share - 0.8)).toBeLessThan(0.15);
    // A score of a grade is in grades: to say 2 surely where it is 3 scores 1.
    expect(grades!.meanCrps!).toBeLessThan(1);
  });
});

describe("accuracyOf", () => {
  const scored = (probability: number, i = 0): Scored => ({
    pieceId: `p${i}`,
    target: "reading",
    known: true,
    ours: { probability, crps: 1, error: 0.5 },
    naive: i % 2 === 0 ? { probability: 0.999, crps: 4, error: 2 } : null,
  });

  it("counts what lies in the middle of its forecast, with the units it is of, and sets it against the line for the same forecasts", () => {
    const [one] = accuracyOf(Array.from({ length: 40 }, (_, i) => scored((i + 0.5) / 40, i % 8)));
    expect(one).toMatchObject({ forecasts: 40, pieces: 8, known: 40, enough: true, meanCrps: 1, bias: 0.5 });
    expect(one!.coverage.map(({ inside }) => inside)).toEqual([20, 32, 38]);
    expect(one!.coverage.every(({ asStated }) => asStated)).toBe(true);
    expect(one!.naive).toMatchObject({ forecasts: 20, meanCrps: 4, ourMeanCrps: 1 });
    expect(one!.naive.coverage.map(({ inside }) => inside)).toEqual([0, 0, 0]);
    expect(one!.sentence).toBe(
      "The 80 % ranges held 80 % of 40 next readings of 8 pieces (95 % limits 64 % to 91 %), as often as they should; the error score is 25 % of that of a straight line through each piece's readings.",
    );
  });

  it("says that ranges are too narrow or too wide where the limits tell, and that fewer than 30 forecasts are not enough evidence", () => {
    const all = (probability: number, count: number) =>
      accuracyOf(Array.from({ length: count }, () => scored(probability)))[0]!;
    expect(all(0.99, 40).sentence).toContain("too narrow");
    expect(all(0.5, 40).sentence).toContain("too wide");
    expect(all(0.5, 29)).toMatchObject({
      enough: false,
      sentence: "Not enough evidence: 29 next readings of 1 piece; at least 30 forecasts are wanted.",
    });
    expect(accuracyOf([])).toEqual([]);
  });
});
