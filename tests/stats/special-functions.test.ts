import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { betaCdf, betaQuantile, studentTCdf, studentTQuantile } from "../../src/stats/beta.ts";
import {
  negativeBinomialCdf,
  negativeBinomialPmf,
  negativeBinomialQuantile,
  poissonCdf,
  poissonPmf,
  poissonQuantile,
} from "../../src/stats/counts.ts";
import {
  chiSquareQuantile,
  digamma,
  gammaP,
  gammaQ,
  gammaQuantile,
  logGamma,
  trigamma,
} from "../../src/stats/gamma.ts";

type Point = { fn: string; args: number[]; ref: number };

/** mpmath 1.2.1 with 50 digits; the continuous quantiles are scipy 1.10.1, whose own errors reach 7e-10 for t. */
const points = JSON.parse(readFileSync("tests/reference/special-functions.json", "utf8")) as Point[];

const functions: Record<string, { of: (a: number, b: number, c: number) => number; tolerance: number }> = {
  "gamma.cdf": { of: (x, shape, rate) => gammaP(shape, x * rate), tolerance: 1e-13 },
  "gamma.quantile": {
    of: (p, shape, rate) => gammaQuantile(p, { shape, scale: 1 / rate }),
    tolerance: 1e-13,
  },
  "poisson.cdf": { of: poissonCdf, tolerance: 1e-14 },
  "poisson.quantile": { of: poissonQuantile, tolerance: 0 },
  "poisson.pmf": { of: poissonPmf, tolerance: 5e-14 },
  "negbin.cdf": {
    of: (k, size, probability) => negativeBinomialCdf(k, { size, probability }),
    tolerance: 1e-14,
  },
  "negbin.pmf": {
    of: (k, size, probability) => negativeBinomialPmf(k, { size, probability }),
    tolerance: 1e-14,
  },
  "negbin.quantile": {
    of: (p, size, probability) => negativeBinomialQuantile(p, { size, probability }),
    tolerance: 0,
  },
  "t.cdf": { of: studentTCdf, tolerance: 2e-14 },
  "t.quantile": { of: studentTQuantile, tolerance: 1e-9 },
  "beta.cdf": { of: (x, alpha, beta) => betaCdf(x, { alpha, beta }), tolerance: 2e-14 },
  "beta.quantile": { of: (p, alpha, beta) => betaQuantile(p, { alpha, beta }), tolerance: 2e-14 },
  gammaln: { of: logGamma, tolerance: 1e-14 },
  digamma: { of: digamma, tolerance: 1e-14 },
  trigamma: { of: trigamma, tolerance: 1e-14 },
};

describe("special functions against mpmath and scipy", () => {
  for (const [name, { of, tolerance }] of Object.entries(functions)) {
    const cases = points.filter(({ fn, args }) => fn === name && !(args.length === 1 && args[0]! < 0));
    it(`${name} agrees within ${tolerance} relative at ${cases.length} points, tails included`, () => {
      expect(cases.length).toBeGreaterThan(3);
      for (const { args, ref } of cases) {
        const got = of(args[0]!, args[1]!, args[2]!);
        // At its root digamma is exact to the last bit of its terms, not relative to 0.
        const size = name === "digamma" ? Math.max(1, Math.abs(ref)) : Math.abs(ref);
        expect(Math.abs(got - ref), `${name}(${args}) = ${got}, reference ${ref}`).toBeLessThanOrEqual(
          tolerance * size,
        );
      }
    });
  }

  it("the t quantile has the closed forms of 1 and 2 degrees of freedom, far into the tail", () => {
    for (const p of [1e-10, 0.001, 0.025, 0.3]) {
      expect(studentTQuantile(p, 1) * Math.tan(Math.PI * p)).toBeCloseTo(-1, 13);
      expect((studentTQuantile(p, 2) * Math.sqrt(2 * p * (1 - p))) / (2 * p - 1)).toBeCloseTo(1, 13);
    }
  });

  it("the t quantile at 1e-10 with 5 degrees agrees with mpmath (40 digits)", () => {
    expect(studentTQuantile(1e-10, 5) / -156.82559270889459).toBeCloseTo(1, 13);
  });

  it("the chi-square quantile with 2 degrees is -2 ln(1 - p)", () => {
    for (const p of [1e-9, 0.1, 0.9, 0.999]) {
      expect(chiSquareQuantile(p, 2) / (-2 * Math.log1p(-p))).toBeCloseTo(1, 13);
    }
  });

  it("gammaP and gammaQ add to one and invert the quantile from shape 0.02 to 5000", () => {
    for (const shape of [0.02, 0.5, 1, 7.5, 150, 5000]) {
      for (const p of [1e-4, 0.2, 0.5, 0.8, 0.9999]) {
        const x = gammaQuantile(p, { shape, scale: 1 });
        expect(gammaP(shape, x) / p).toBeCloseTo(1, 11);
        expect(gammaP(shape, x) + gammaQ(shape, x)).toBeCloseTo(1, 14);
      }
    }
  });

  it("the upper tail of large shapes agrees with quadrature in mpmath (40 digits), from the mean to 20 deviations", () => {
    for (const [shape, x, q] of [
      [2e6, 2e6, 0.4999059684024808],
      [2e6, 2001838.477631085, 0.0968283244926811],
      [2e6, 1997171.5728752539, 0.977288058920844],
      [1e8, 1e8, 0.4999867019239859],
      [1e8, 100030000, 0.00135108010160196],
      [1e9, 999968377.2233983, 0.8413447461087834],
      [2e6, 2028284.271247462, 1.7791566987573105e-88],
    ] as const) {
      expect(gammaQ(shape, x) / q - 1, `shape ${shape}, x ${x}`).toBeCloseTo(0, 10);
    }
    // One method hands over to the other above shape 1e6: Q(a + 1, x) - Q(a, x) is a Poisson probability.
    expect(gammaQ(1e6 + 1, 1_001_000) - gammaQ(1e6, 1_001_000)).toBeCloseTo(poissonPmf(1e6, 1_001_000), 12);
  });

  it("Poisson and negative binomial probabilities sum to their distribution functions", () => {
    let poisson = 0;
    let mixed = 0;
    for (let k = 0; k <= 40; k += 1) {
      poisson += poissonPmf(k, 17.3);
      mixed += negativeBinomialPmf(k, { size: 3.1, probability: 0.15 });
      expect(poisson).toBeCloseTo(poissonCdf(k, 17.3), 13);
      expect(mixed).toBeCloseTo(negativeBinomialCdf(k, { size: 3.1, probability: 0.15 }), 13);
    }
  });

  it("a certain outcome keeps its edge values", () => {
    expect(poissonPmf(0, 0)).toBe(1);
    expect(poissonCdf(-1, 3)).toBe(0);
    expect(negativeBinomialPmf(0, { size: 2, probability: 1 })).toBe(1);
    expect(negativeBinomialQuantile(1, { size: 2, probability: 0.5 })).toBe(Infinity);
    expect(gammaQ(3, Infinity)).toBe(0);
    expect(studentTCdf(0, 4)).toBe(0.5);
  });

  it("arguments outside the range are refused with a RangeError that names the function", () => {
    expect(() => logGamma(0)).toThrow(/logGamma requires a finite x > 0/);
    expect(() => gammaQ(-1, 2)).toThrow(/gammaQ requires a finite shape > 0/);
    expect(() => gammaQuantile(1.2, { shape: 1, scale: 1 })).toThrow(/gammaQuantile requires p in \[0, 1\]/);
    expect(() => betaCdf(2, { alpha: 1, beta: 1 })).toThrow(/betaCdf requires x in \[0, 1\]/);
    expect(() => studentTQuantile(0, 3)).toThrow(/studentTQuantile requires p in \(0, 1\)/);
    expect(() => negativeBinomialCdf(1, { size: 1, probability: 0 })).toThrow(
      /requires probability in \(0, 1\]/,
    );
    expect(() => poissonPmf(1, Number.NaN)).toThrow(RangeError);
  });
});
