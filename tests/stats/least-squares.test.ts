import { describe, expect, it } from "vitest";
import { leastSquares, predictLeastSquares } from "../../src/stats/least-squares.ts";
import { caseOf, column, expectCase } from "./cases.ts";

const ones = (like: readonly number[]) => like.map(() => 1);
const powers = (x: readonly number[], degree: number) =>
  Array.from({ length: degree + 1 }, (_, power) => x.map((value) => value ** power));

function named(
  { coefficients, standardErrors, residualSd, rSquared }: ReturnType<typeof leastSquares>,
  first = 0,
) {
  const got: Record<string, number> = { residual_sd: residualSd, R_squared: rSquared };
  coefficients.forEach((value, j) => {
    got[`B${j + first}`] = value;
    got[`se_B${j + first}`] = standardErrors[j]!;
  });
  return got;
}

describe("leastSquares against certified values", () => {
  for (const [id, degree] of [
    ["nist-norris", 1],
    ["nist-pontius", 2],
    ["nist-filip", 10],
    ["nist-wampler1", 5],
    ["nist-wampler2", 5],
  ] as const) {
    const one = caseOf(id);
    it(`${one.title} (${one.source})`, () => {
      expectCase(one, named(leastSquares(powers(column(one, "x"), degree), column(one, "y"))));
    });
  }

  it(`${caseOf("nist-noint1").title} (${caseOf("nist-noint1").source})`, () => {
    const one = caseOf("nist-noint1");
    expectCase(one, named(leastSquares([column(one, "x")], column(one, "y")), 1));
  });

  it(`${caseOf("nist-longley").title} (${caseOf("nist-longley").source})`, () => {
    const one = caseOf("nist-longley");
    const predictors = one.data["x"] as number[][];
    expectCase(one, named(leastSquares([ones(column(one, "y")), ...predictors], column(one, "y"))));
  });

  it("tread life by two methods, with prediction limits (Stichler, Richey & Mandel, 1953; values: R)", () => {
    const one = caseOf("tyre-wear-1953");
    const [weight, groove] = [column(one, "weight"), column(one, "groove")];
    const fit = leastSquares([ones(weight), weight], groove);
    const at25 = predictLeastSquares(fit, [1, 25]);
    const difference = leastSquares(
      [ones(weight)],
      weight.map((value, i) => value - groove[i]!),
    );
    expectCase(one, {
      intercept: fit.coefficients[0]!,
      slope: fit.coefficients[1]!,
      se_intercept: fit.standardErrors[0]!,
      se_slope: fit.standardErrors[1]!,
      residual_sd: fit.residualSd,
      R_squared: fit.rSquared,
      pred25: at25.value,
      pred25_PI95_lo: at25.prediction.low,
      pred25_PI95_hi: at25.prediction.high,
      pred25_CI95_lo: at25.confidence.low,
      pred25_CI95_hi: at25.confidence.high,
      mean_diff: difference.coefficients[0]!,
      paired_t: difference.coefficients[0]! / difference.standardErrors[0]!,
    });
  });
});

describe("leastSquares", () => {
  it("does not depend on the units of a column", () => {
    const x = [1, 2, 3, 4.5, 7];
    const y = [2.1, 3.9, 6.2, 9.1, 13.7];
    const plain = leastSquares([ones(x), x], y);
    const scaled = leastSquares([ones(x), x.map((value) => value * 1e150)], y);
    expect((scaled.coefficients[1]! * 1e150) / plain.coefficients[1]!).toBeCloseTo(1, 12);
    expect(scaled.residualSd).toBeCloseTo(plain.residualSd, 12);
  });

  it("passes through the points when there are as many columns as rows", () => {
    const fit = leastSquares(
      [
        [1, 1],
        [2, 5],
      ],
      [7, 1],
    );
    expect(fit.coefficients[0]! + 5 * fit.coefficients[1]!).toBeCloseTo(1, 12);
    expect(fit.residualSd).toBe(0);
    expect(() => predictLeastSquares(fit, [1, 3])).toThrow(/more rows than columns/);
  });

  it("dependent, empty, ragged and infinite designs are refused", () => {
    expect(() =>
      leastSquares(
        [
          [1, 2, 3],
          [2, 4, 6],
        ],
        [1, 2, 4],
      ),
    ).toThrow(/linearly independent/);
    expect(() => leastSquares([], [1])).toThrow(/at least one column/);
    expect(() => leastSquares([[1, 2]], [1, 2, 3])).toThrow(/as long as the response/);
    expect(() => leastSquares([[0, 0]], [1, 2])).toThrow(/not all zero/);
    expect(() => leastSquares([[1, Infinity]], [1, 2])).toThrow(/finite numbers/);
  });
});
