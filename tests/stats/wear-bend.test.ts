import fc from "fast-check";
import { describe, expect, test } from "vitest";
import {
  bentBack,
  logSlopeWhenNewByBend,
  slopeWhenNew,
  straightenAll,
  straightened,
  straightenedSlope,
} from "../../src/stats/wear-bend.ts";

const bends = [-3, -0.8, -2e-3, -1e-4, 0, 1e-9, 9e-4, 1.1e-3, 0.5, 3];
const wears = [-1e4, -2, -1, -0.3, -1e-5, 0, 1e-7, 0.2, 1, 1.7, 3, 4, 1e4];

describe("the straightened scale of wear", () => {
  test("runs from 0 when new to 1 at the limit, and is the wear itself where the path is straight", () => {
    for (const bend of bends) {
      expect(straightened(0, bend)).toBe(0);
      expect(straightened(1, bend)).toBeCloseTo(1, 12);
    }
    for (const x of wears) expect(straightened(x, 0)).toBeCloseTo(x, 12);
  });

  test("its slope falls by the bend, on the log, from new to the limit: wear is that much faster there", () => {
    for (const bend of bends)
      expect(Math.log(straightenedSlope(0, bend) / straightenedSlope(1, bend))).toBeCloseTo(bend, 12);
  });

  test("there and back again is the same wear, far beyond the limit too", () => {
    const bend = fc.double({ min: -3, max: 3, noNaN: true });
    const wear = fc.double({ min: -50, max: 50, noNaN: true });
    fc.assert(
      fc.property(bend, wear, (b, x) => {
        const back = bentBack(straightened(x, b), b);
        // At three limits the scale of a bend of 3 is all but level: a rounding error there is worth exp(9) of wear.
        expect(Math.abs(back - x)).toBeLessThan(1e-11 * (1 + Math.abs(x)));
      }),
      { seed: 3, numRuns: 2000 },
    );
  });

  test("slopes and the derivative by the bend agree with differences, across the bounds of the series", () => {
    const h = 1e-5;
    for (const bend of bends) {
      for (const x of [-2, -0.5, 0.3, 1.2, 2.9, 3.5]) {
        const difference = (straightened(x + h, bend) - straightened(x - h, bend)) / (2 * h);
        expect(straightenedSlope(x, bend) / difference).toBeCloseTo(1, 6);
      }
      const difference = (Math.log(slopeWhenNew(bend + h)) - Math.log(slopeWhenNew(bend - h))) / (2 * h);
      expect(logSlopeWhenNewByBend(bend)).toBeCloseTo(difference, 7);
    }
  });

  test("many at once are the same as one by one", () => {
    const all = Float64Array.from(wears);
    const places = new Float64Array(all.length);
    const slopes = new Float64Array(all.length);
    for (const bend of bends) {
      straightenAll(all, bend, places, slopes);
      wears.forEach((x, j) => {
        expect(places[j]! / (straightened(x, bend) || 1)).toBeCloseTo(x === 0 ? 0 : 1, 11);
        expect(slopes[j]! / straightenedSlope(x, bend)).toBeCloseTo(1, 11);
      });
    }
  });
});
