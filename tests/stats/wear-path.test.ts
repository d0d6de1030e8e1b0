import { readFileSync } from "node:fs";
import { describe, expect, test } from "vitest";
import {
  forecastWear,
  type WearHyper,
  type WearLineFit,
  type WearPrior,
  wearFitVersion,
} from "../../src/stats/index.ts";
import { erfcx, normalCdf } from "../../src/stats/normal.ts";
import { passageChance } from "../../src/stats/wear-passage.ts";
import { pieceLogLikelihood } from "../../src/stats/wear-path.ts";
import { scalePiece, scalePrior } from "../../src/stats/wear-scale.ts";
import { tailCdf, tailErfcx } from "../../src/stats/wear-tail.ts";

interface ReadingCase {
  usage: number[];
  wear: number[];
  now: number;
  limit: number;
  ahead: number[];
  expected: Record<string, number>;
}
interface GradeCase {
  usage: number[];
  grade: number[];
  expected: { logLikelihood: number };
}
/** A bent path, with readings or with grades. */
type BentCase = { bend: number; usage: number[]; limit: number; expected: Record<string, number> } & (
  | { wear: number[]; now: number; ahead: number[] }
  | { grade: number[] }
);
const reference: {
  hyper: Omit<WearHyper, "multipliers">;
  startSd: number;
  readingSd: number;
  readings: Record<string, ReadingCase>;
  grades: Record<string, GradeCase>;
  bends: Record<string, BentCase>;
} = JSON.parse(readFileSync("tests/reference/wear-piece.json", "utf8"));

/** A usual life of 1 and a limit of 1: scaled and plain units are the same. */
const prior: WearPrior = {
  life: { p10: 0.5, p90: 2 },
  pieceSpread: 0.35,
  runSpread: 0.3,
  usagePerRun: 0.025,
  startSd: reference.startSd,
  readingSd: reference.readingSd,
};
const hyper: WearHyper = { ...reference.hyper, multipliers: [] };
const scaled = scalePrior(prior, 1, "test");
const ordinary = [{ added: null, logPrior: 0 }];

/** A fit that consists of one point, so that forecasts rest on known hyper-parameters. */
const known: WearLineFit = {
  version: wearFitVersion,
  scale: { usage: 1, wear: 1 },
  prior,
  activeConditions: [],
  mode: [0, 0, 0, 0, 0, 0],
  centre: hyper,
  points: [{ hyper, weight: 1 }],
  pieces: [],
  counts: { pieces: 0, readings: 0 },
  logEvidence: 0,
};

describe("one piece with known hyper-parameters", () => {
  for (const [name, one] of Object.entries(reference.readings)) {
    const piece = {
      id: "a",
      limit: one.limit,
      observations: one.usage.map((usage, j) => ({ usage, wear: one.wear[j]! })),
    };
    test(`${name}: likelihood and remaining life agree with matrices and dense quadrature in numpy`, () => {
      const { expected } = one;
      if (expected["logLikelihood"] !== undefined) {
        const got = pieceLogLikelihood(scalePiece(piece, scaled, "test"), hyper, ordinary);
        // Nine nodes over the rate; measured agreement 5e-4.
        expect(Math.abs(got - expected["logLikelihood"])).toBeLessThan(1e-3);
      }
      const forecast = forecastWear(known, piece, { usage: one.now });
      // The forecast also weighs the chance that a reading is grossly wrong, the reference does not.
      if (expected["past"] !== undefined)
        expect(Math.abs(forecast.pastLimitProbability - expected["past"])).toBeLessThan(0.004);
      for (const ahead of one.ahead)
        expect(Math.abs(forecast.remainingCdf(ahead) - expected[`remaining_${ahead}`]!)).toBeLessThan(0.006);
      if (expected["wearMean"] !== undefined)
        expect(Math.abs(forecast.wear.median - expected["wearMean"])).toBeLessThan(0.1 * expected["wearSd"]!);
    });
  }
  for (const [name, one] of Object.entries(reference.grades)) {
    test(`${name}: the likelihood agrees with rectangle probabilities in scipy`, () => {
      const observations = one.usage.map((usage, j) => ({ usage, grade: one.grade[j]! }));
      const piece = scalePiece({ id: "a", limit: 1, observations }, scaled, "test");
      const got = pieceLogLikelihood(piece, hyper, ordinary);
      // The level after a grade is taken as normal: measured agreement 0.002.
      expect(Math.abs(got - one.expected.logLikelihood)).toBeLessThan(0.01);
    });
  }
});

describe("one piece whose path bends, with known hyper-parameters", () => {
  for (const [name, one] of Object.entries(reference.bends)) {
    const bent = { ...hyper, bend: one.bend };
    const piece = {
      id: "a",
      limit: one.limit,
      observations: one.usage.map((usage, j) =>
        "wear" in one ? { usage, wear: one.wear[j]! } : { usage, grade: one.grade[j]! },
      ),
    };
    test(`${name}: the likelihood agrees with the level followed on a grid`, () => {
      const got = pieceLogLikelihood(scalePiece(piece, scaled, "test"), bent, ordinary);
      // The error of a reading is carried to the straightened scale by its slope there: measured agreement 0.001. The
      // level after a grade is taken as normal: 0.014.
      expect(Math.abs(got - one.expected["logLikelihood"]!)).toBeLessThan("wear" in one ? 0.003 : 0.02);
    });
    if (!("wear" in one)) continue;
    test(`${name}: wear now and remaining life agree with the level followed on a grid`, () => {
      const fit = { ...known, centre: bent, points: [{ hyper: bent, weight: 1 }] };
      const { expected } = one;
      const forecast = forecastWear(fit, piece, { usage: one.now });
      for (const ahead of one.ahead)
        expect(Math.abs(forecast.remainingCdf(ahead) - expected[`remaining_${ahead}`]!)).toBeLessThan(0.01);
      expect(Math.abs(forecast.wear.median - expected["wearMean"]!)).toBeLessThan(0.1 * expected["wearSd"]!);
      const width = (forecast.wear.p90 - forecast.wear.p10) / 2 / 1.2815515655446004;
      expect(Math.abs(width / expected["wearSd"]! - 1)).toBeLessThan(0.02);
    });
  }
});

describe("passage of an uncertain level", () => {
  test("agrees with the closed form when the level is known, and with quadrature when it is not", () => {
    // Midpoint rule over the level with 20 000 panels.
    const exact = (d: number, p: number, travel: number, gained: number): number => {
      let sum = normalCdf(-d / Math.sqrt(p));
      const n = 20_000;
      const low = -8 * Math.sqrt(p);
      const width = (Math.min(d, 8 * Math.sqrt(p)) - low) / n;
      for (let i = 0; i < n && width > 0; i++) {
        const x = low + (i + 0.5) * width;
        const s = Math.sqrt(gained);
        const z = (travel - (d - x)) / s;
        const reflected = 0.5 * Math.exp(-0.5 * z * z) * erfcx((travel + d - x) / s / Math.SQRT2);
        const density = Math.exp((-0.5 * x * x) / p) / Math.sqrt(2 * Math.PI * p);
        sum += width * density * (normalCdf(z) + reflected);
      }
      return sum;
    };
    let worst = 0;
    for (const [d, p, travel, gained] of [
      [0.5, 4e-4, 0.4, 2e-3],
      [0.5, 4e-4, 0.52, 2e-3],
      [0.02, 4e-4, 0.005, 1e-4],
      [0.02, 4e-4, 0.03, 1e-3],
      [0.3, 0.04, 0.1, 1e-3],
      [0.3, 0.04, 0.4, 0.02],
      [-0.1, 0.01, 0.05, 0.002],
      [0.05, 0.01, 0.001, 0.01],
    ] as const)
      worst = Math.max(worst, Math.abs(passageChance(d, p, travel, gained) - exact(d, p, travel, gained)));
    // A few nodes stand for the level given the end of the path; measured agreement 2.4e-5.
    expect(worst).toBeLessThan(1e-4);
    const z = (0.4 - 0.5) / Math.sqrt(2e-3);
    const w = 0.9 / Math.sqrt(2e-3);
    const closed = normalCdf(z) + 0.5 * Math.exp(-0.5 * z * z) * erfcx(w / Math.SQRT2);
    expect(passageChance(0.5, 0, 0.4, 2e-3)).toBeCloseTo(closed, 11);
  });

  test("the tables of erfcx and the normal law agree with the exact functions", () => {
    let worst = 0;
    for (let x = 0; x < 1e6; x = x * 1.01 + 1e-3)
      worst = Math.max(worst, Math.abs(tailErfcx(x) / erfcx(x) - 1));
    for (let z = -30; z < 8; z += 0.0317) worst = Math.max(worst, Math.abs(tailCdf(z) / normalCdf(z) - 1));
    expect(worst).toBeLessThan(1e-9);
  });
});
