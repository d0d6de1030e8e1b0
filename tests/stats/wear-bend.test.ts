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

  test("wear that feeds on itself grows with usage as the log of it, wear that settles as an exponential (hand calculation)", () => {
    // Four times as fast at the limit as when new: x = -ln(1 - 3/4 s) / ln 4.
    expect(bentBack(0.5, Math.log(4))).toBeCloseTo(-Math.log(1 - 0.375) / Math.log(4), 12);
    // A quarter as fast: it would end at 4/3 of the limit, x = 4/3 (1 - 4^-s).
    expect(bentBack(0.5, -Math.log(4))).toBeCloseTo(2 / 3, 12);
    expect(bentBack(2, -Math.log(4))).toBeCloseTo(1.25, 12);
  });

  test("where wear settles, its rate falls in a straight line with the wear, down to the end of the scale", () => {
    const bend = -0.7;
    const rate = (x: number): number => straightenedSlope(0, bend) / straightenedSlope(x, bend);
    for (const x of [-1, 0.2, 0.7, 1, 1.4]) expect(rate(x)).toBeCloseTo(1 - (1 - Math.exp(bend)) * x, 12);
    expect(rate(2)).toBeCloseTo(Math.exp(3 * bend), 12);
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
      // At 0 the two laws meet: the derivative turns a corner there, and a difference takes the mean of both sides.
      expect(logSlopeWhenNewByBend(bend)).toBeCloseTo(difference, Math.abs(bend) < 1e-5 ? 6 : 7);
    }
  });

  test("many at once are the same as one by one", () => {
    const all = Float64Array.from(wears);
    const places = new Float64Array(all.length);
    const slopes = new Float64Array(all.length);
    for (const bend of bends) {
      straightenAll(all, all, bend, places, slopes);
      wears.forEach((x, j) => {
        expect(places[j]! / (straightened(x, bend) || 1)).toBeCloseTo(x === 0 ? 0 : 1, 11);
        expect(slopes[j]! / straightenedSlope(x, bend)).toBeCloseTo(1, 11);
      });
    }
  });

  test("away from the middle of what is known of the wear, a reading lies on the tangent there", () => {
    const middles = Float64Array.from(wears);
    const readings = middles.map((x, j) => x + 0.1 * (j - 6));
    const places = new Float64Array(middles.length);
    const slopes = new Float64Array(middles.length);
    for (const bend of bends) {
      straightenAll(readings, middles, bend, places, slopes);
      wears.forEach((x, j) => {
        const slope = straightenedSlope(x, bend);
        expect(slopes[j]! / slope).toBeCloseTo(1, 11);
        const off = places[j]! - straightened(x, bend) - slope * (readings[j]! - x);
        expect(Math.abs(off)).toBeLessThan(1e-11 * (1 + Math.abs(places[j]!)));
      });
    }
  });

  test("a bend close to 0 leaves the wear as it is but for bend (x - x²) / 2, on either side", () => {
    for (const size of [1e-6, 1e-8, 1e-10, 1e-13, 1e-300, 0])
      for (const bend of [-size, size])
        for (const x of [-0.8, 0.1, 0.9, 2.5]) {
          const off = straightened(x, bend) - x;
          expect(Math.abs(off - (bend * (x - x * x)) / 2)).toBeLessThan(5 * size * size + 1e-14);
          expect(bentBack(straightened(x, bend), bend)).toBeCloseTo(x, 13);
        }
  });
});
