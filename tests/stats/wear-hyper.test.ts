import { describe, expect, test } from "vitest";
import { hyperFrom, logSlope } from "../../src/stats/wear-hyper.ts";
import { scalePrior } from "../../src/stats/wear-scale.ts";
import type { WearHyper } from "../../src/stats/wear-types.ts";
import { wearBelief, wearLimit } from "../bench/statistics-data.ts";

const prior = scalePrior(wearBelief, wearLimit, "test");
const places = [0, 1, 2, 3, 4, 5];
const at = (k: number, standard: number): WearHyper =>
  hyperFrom(
    prior,
    places.map((i) => (i === k ? standard : 0)),
    places,
  );
const logs = ({ rate, spread, noise, reading, exponent, bend }: WearHyper): number[] => [
  ...[rate, spread, noise, reading, exponent].map(Math.log),
  bend,
];

describe("hyper-parameters from standardised coordinates", () => {
  test("their slopes are those of their logs, also where a scatter is hardly believed", () => {
    for (const k of places)
      for (const standard of [-6, -5.01, -4.99, -3, 0, 2.5]) {
        const slope = (logs(at(k, standard + 1e-5))[k]! - logs(at(k, standard - 1e-5))[k]!) / 2e-5;
        expect(logSlope(prior, k, standard)).toBeCloseTo(slope, 4);
      }
  });

  test("down to five standard deviations a scatter goes with its score, and it never falls by more than eight", () => {
    for (const k of [1, 2, 3]) {
      const below = (standard: number): number =>
        (logs(at(k, 0))[k]! - logs(at(k, standard))[k]!) / prior.sd[k]!;
      expect(below(-5)).toBeCloseTo(5, 9);
      expect(below(-6)).toBeCloseTo(5 + 3 * Math.tanh(1 / 3), 9);
      expect(below(-1000)).toBeCloseTo(8, 9);
      expect(below(5)).toBeCloseTo(-5, 9);
    }
  });
});
