import { readFileSync } from "node:fs";
import { describe, expect, test } from "vitest";
import { erfcx, logNormalCdf, normalCdf, normalPdf, normalQuantile } from "../../src/stats/normal.ts";

interface Row {
  fn: string;
  args: [number];
  ref: number;
}
const rows: Row[] = JSON.parse(
  readFileSync(new URL("../reference/special-functions.json", import.meta.url), "utf8"),
);

/** Largest relative difference from the 50-digit values of tests/reference/special-functions.py. */
function worst(fn: string, ours: (x: number) => number): number {
  const chosen = rows.filter((row) => row.fn === fn);
  expect(chosen.length).toBeGreaterThan(7);
  return Math.max(
    ...chosen.map(({ args, ref }) => Math.abs(ours(args[0]) - ref) / Math.max(Math.abs(ref), 1e-300)),
  );
}

describe("normal law", () => {
  // Measured agreement: 3.7e-16, 2.1e-16, 3.5e-16 and 2.5e-16; the bounds leave room for another libm.
  test("normalCdf agrees with mpmath from z = -37 to 8", () => {
    expect(worst("normal.cdf", normalCdf)).toBeLessThan(3e-14);
  });
  test("logNormalCdf agrees with mpmath from z = -1000 to 6", () => {
    expect(worst("normal.logcdf", logNormalCdf)).toBeLessThan(4e-15);
  });
  test("normalQuantile agrees with mpmath from p = 1e-300 to 1 - 1e-10", () => {
    expect(worst("normal.quantile", normalQuantile)).toBeLessThan(3e-15);
  });
  test("erfcx agrees with mpmath from x = -20 to 1e8", () => {
    expect(worst("erfcx", erfcx)).toBeLessThan(9e-15);
  });
  test("erfcx is continuous where its methods meet", () => {
    for (const x of [-0.5, 0.5, Math.PI / 0.5, 20]) {
      const gap = erfcx(x * (1 + 1e-15)) / erfcx(x * (1 - 1e-15)) - 1;
      expect(Math.abs(gap)).toBeLessThan(1e-14);
    }
  });
  test("erfcx falls everywhere and stays within the bounds 1/(x + sqrt(x² + 2)) and 1/(x + sqrt(x² + 4/π))", () => {
    for (let x = 0.01; x < 40; x += 0.037) {
      const value = (erfcx(x) * Math.sqrt(Math.PI)) / 2;
      expect(value).toBeGreaterThan(1 / (x + Math.sqrt(x * x + 2)) - 1e-15);
      expect(value).toBeLessThan(1 / (x + Math.sqrt(x * x + 4 / Math.PI)) + 1e-15);
      expect(erfcx(x + 0.037)).toBeLessThan(erfcx(x));
    }
  });
  test("normalQuantile undoes normalCdf", () => {
    for (let z = -36; z < 5; z += 0.31) expect(normalQuantile(normalCdf(z))).toBeCloseTo(z, 9);
  });
  test("the density is the slope of the distribution", () => {
    for (const z of [-4, -1, 0, 0.7, 2.5]) {
      const slope = (normalCdf(z + 1e-5) - normalCdf(z - 1e-5)) / 2e-5;
      expect(Math.abs(normalPdf(z) / slope - 1)).toBeLessThan(1e-8);
    }
  });
  test("infinite arguments give the limits", () => {
    expect([normalCdf(-Infinity), normalCdf(Infinity), normalPdf(Infinity)]).toEqual([0, 1, 0]);
    expect([erfcx(-Infinity), erfcx(Infinity)]).toEqual([Infinity, 0]);
    expect([logNormalCdf(Infinity), logNormalCdf(-Infinity)]).toEqual([-0, -Infinity]);
  });
  test("probabilities outside (0, 1) and NaN are refused", () => {
    for (const p of [0, 1, -0.1, 1.1, Number.NaN]) expect(() => normalQuantile(p)).toThrow(RangeError);
    for (const fn of [normalCdf, normalPdf, logNormalCdf, erfcx])
      expect(() => fn(Number.NaN)).toThrow(RangeError);
  });
});
