import { describe, expect, test } from "vitest";
import {
  erfcx,
  firstPassageCdf,
  firstPassageDensity,
  firstPassageMoments,
  firstPassageQuantile,
  levelPassageCdf,
  logNormalCdf,
  type PassagePath,
} from "../../src/stats/index.ts";
import { caseOf, column, expectCase } from "./cases.ts";

interface PassageRow {
  d: number;
  m: number;
  v: number;
  s2: number;
  l: number;
}
interface LevelRow {
  D: number;
  mx: number;
  mb: number;
  Pxx: number;
  Pxb: number;
  Pbb: number;
  s2: number;
  l: number;
}

/** Sixty values from 1e-300 to 1e300 in turn: enough to meet every overflow. */
const EXTREMES = Array.from({ length: 61 }, (_, i) => 10 ** (-300 + 10 * i));

describe("first passage", () => {
  test("distribution and density agree with 60-digit mpmath on 22 rows, exponents up to 5e11 (Peng & Tseng 2009)", () => {
    const one = caseOf("fpt-table");
    const got: Record<string, number> = {};
    for (const [i, row] of (one.data["rows"] as PassageRow[]).entries()) {
      const path = { distance: row.d, drift: row.m, driftVariance: row.v, diffusionVariance: row.s2 };
      got[`F_${i + 1}`] = firstPassageCdf(path, row.l);
      got[`f_${i + 1}`] = firstPassageDensity(path, row.l);
    }
    expectCase(one, got);
  });

  test("with level and drift jointly normal it agrees with 60-digit mpmath on 9 rows", () => {
    const one = caseOf("fpt-level-table");
    const got: Record<string, number> = {};
    for (const [i, row] of (one.data["rows"] as LevelRow[]).entries()) {
      const state = {
        level: row.mx,
        drift: row.mb,
        levelVariance: row.Pxx,
        covariance: row.Pxb,
        driftVariance: row.Pbb,
      };
      const { reached, reachedGivenInUse } = levelPassageCdf(state, row.D, row.s2, row.l);
      got[`F_${i + 1}`] = reached;
      got[`Fcond_${i + 1}`] = reachedGivenInUse;
    }
    expectCase(one, got);
  });

  test("a known drift gives the inverse Gaussian law of R statmod (Chhikara & Folks 1989)", () => {
    const path = { distance: 10, drift: 2, driftVariance: 0, diffusionVariance: 0.5 };
    const got: Record<string, number> = { ...firstPassageMoments(path) };
    for (const l of [4, 5, 6]) got[`F_${l}`] = firstPassageCdf(path, l);
    for (const p of [0.1, 0.5, 0.9]) got[`q_${p}`] = firstPassageQuantile(p, path)!;
    expectCase(caseOf("ig-first-passage"), got);
  });

  test("the special functions it rests on agree with mpmath in the far tails", () => {
    const one = caseOf("special-functions");
    const got: Record<string, number> = {};
    column(one, "erfcx_x").forEach((x, i) => {
      got[`erfcx_${i + 1}`] = erfcx(x);
    });
    column(one, "log_ndtr_x").forEach((x, i) => {
      got[`log_ndtr_${i + 1}`] = logNormalCdf(x);
    });
    expectCase(one, got);
  });

  test("the distribution is the integral of the density", () => {
    const path = { distance: 1, drift: 0.8, driftVariance: 0.04, diffusionVariance: 0.1 };
    let area = 0;
    const h = 2e-3;
    for (let l = h / 2; l < 3; l += h) area += h * firstPassageDensity(path, l);
    expect(Math.abs(area - firstPassageCdf(path, 3))).toBeLessThan(1e-6);
  });

  test("a drift that may be negative leaves a chance of never: the limit of the distribution", () => {
    const path = { distance: 1, drift: 0.1, driftVariance: 0.04, diffusionVariance: 0.01 };
    const ever = firstPassageCdf(path, Infinity);
    expect(ever).toBeGreaterThan(0.5);
    expect(ever).toBeLessThan(0.9);
    expect(firstPassageCdf(path, 1e9)).toBeCloseTo(ever, 6);
    expect(firstPassageQuantile(ever + 0.01, path)).toBeNull();
    expect(firstPassageQuantile(ever - 0.05, path)).toBeGreaterThan(0);
  });

  test("no argument from 1e-300 to 1e300 gives NaN or leaves [0, 1]", () => {
    let tried = 0;
    for (let i = 0; i < EXTREMES.length; i++)
      for (let j = 0; j < 20; j++) {
        const pick = (k: number): number => EXTREMES[(i * 7 + j * k + k) % EXTREMES.length]!;
        const path: PassagePath = {
          distance: pick(11),
          drift: (j % 3 === 0 ? -1 : 1) * pick(13),
          driftVariance: j % 4 === 0 ? 0 : pick(17),
          diffusionVariance: pick(19),
        };
        for (const l of [0, pick(23), 1, Infinity]) {
          const reached = firstPassageCdf(path, l);
          expect(reached >= 0 && reached <= 1, JSON.stringify({ path, l, reached })).toBe(true);
          expect(firstPassageDensity(path, l)).not.toBeNaN();
          tried++;
        }
        const state = {
          level: 0,
          drift: path.drift,
          levelVariance: j % 5 === 0 ? 0 : pick(29),
          covariance: 0,
          driftVariance: path.driftVariance,
        };
        const { reached, reachedGivenInUse } = levelPassageCdf(
          state,
          path.distance,
          path.diffusionVariance,
          pick(31),
        );
        expect(reached >= 0 && reached <= 1, JSON.stringify({ state, path })).toBe(true);
        expect(reachedGivenInUse >= 0 && reachedGivenInUse <= 1).toBe(true);
      }
    expect(tried).toBeGreaterThan(4800);
  });

  test("it never falls with usage, up to the rounding of the last digit", () => {
    const path = { distance: 2, drift: 1, driftVariance: 0.0625, diffusionVariance: 1e-6 };
    let before = 0;
    for (let l = 0.01; l < 8; l *= 1.02) {
      const now = firstPassageCdf(path, l);
      expect(now).toBeGreaterThanOrEqual(before - 1e-15);
      before = now;
    }
  });

  test("arguments outside their range are refused", () => {
    const path = { distance: 1, drift: 1, driftVariance: 0, diffusionVariance: 1 };
    expect(() => firstPassageCdf({ ...path, distance: 0 }, 1)).toThrow(RangeError);
    expect(() => firstPassageCdf({ ...path, diffusionVariance: 0 }, 1)).toThrow(RangeError);
    expect(() => firstPassageCdf({ ...path, drift: Number.NaN }, 1)).toThrow(RangeError);
    expect(() => firstPassageDensity(path, -1)).toThrow(RangeError);
    expect(() => firstPassageQuantile(1, path)).toThrow(RangeError);
    expect(() => firstPassageMoments({ ...path, drift: 0 })).toThrow(RangeError);
    const state = { level: 0, drift: 1, levelVariance: -1, covariance: 0, driftVariance: 0 };
    expect(() => levelPassageCdf(state, 1, 1, 1)).toThrow(RangeError);
  });
});
