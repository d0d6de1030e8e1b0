import { describe, expect, it } from "vitest";
import {
  compoundPoissonLaw,
  convolve,
  lawPower,
  negativeBinomialLaw,
  poissonLaw,
} from "../../src/stats/index.ts";

const near = (a: readonly number[], b: readonly number[]) =>
  Math.max(
    ...Array.from({ length: Math.max(a.length, b.length) }, (_, k) => Math.abs((a[k] ?? 0) - (b[k] ?? 0))),
  );

describe("the power of a law", () => {
  it("of Poisson and negative binomial demand is that over the other time, for parts and multiples", () => {
    for (const times of [0, 0.25, 0.5, 1, 1.5, 2.75, 4]) {
      expect(near(lawPower(poissonLaw(3), times), poissonLaw(3 * times))).toBeLessThan(1e-10);
      const law = negativeBinomialLaw({ size: 2, probability: 0.4 });
      const other = times === 0 ? [1] : negativeBinomialLaw({ size: 2 * times, probability: 0.4 });
      expect(near(lawPower(law, times), other)).toBeLessThan(1e-10);
    }
  });

  it("of sets that come at Poisson moments is the same at another rate", () => {
    const batch = [0, 0.2, 0.3, 0, 0.5];
    expect(
      near(lawPower(compoundPoissonLaw({ rate: 2, batch }), 1.5), compoundPoissonLaw({ rate: 3, batch })),
    ).toBeLessThan(1e-10);
  });

  it("that is whole is a convolution, whatever the law", () => {
    const law = [0, 0.3, 0, 0.7];
    expect(near(lawPower(law, 3), convolve(convolve(law, law), law))).toBeLessThan(1e-15);
  });

  it.each([
    [[0.5, 0.5], 1.5],
    [[0.5, 0.5], 0.5],
    [[0, 1], 0.5],
    [[0, 0, 1], 0.25],
  ])("of %j to %d is none, and is refused", (law, exponent) => {
    expect(() => lawPower(law, exponent)).toThrow("shared out");
  });

  it("of a sure two to a half is a sure one", () => {
    expect(lawPower([0, 0, 1], 0.5)).toEqual([0, 1]);
  });
});
