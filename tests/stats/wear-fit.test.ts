import { describe, expect, test } from "vitest";
import {
  fitWearLine,
  forecastNewPiece,
  forecastWear,
  populationSummary,
  type WearPiece,
  type WearPrior,
} from "../../src/stats/index.ts";

const prior: WearPrior = {
  life: { p10: 20, p90: 80 },
  pieceSpread: 0.3,
  runSpread: 0.3,
  usagePerRun: 1,
  startSd: 0.02,
  readingSd: 0.02,
};

/** Five pieces of a line with rates of 0.020 to 0.035 a unit and small errors of reading. */
function fivePieces(): WearPiece[] {
  return [0.02, 0.03, 0.025, 0.022, 0.035].map((rate, i) => ({
    id: `p${i}`,
    limit: 1,
    observations: [3, 6, 9, 12, 15].map((usage, j) => ({
      usage,
      wear: rate * usage + 0.02 * Math.sin(7 * j + 100 * rate),
    })),
  }));
}

describe("fit of a line", () => {
  test("with no pieces a new piece lasts as the prior says: 10-90 % range within a tenth, median within 2 %", () => {
    const fit = fitWearLine({ pieces: [], limit: 1 }, prior);
    const forecast = forecastNewPiece(fit);
    expect(Math.abs(forecast.remainingQuantile(0.1)! / 20 - 1)).toBeLessThan(0.1);
    expect(Math.abs(forecast.remainingQuantile(0.5)! / 40 - 1)).toBeLessThan(0.02);
    expect(Math.abs(forecast.remainingQuantile(0.9)! / 80 - 1)).toBeLessThan(0.1);
    expect(fit.counts).toEqual({ pieces: 0, readings: 0 });
    expect(fit.logEvidence).toBeCloseTo(0, 9);
  });

  test("the fit survives JSON: forecasts from the copy are the same", () => {
    const pieces = fivePieces();
    const fit = fitWearLine({ pieces, limit: 1 }, prior);
    const copy = JSON.parse(JSON.stringify(fit));
    const now = { usage: 16 };
    expect(forecastWear(copy, pieces[1]!, now).remainingQuantile(0.3)).toBe(
      forecastWear(fit, pieces[1]!, now).remainingQuantile(0.3),
    );
  });

  test("with an exponentSd and a bendSd of 0 the path is straight: it stays so where the readings slow down", () => {
    const slowing = [3, 6, 9, 12, 15, 18].map((usage) => ({ usage, wear: 0.05 * usage ** 0.6 }));
    const data = { pieces: [{ id: "a", limit: 1, observations: slowing }], limit: 1 };
    expect(populationSummary(fitWearLine(data, prior)).pathExponent).toBeLessThan(0.9);
    const straight = { ...prior, exponentSd: 0, bendSd: 0 };
    expect(populationSummary(fitWearLine(data, straight)).pathExponent).toBeCloseTo(1, 4);
    expect(() => fitWearLine(data, { ...prior, exponentSd: -1 })).toThrow(/exponentSd >= 0/);
    expect(() => fitWearLine(data, { ...prior, bendSd: -1 })).toThrow(/bendSd >= 0/);
    expect(() => fitWearLine(data, { ...prior, straightShare: 1 })).toThrow(/straightShare/);
  });

  test("the rate over pieces covers the rates that made the data", () => {
    const { rate, pathExponent } = populationSummary(fitWearLine({ pieces: fivePieces(), limit: 1 }, prior));
    expect(rate.p10).toBeLessThan(0.02);
    expect(rate.median).toBeGreaterThan(0.02);
    expect(rate.median).toBeLessThan(0.03);
    expect(rate.p90).toBeGreaterThan(0.03);
    expect(pathExponent).toBeGreaterThan(0.9);
    expect(pathExponent).toBeLessThan(1.2);
  });

  test("does not depend on units: usage in seconds and wear in micrometres give the same life", () => {
    const pieces = fivePieces();
    const plain = forecastWear(fitWearLine({ pieces, limit: 1 }, prior), pieces[0]!, { usage: 15 });
    const scaledPieces = pieces.map((piece) => ({
      ...piece,
      limit: 1000,
      observations: piece.observations.map(({ usage, wear }) => ({ usage: usage * 60, wear: wear! * 1000 })),
    }));
    const scaledPrior: WearPrior = {
      ...prior,
      life: { p10: 1200, p90: 4800 },
      usagePerRun: 60,
      startSd: 20,
      readingSd: 20,
    };
    const fit = fitWearLine({ pieces: scaledPieces, limit: 1000 }, scaledPrior);
    const scaled = forecastWear(fit, scaledPieces[0]!, { usage: 900 });
    expect(scaled.remainingQuantile(0.5)! / 60).toBeCloseTo(plain.remainingQuantile(0.5)!, 3);
    expect(scaled.rate.median * 60 * 1e-3).toBeCloseTo(plain.rate.median, 6);
  });

  test("a fit that starts from an earlier one ends at the same place", () => {
    const pieces = fivePieces();
    const cold = fitWearLine({ pieces, limit: 1 }, prior);
    // Three pieces of five are new: too many for the points to be weighted anew.
    const start = fitWearLine({ pieces: pieces.slice(0, 2), limit: 1 }, prior);
    const warm = fitWearLine({ pieces, limit: 1 }, prior, { start });
    expect(warm.logEvidence).toBeCloseTo(cold.logEvidence, 1);
    expect(
      forecastNewPiece(warm).remainingQuantile(0.5)! / forecastNewPiece(cold).remainingQuantile(0.5)!,
    ).toBeCloseTo(1, 2);
  });

  test("hundreds of pieces that read the same to the last digit tell more than fifty of them, and no nonsense", () => {
    const same = (count: number): WearPiece[] =>
      Array.from({ length: count }, (_, i) => ({
        id: `p${i}`,
        limit: 1,
        observations: [
          { usage: 10, wear: 0.25 },
          { usage: 20, wear: 0.5 },
        ],
      }));
    const fits = [50, 100, 300, 600].map((count) => fitWearLine({ pieces: same(count), limit: 1 }, prior));
    const gains = fits.map(({ logEvidence, counts }) => logEvidence / counts.readings);
    for (let i = 1; i < gains.length; i++) expect(gains[i]).toBeGreaterThan(gains[i - 1]!);
    for (const fit of fits) {
      const next = forecastNewPiece(fit);
      // Two looks at a straight path to 40 leave open how it goes on, and an as-new scatter that is not there speaks for settling.
      expect(next.remainingQuantile(0.5)).toBeGreaterThan(35);
      expect(next.remainingQuantile(0.5)).toBeLessThan(65);
      expect(next.remainingQuantile(0.9)! / next.remainingQuantile(0.1)!).toBeLessThan(1.2);
    }
  });
});
