import { describe, expect, test } from "vitest";
import { fitWearLine, forecastNewPiece, type WearPiece, type WearPrior } from "../../src/stats/index.ts";

const prior: WearPrior = {
  life: { p10: 20, p90: 80 },
  pieceSpread: 0.3,
  runSpread: 0.2,
  usagePerRun: 1,
  startSd: 0,
  readingSd: 0.01,
};
/** Five pieces read at six usages; their wear is a power of usage. */
const line = (exponent: number): WearPiece[] =>
  [0.8, 0.9, 1, 1.1, 1.25].map((rate, i) => ({
    id: `p${i}`,
    limit: 1,
    observations: [5, 10, 15, 20, 25, 30].map((usage) => ({ usage, wear: rate * (usage / 45) ** exponent })),
  }));
const straightWeight = (pieces: WearPiece[], over: Partial<WearPrior> = {}): number =>
  fitWearLine({ pieces, limit: 1 }, { ...prior, ...over })
    .points.filter(({ hyper }) => hyper.exponent === 1 && hyper.bend === 0)
    .reduce((sum, { weight }) => sum + weight, 0);

describe("straight and bent paths weighed against each other", () => {
  test("without readings they count as believed: one in ten straight", () => {
    expect(straightWeight([])).toBeCloseTo(0.1, 6);
    expect(straightWeight([], { straightShare: 0.5 })).toBeCloseTo(0.5, 6);
  });

  test("straight readings raise the weight of the straight path, bent ones leave it none", () => {
    expect(straightWeight(line(1))).toBeGreaterThan(0.4);
    expect(straightWeight(line(0.6))).toBeLessThan(0.001);
    expect(straightWeight(line(1.6))).toBeLessThan(0.001);
  });

  test("a straightShare of 0 leaves it out, and so do two hundred pieces", () => {
    expect(straightWeight(line(1), { straightShare: 0 })).toBe(0);
    const many = Array.from({ length: 40 }, (_, k) =>
      line(1).map((one) => ({ ...one, id: `${one.id} ${k}` })),
    ).flat();
    expect(straightWeight(many)).toBe(0);
  });

  test("weights are those of Bayes: odds are prior odds times the ratio of the evidences of the two shapes", () => {
    const pieces = line(1);
    const evidence = (over: Partial<WearPrior>) =>
      fitWearLine({ pieces, limit: 1 }, { ...prior, ...over }).logEvidence;
    const bent = Math.log(0.8) + evidence({ straightShare: 0 });
    const straight = Math.log(0.2) + evidence({ exponentSd: 0, bendSd: 0 });
    expect(Math.abs(straightWeight(pieces) - 1 / (1 + Math.exp(bent - straight)))).toBeLessThan(0.02);
  });

  test("the forecast of a new piece lies between those of the two shapes alone", () => {
    const pieces = line(0.9).slice(0, 2);
    const median = (over: Partial<WearPrior>) =>
      forecastNewPiece(fitWearLine({ pieces, limit: 1 }, { ...prior, ...over })).remainingQuantile(0.75)!;
    const ends = [median({ straightShare: 0 }), median({ exponentSd: 0, bendSd: 0 })].sort((a, b) => a - b);
    expect(median({})).toBeGreaterThan(ends[0]!);
    expect(median({})).toBeLessThan(ends[1]!);
  });
});
