import { describe, expect, test } from "vitest";
import {
  fitWearLine,
  forecastNewPiece,
  forecastWear,
  updateWearLine,
  type WearLineFit,
  type WearPiece,
} from "../../src/stats/index.ts";
import { beforeLastReading, wearBelief, wearLimit, wornLine } from "../bench/statistics-data.ts";

const fitOf = (pieces: WearPiece[]): WearLineFit => fitWearLine({ pieces, limit: wearLimit }, wearBelief);
const update = (fit: WearLineFit, pieces: WearPiece[]): WearLineFit | undefined =>
  updateWearLine(fit, { pieces, limit: wearLimit }, wearBelief);
/** Number of equal weights that are worth as much. */
const effective = ({ points }: WearLineFit): number =>
  1 / points.reduce((sum, { weight }) => sum + weight ** 2, 0);
const weightsOf = (fit: WearLineFit): number[] => fit.points.map(({ weight }) => weight);

/** The line with only the first readings of each piece. */
const upTo = (pieces: WearPiece[], readings: number): WearPiece[] =>
  pieces.map((piece) => ({ ...piece, observations: piece.observations.slice(0, readings) }));

describe("a fit after a few more readings", () => {
  test("one reading more: the forecasts are those of a new fit, as nearly as two fits agree", () => {
    let squares = 0;
    let compared = 0;
    let renewed = 0;
    for (let seed = 1; seed <= 30; seed++) {
      const pieces = wornLine(seed, 5, 5);
      const updated = update(fitOf(beforeLastReading(pieces)), pieces);
      if (updated === undefined) {
        renewed += 1;
        continue;
      }
      const fresh = fitOf(pieces);
      for (const outlook of [
        (fit: WearLineFit) => forecastNewPiece(fit),
        (fit: WearLineFit) => forecastWear(fit, pieces[1]!, { usage: pieces[1]!.observations[4]!.usage }),
      ]) {
        const quantile = outlook(fresh).remainingQuantile(0.5)!;
        if (quantile < 1) continue;
        squares += (outlook(updated).remainingCdf(quantile) - 0.5) ** 2;
        compared += 1;
      }
    }
    expect(renewed).toBeLessThan(5);
    expect(compared).toBeGreaterThan(40);
    // Measured 0.011; two new fits with other points differ by 0.01.
    expect(Math.sqrt(squares / compared)).toBeLessThan(0.02);
  });

  test("readings taken one by one weigh the points as all of them at once do: updates do not drift", () => {
    const pieces = wornLine(8, 10, 6);
    const start = fitOf(upTo(pieces, 4));
    const withFirst = (readings: number): WearPiece[] => [
      upTo(pieces, readings)[0]!,
      ...upTo(pieces, 4).slice(1),
    ];
    const once = update(start, withFirst(6))!;
    const twice = update(update(start, withFirst(5))!, withFirst(6))!;
    expect(twice.updates).toBe(2);
    expect(once.updates).toBe(1);
    weightsOf(once).forEach((weight, k) => {
      expect(weightsOf(twice)[k]!).toBeCloseTo(weight, 6);
    });
    expect(twice.logEvidence).toBeCloseTo(once.logEvidence, 4);
    expect(twice.counts).toEqual(once.counts);
  });

  test("a reading deleted again leaves the fit that was there", () => {
    const pieces = wornLine(3, 10, 6);
    const without = (readings: number): WearPiece[] => [upTo(pieces, 6 - readings)[0]!, ...pieces.slice(1)];
    const before = update(fitOf(without(2)), without(1))!;
    const back = update(update(before, pieces)!, without(1))!;
    expect(back.points).toHaveLength(before.points.length);
    weightsOf(before).forEach((weight, k) => {
      expect(weightsOf(back)[k]!).toBeCloseTo(weight, 5);
    });
    expect(back.logEvidence).toBeCloseTo(before.logEvidence, 4);
  });

  test("an update goes on with at most 96 of the points of a new fit, every other piece keeping its log-likelihoods at them", () => {
    const pieces = wornLine(3, 5, 6);
    const before = fitOf(beforeLastReading(pieces));
    const after = update(before, pieces)!;
    expect(before.points.length).toBeGreaterThan(160);
    expect(after.points.length).toBeLessThanOrEqual(96);
    expect(weightsOf(after).reduce((sum, weight) => sum + weight, 0)).toBeCloseTo(1, 9);
    const places = after.points.map(({ hyper }) => before.points.findIndex((point) => point.hyper === hyper));
    expect(places).not.toContain(-1);
    after.pieces.slice(1).forEach(({ logLikelihood }, i) => {
      expect(logLikelihood).toEqual(places.map((k) => before.pieces[i + 1]!.logLikelihood[k]));
    });
  });

  test("a piece that is new, one that is gone, and one whose reading was corrected are all counted", () => {
    const pieces = wornLine(4, 30, 5);
    const before = fitOf(pieces.slice(0, 29));
    const corrected = {
      ...pieces[1]!,
      observations: pieces[1]!.observations.map((o, j) => (j === 2 ? { ...o, wear: o.wear! + 0.01 } : o)),
    };
    const now = [corrected, ...pieces.slice(2)];
    const updated = update(before, now)!;
    const fresh = fitOf(now);
    expect(updated.counts).toEqual({ pieces: 29, readings: 145 });
    expect(updated.pieces.map(({ id }) => id)).toEqual(now.map(({ id }) => id));
    // The evidence is an average over the points: measured difference 0.02.
    expect(Math.abs(updated.logEvidence - fresh.logEvidence)).toBeLessThan(0.2);
  });

  test("where nothing has changed the fit stays the same object", () => {
    const pieces = wornLine(5, 5, 5);
    const fit = fitOf(pieces);
    expect(update(fit, structuredClone(pieces))).toBe(fit);
  });

  test("a piece that wears three times as fast as was read before calls for a new fit", () => {
    const pieces = wornLine(6, 4, 6);
    const fit = fitOf(pieces);
    const fast = {
      ...pieces[0]!,
      observations: pieces[0]!.observations.map((o) => ({ ...o, wear: 3 * o.wear! })),
    };
    expect(update(fit, [fast, ...pieces.slice(1)])).toBeUndefined();
  });

  test("weights that pass are worth at least 20 equal ones, however long the line grows", () => {
    const pieces = wornLine(7, 4, 8);
    let fit = fitOf(upTo(pieces, 1));
    let full = 0;
    for (let readings = 2; readings <= 8; readings++)
      for (let p = 0; p < 4; p++) {
        const now = pieces.map((piece, i) => ({
          ...piece,
          observations: piece.observations.slice(0, i <= p ? readings : readings - 1),
        }));
        const updated = update(fit, now);
        if (updated === undefined) full += 1;
        else expect(effective(updated)).toBeGreaterThanOrEqual(20);
        fit = fitWearLine({ pieces: now, limit: wearLimit }, wearBelief, { start: fit });
      }
    expect(full).toBeGreaterThan(0);
    expect(full).toBeLessThan(14);
  });

  test("another prior, another limit, many changes or a surface never met before call for a new fit", () => {
    const pieces = wornLine(9, 10, 5);
    const fit = fitOf(pieces);
    const more = (count: number): WearPiece[] =>
      pieces.map((piece, i) =>
        i < count ? { ...piece, observations: piece.observations.slice(0, 4) } : piece,
      );
    expect(updateWearLine(fit, { pieces: more(1), limit: 2 }, wearBelief)).toBeUndefined();
    expect(
      updateWearLine(fit, { pieces: more(1), limit: wearLimit }, { ...wearBelief, runSpread: 0.5 }),
    ).toBeUndefined();
    expect(update(fit, more(6))).toBeUndefined();
    const surfaces = { ...wearBelief, conditions: [{ name: "rough", multiplier: 1.5 }] };
    const smooth = fitWearLine({ pieces, limit: wearLimit }, surfaces);
    const rough = {
      ...pieces[0]!,
      observations: pieces[0]!.observations.map((o) => ({ ...o, exposures: [o.usage / 2] })),
    };
    expect(
      updateWearLine(smooth, { pieces: [rough, ...pieces.slice(1)], limit: wearLimit }, surfaces),
    ).toBeUndefined();
  });

  test("usage backwards in a changed piece, and two pieces of one id, are refused with a RangeError", () => {
    const pieces = wornLine(10, 5, 5);
    const fit = fitOf(pieces);
    const backwards = {
      ...pieces[0]!,
      observations: [...pieces[0]!.observations, { usage: 0.1, wear: 0.1 }],
    };
    expect(() => update(fit, [backwards, ...pieces.slice(1)])).toThrow(RangeError);
    expect(() => update(fit, [...pieces, pieces[0]!])).toThrow(RangeError);
  });
});
