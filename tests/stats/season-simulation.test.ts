import { expect, test } from "vitest";
import {
  convolveAll,
  demandLaw,
  mixture,
  normalPdf,
  pmfMean,
  pmfVariance,
  renewalCounts,
  scaleToBatches,
  shareWithoutShortage,
  simulateSeasons,
} from "../../src/stats/index.ts";

type Line = { shape: number; scale: number; logScaleSd?: number; breakageRate?: number };
type Position = { line: number; age: number; horizon: number; batch?: number };

/** Exact law of a line's demand: convolution of its positions given the factor, averaged over the factor. */
function exactLaw(line: Line, positions: readonly Position[]): number[] {
  const { shape, logScaleSd = 0, breakageRate = 0 } = line;
  const given = (scale: number) => {
    const survival = (t: number) => Math.exp(-((t / scale) ** shape) - breakageRate * t);
    return convolveAll(
      positions.map(({ age, horizon, batch = 1 }) => {
        const { probabilities } = renewalCounts({
          firstCdf: (t) => (t <= 0 ? 0 : 1 - survival(age + t) / survival(age)),
          laterCdf: (t) => (t <= 0 ? 0 : 1 - survival(t)),
          horizon,
        });
        return scaleToBatches(probabilities, batch);
      }),
    );
  };
  if (logScaleSd === 0) return given(line.scale);
  return mixture(
    Array.from({ length: 21 }, (_, i) => (i - 10) * 0.55).map((z) => ({
      weight: normalPdf(z),
      probabilities: given(line.scale * Math.exp(logScaleSd * z)),
    })),
  );
}

/** No cumulative share differs from the exact chance by more than four standard errors. */
function expectSameLaw(taken: Int32Array, exact: readonly number[]): void {
  const simulated = demandLaw(taken);
  let [share, chance] = [0, 0];
  for (let k = 0; k < exact.length; k++) {
    share += simulated[k] ?? 0;
    chance += exact[k]!;
    const error = Math.sqrt((Math.max(0, chance * (1 - chance)) + 1 / taken.length) / taken.length);
    expect(Math.abs(share - chance), `P(D <= ${k})`).toBeLessThan(4 * error);
  }
}

test("simulation and exact convolution agree for worn, new, broken, paired and uncertain lines", () => {
  const lines: Line[] = [
    { shape: 2.5, scale: 40 },
    { shape: 3, scale: 40, logScaleSd: 0.25 },
    { shape: 3, scale: 50, breakageRate: 0.01 },
    { shape: 0.8, scale: 30, logScaleSd: 0.4, breakageRate: 0.005 },
    { shape: 4, scale: 25 },
  ];
  const positions: Position[] = [
    ...[10, 25, 38].map((age) => ({ line: 0, age, horizon: 60 })),
    ...[0, 0, 0, 0].map((age) => ({ line: 1, age, horizon: 60 })),
    { line: 2, age: 0, horizon: 60 },
    { line: 2, age: 45, horizon: 20 },
    { line: 3, age: 12, horizon: 50 },
    { line: 4, age: 5, horizon: 70, batch: 2 },
    // Outlived all but two in a million: the tail of the quantile has to hold.
    { line: 4, age: 47, horizon: 30, batch: 4 },
  ];
  const { demand } = simulateSeasons({ lines, positions, seasons: 12_000, seed: 5 });
  lines.forEach((line, index) => {
    expectSameLaw(
      demand[index]!,
      exactLaw(
        line,
        positions.filter((position) => position.line === index),
      ),
    );
  });
});

test("a factor shared by the line widens its demand as the law of total variance says, 4.38 against 1.16", () => {
  const positions = Array.from({ length: 4 }, () => ({ line: 0, age: 0, horizon: 60 }));
  const ask = (logScaleSd: number) =>
    demandLaw(
      simulateSeasons({ lines: [{ shape: 3, scale: 40, logScaleSd }], positions, seasons: 40_000, seed: 3 })
        .demand[0]!,
    );
  expect(pmfVariance(ask(0.25))).toBeCloseTo(4.38, 0);
  expect(pmfVariance(ask(0))).toBeCloseTo(1.16, 1);
  expect(pmfMean(ask(0.25))).toBeCloseTo(5.21, 1);
});

test("a common factor ties lines together: both are served more often than the product of their chances says", () => {
  const lines = [
    { shape: 3, scale: 40 },
    { shape: 3, scale: 40 },
  ];
  const positions = [0, 1].flatMap((line) => [0, 1, 2].map(() => ({ line, age: 0, horizon: 60 })));
  const tied = simulateSeasons({ lines, positions, seasons: 20_000, seed: 11, commonLogScaleSd: 0.3 });
  const stock = [4, 4];
  const { share, standardError } = shareWithoutShortage(tied, stock);
  const single = tied.demand.map((taken) =>
    demandLaw(taken)
      .slice(0, 5)
      .reduce((sum, value) => sum + value, 0),
  );
  expect(share).toBeGreaterThan(single[0]! * single[1]! + 4 * standardError);
  expect(share).toBeLessThanOrEqual(Math.min(...single));
});

test("the same seed gives the same seasons, and another line leaves the first line's numbers as they were", () => {
  const one = { shape: 2, scale: 30, logScaleSd: 0.2 };
  const positions = [{ line: 0, age: 3, horizon: 50 }];
  const alone = simulateSeasons({ lines: [one], positions, seasons: 500, seed: 9 });
  const again = simulateSeasons({ lines: [one], positions, seasons: 500, seed: 9 });
  const beside = simulateSeasons({
    lines: [one, { shape: 4, scale: 10 }],
    positions: [...positions, { line: 1, age: 0, horizon: 50 }],
    seasons: 500,
    seed: 9,
  });
  expect(again).toEqual(alone);
  expect(beside.demand[0]).toEqual(alone.demand[0]);
  expect(simulateSeasons({ lines: [one], positions, seasons: 500, seed: 10 })).not.toEqual(alone);
});

test("nothing is used where there is no use ahead", () => {
  const { demand } = simulateSeasons({
    lines: [{ shape: 2, scale: 30, breakageRate: 0.1 }],
    positions: [{ line: 0, age: 100, horizon: 0 }],
    seasons: 50,
    seed: 1,
  });
  expect(demandLaw(demand[0]!)).toEqual([1]);
});

test("impossible seasons are refused with a RangeError that names the function", () => {
  const good = {
    lines: [{ shape: 2, scale: 30 }],
    positions: [{ line: 0, age: 0, horizon: 10 }],
    seasons: 10,
    seed: 1,
  };
  for (const change of [
    { seasons: 0 },
    { seasons: 1.5 },
    { commonLogScaleSd: -1 },
    { lines: [{ shape: 0, scale: 1 }] },
    { lines: [{ shape: 1, scale: Number.NaN }] },
    { lines: [{ shape: 1, scale: 1, breakageRate: -1 }] },
    { positions: [{ line: 1, age: 0, horizon: 10 }] },
    { positions: [{ line: 0, age: -1, horizon: 10 }] },
    { positions: [{ line: 0, age: 0, horizon: Number.NaN }] },
    { positions: [{ line: 0, age: 0, horizon: 1, batch: 0 }] },
    { positions: [{ line: 0, age: 1e200, horizon: 1 }] },
  ]) {
    expect(() => simulateSeasons({ ...good, ...change }), JSON.stringify(change)).toThrow(
      /^simulateSeasons requires/,
    );
  }
  expect(() => simulateSeasons({ ...good, seed: 0.5 })).toThrow(/^createRandom requires/);
  expect(() => shareWithoutShortage(simulateSeasons(good), [])).toThrow(/^shareWithoutShortage requires/);
  expect(() => demandLaw(new Int32Array(0))).toThrow(/^demandLaw requires/);
});

test.each([20, 200])(
  "breakages many times more frequent than seasons are all counted: 2 a unit through %s, as a Poisson number",
  (horizon) => {
    const { demand } = simulateSeasons({
      lines: [{ shape: 3, scale: 10_000, breakageRate: 2 }],
      positions: [{ line: 0, age: 0, horizon, batch: 1 }],
      seasons: 10_000,
      seed: 4,
    });
    const law = demandLaw(demand[0]!);
    const mean = 2 * horizon;
    // Four standard errors.
    expect(Math.abs(pmfMean(law) - mean)).toBeLessThan(4 * Math.sqrt(mean / 10_000));
    expect(Math.abs(pmfVariance(law) - mean)).toBeLessThan(4 * mean * Math.sqrt(2 / 10_000));
  },
);

test("few seasons, in which lives are followed one by one, have the law of many, in which counts are drawn", () => {
  const line = { shape: 2.5, scale: 40, logScaleSd: 0.2, breakageRate: 0.004 };
  const positions = [0, 12, 30].map((age) => ({ line: 0, age, horizon: 70 }));
  const few = Array.from({ length: 30 }, (_, seed) =>
    Array.from(simulateSeasons({ lines: [line], positions, seasons: 999, seed }).demand[0]!),
  ).flat();
  expectSameLaw(Int32Array.from(few), exactLaw(line, positions));
  const many = simulateSeasons({ lines: [line], positions, seasons: 30_000, seed: 1 }).demand[0]!;
  expectSameLaw(many, exactLaw(line, positions));
});
