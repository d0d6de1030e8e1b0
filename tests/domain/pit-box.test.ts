import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { burdens, dayChance, pitBox, type PitLine } from "../../src/domain/pit-box.ts";
import { poissonLaw } from "../../src/stats/index.ts";

const line = (mean: number, carStopper: boolean, burden = 5, perChange = 1): PitLine => ({
  needed: poissonLaw(mean),
  carStopper,
  perChange,
  burden,
});

describe("the pit box", () => {
  it("holds one of every car-stopper, however unlikely, and of others only what is likely", () => {
    const box = pitBox(
      [line(0.001, true), line(0.05, false), line(0.5, false), line(0.001, true, 5, 2)],
      0.9,
    );
    expect(box).toEqual([
      { pieces: 1, why: "car-stopper" },
      { pieces: 0, why: null },
      { pieces: 1, why: "likely" },
      { pieces: 2, why: "car-stopper" },
    ]);
  });

  it("takes more until the day is safe enough, the lightest gain first", () => {
    const lines = [line(0.6, true, 50), line(0.6, true, 5)];
    const box = pitBox(lines, 0.85);
    expect(box[1]).toEqual({ pieces: 2, why: "target" });
    expect(box[0]).toEqual({ pieces: 1, why: "car-stopper" });
  });

  it("meets every target below 1, and a higher one never carries less", () => {
    fc.assert(
      fc.property(
        fc.array(
          fc.tuple(
            fc.double({ min: 0, max: 3, noNaN: true }),
            fc.boolean(),
            fc.integer({ min: 1, max: 9000 }),
          ),
          {
            minLength: 1,
            maxLength: 8,
          },
        ),
        fc.double({ min: 0.5, max: 0.999, noNaN: true }),
        (given, target) => {
          const lines = given.map(([mean, stopper, price]) => line(mean, stopper, price));
          const carried = (wanted: number) => pitBox(lines, wanted).map(({ pieces }) => pieces);
          expect(dayChance(lines, carried(target))).toBeGreaterThanOrEqual(target - 1e-9);
          const more = carried(target + (0.9995 - target) / 2);
          expect(carried(target).every((pieces, i) => pieces <= more[i]!)).toBe(true);
        },
      ),
      { numRuns: 100, seed: 5 },
    );
  });

  it("weighs a line without a weight by its price, at the grams for the money that weighed lines have in the middle", () => {
    const priced = (weightGrams: number | null, priceOfPiece: number) => ({ weightGrams, priceOfPiece });
    expect(burdens([priced(10, 1000), priced(40, 2000), priced(null, 300), priced(90, 3000)])).toEqual([
      10, 40, 6, 90,
    ]);
    expect(burdens([priced(null, 300), priced(null, 0)])).toEqual([300, 1]);
    expect(burdens([])).toEqual([]);
  });
});
