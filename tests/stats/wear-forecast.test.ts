import { describe, expect, test } from "vitest";
import {
  conditionMultipliers,
  fitWearLine,
  forecastNewPiece,
  forecastWear,
  populationSummary,
  type WearForecast,
  type WearObservation,
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
const readings = (rate: number, usages: number[], extra: Partial<WearObservation> = {}): WearObservation[] =>
  usages.map((usage, j) => ({ usage, wear: rate * usage + 0.01 * Math.sin(5 * j + 300 * rate), ...extra }));
const piece = (id: string, observations: WearObservation[], extra: Partial<WearPiece> = {}): WearPiece => ({
  id,
  limit: 1,
  observations,
  ...extra,
});
const line = [0.02, 0.024, 0.03, 0.026].map((rate, i) => piece(`p${i}`, readings(rate, [5, 10, 15, 20])));
const fit = fitWearLine({ pieces: line, limit: 1 }, prior);

/** Every number that a forecast can give. */
function numbersOf(forecast: WearForecast): (number | null)[] {
  const { wear, rate } = forecast;
  return [
    ...[wear.p10, wear.median, wear.p90, rate.p10, rate.median, rate.p90, forecast.pastLimitProbability],
    ...[0, 1, 20, 1e6, 1e300].map((u) => forecast.remainingCdf(u)),
    ...[1e-6, 0.1, 0.5, 0.9, 1 - 1e-6].map((p) => forecast.remainingQuantile(p)),
    forecast.remainingMean,
  ];
}

function expectSound(forecast: WearForecast): void {
  for (const value of numbersOf(forecast)) expect(value === null || Number.isFinite(value)).toBe(true);
  expect(forecast.wear.p10).toBeLessThanOrEqual(forecast.wear.median);
  expect(forecast.wear.median).toBeLessThanOrEqual(forecast.wear.p90);
  expect(forecast.rate.p10).toBeGreaterThanOrEqual(0);
  expect(forecast.pastLimitProbability).toBeGreaterThanOrEqual(0);
  expect(forecast.pastLimitProbability).toBeLessThanOrEqual(1);
}

describe("forecast of a piece", () => {
  test("the chance of passing the limit starts at 0, never falls and ends at 1", () => {
    const forecast = forecastWear(fit, line[0]!, { usage: 20 });
    let before = 0;
    expect(forecast.remainingCdf(0)).toBe(0);
    for (let u = 0.5; u < 120; u += 0.5) {
      const now = forecast.remainingCdf(u);
      expect(now).toBeGreaterThanOrEqual(before - 1e-9);
      before = now;
    }
    expect(before).toBeGreaterThan(0.999);
  });

  test("quantiles undo the distribution, and the mean is the mean of the quantiles", () => {
    const forecast = forecastWear(fit, line[1]!, { usage: 21 });
    let sum = 0;
    for (let k = 0; k < 200; k++) {
      const p = (k + 0.5) / 200;
      const u = forecast.remainingQuantile(p)!;
      expect(forecast.remainingCdf(u)).toBeCloseTo(p, 4);
      sum += u / 200;
    }
    expect(Math.abs(forecast.remainingMean! / sum - 1)).toBeLessThan(0.005);
  });

  test("a piece that wears faster has less left", () => {
    const left = line.map((one) => forecastWear(fit, one, { usage: 20 }).remainingQuantile(0.5)!);
    expect(left[0]).toBeGreaterThan(left[1]!);
    expect(left[1]).toBeGreaterThan(left[3]!);
    expect(left[3]).toBeGreaterThan(left[2]!);
    // At 0.02 a unit with 0.4 worn, 30 units are left.
    expect(Math.abs(left[0]! / 30 - 1)).toBeLessThan(0.15);
  });

  test("each further reading on the line narrows the forecast of its life", () => {
    const width = [1, 2, 4, 6].map((n) => {
      const one = piece("new", readings(0.025, [4, 8, 12, 16, 20, 24].slice(0, n)));
      const forecast = forecastWear(fit, one, { usage: 24 });
      return forecast.remainingQuantile(0.9)! - forecast.remainingQuantile(0.1)!;
    });
    expect(width[1]).toBeLessThan(width[0]!);
    expect(width[2]).toBeLessThan(width[1]!);
    expect(width[3]).toBeLessThan(width[2]!);
  });

  test("usage since the last reading is counted: later now, less left and more worn", () => {
    const early = forecastWear(fit, line[2]!, { usage: 20 });
    const late = forecastWear(fit, line[2]!, { usage: 26 });
    expect(late.remainingQuantile(0.5)!).toBeLessThan(early.remainingQuantile(0.5)! - 4);
    expect(late.wear.median).toBeGreaterThan(early.wear.median + 0.1);
    expect(late.pastLimitProbability).toBeLessThan(0.1);
  });

  test("a piece in the fit is not counted twice: its forecast is that of the fit it was part of", () => {
    // With one piece of six readings, counting it twice would halve the variance of the line's hyper-parameters.
    const one = piece("only", readings(0.04, [4, 8, 12, 16]));
    const single = fitWearLine({ pieces: [one], limit: 1 }, prior);
    const known = forecastWear(single, one, { usage: 16 });
    const again = forecastWear(single, { ...one, id: "another" }, { usage: 16 });
    const empty = fitWearLine({ pieces: [], limit: 1 }, prior);
    const fresh = forecastWear(empty, one, { usage: 16 });
    const median = (f: WearForecast): number => f.remainingQuantile(0.5)!;
    // The update of an empty line by the piece is the same law, found on other points.
    expect(Math.abs(median(known) / median(fresh) - 1)).toBeLessThan(0.1);
    expect(again.remainingQuantile(0.9)! - again.remainingQuantile(0.1)!).toBeLessThan(
      known.remainingQuantile(0.9)! - known.remainingQuantile(0.1)!,
    );
  });

  test("the law has no stairs, even for a piece that leaves few points of the fit with weight", () => {
    const one = piece(
      "x",
      [5, 10, 15, 20].map((usage) => ({ usage, wear: 0.031 * usage })),
    );
    const quiet = { ...prior, runSpread: 0.1 };
    const forecast = forecastWear(fitWearLine({ pieces: [], limit: 1 }, quiet), one, { usage: 20 });
    let before = 0;
    const steps: number[] = [];
    for (let u = 6; u < 20; u += 0.25) {
      steps.push(forecast.remainingCdf(u) - before);
      before = forecast.remainingCdf(u);
    }
    for (let i = 1; i < steps.length; i++)
      if (Math.max(steps[i]!, steps[i - 1]!) > 0.01) {
        expect(steps[i]! / steps[i - 1]!).toBeLessThan(2);
        expect(steps[i]! / steps[i - 1]!).toBeGreaterThan(0.5);
      }
  });

  test("a new piece may have its own limit: half the limit, about half the life", () => {
    const whole = forecastNewPiece(fit).remainingQuantile(0.5)!;
    const half = forecastNewPiece(fit, { limit: 0.5 }).remainingQuantile(0.5)!;
    expect(half / whole).toBeGreaterThan(0.42);
    expect(half / whole).toBeLessThan(0.6);
  });
});

describe("readings that do not fit", () => {
  const clean = piece("a", readings(0.025, [4, 8, 12, 16, 20]));
  const spoilt = (index: number, wear: number): WearPiece =>
    piece(
      "a",
      clean.observations.map((o, j) => (j === index ? { ...o, wear } : o)),
    );

  test("a digit misread is named, weighs nothing, and the forecast stays where it was", () => {
    const forecast = forecastWear(fit, clean, { usage: 20 });
    for (const [index, wear] of [
      [1, 2.0],
      [2, 0.03],
      [4, 0.8],
    ] as const) {
      const wrong = forecastWear(fit, spoilt(index, wear), { usage: 20 });
      expect(wrong.surprises.map((s) => s.index)).toEqual([index]);
      expect(wrong.surprises[0]!.weight).toBeLessThan(0.05);
      expect(Math.abs(wrong.surprises[0]!.standardScore)).toBeGreaterThan(5);
      expect(Math.abs(wrong.wear.median - forecast.wear.median)).toBeLessThan(0.05);
      expect(Math.abs(wrong.remainingQuantile(0.5)! / forecast.remainingQuantile(0.5)! - 1)).toBeLessThan(
        0.15,
      );
    }
  });

  test("readings on the trend are no surprise", () => {
    expect(forecastWear(fit, clean, { usage: 20 }).surprises).toEqual([]);
  });

  test("a size of error between the two is weighed, not cut off: the weight falls steadily", () => {
    const weights = [0.5, 0.56, 0.62, 0.68, 0.74].map((wear) => {
      const { surprises } = forecastWear(fit, spoilt(4, wear), { usage: 20 });
      return surprises[0]?.weight ?? 1;
    });
    for (let k = 1; k < weights.length; k++) expect(weights[k]!).toBeLessThanOrEqual(weights[k - 1]! + 1e-9);
    expect(weights[0]).toBe(1);
    expect(weights.at(-1)).toBeLessThan(0.1);
  });

  test("two wrong readings of six are found together", () => {
    const one = piece("a", readings(0.025, [4, 8, 12, 16, 20, 24]));
    one.observations[1]!.wear = 1.4;
    one.observations[3]!.wear = 0.04;
    const { surprises } = forecastWear(fit, one, { usage: 24 });
    expect(surprises.map((s) => s.index)).toEqual([1, 3]);
  });

  test("the readings of a line teach the reading error: coarse readings widen it", () => {
    const coarse = [0.02, 0.025, 0.03].map((rate, i) =>
      piece(
        `c${i}`,
        [5, 8, 11, 14, 17, 20].map((usage, j) => ({
          usage,
          wear: rate * usage + 0.06 * Math.cos(9 * j + i),
        })),
      ),
    );
    const learned = populationSummary(fitWearLine({ pieces: coarse, limit: 1 }, prior)).readingSd;
    expect(learned).toBeGreaterThan(0.03);
    expect(populationSummary(fit).readingSd).toBeLessThan(0.02);
  });
});

describe("grades by eye", () => {
  const graded = (grades: number[]): WearForecast =>
    forecastWear(
      fit,
      piece(
        "g",
        grades.map((grade, j) => ({ usage: 8 * (j + 1), grade })),
      ),
      { usage: 8 * grades.length },
    );
  test("a worse grade means more wear and less life", () => {
    const all = [1, 2, 3, 4].map((grade) => {
      const observations = [
        { usage: 10, grade: 1 },
        { usage: 28, grade },
      ];
      return forecastWear(fit, piece("g", observations), { usage: 28 });
    });
    for (let g = 1; g < 4; g++) {
      expect(all[g]!.wear.median).toBeGreaterThan(all[g - 1]!.wear.median);
      expect(all[g]!.remainingQuantile(0.5)!).toBeLessThan(all[g - 1]!.remainingQuantile(0.5)!);
    }
    expect(all[3]!.pastLimitProbability).toBeGreaterThan(0.3);
  });
  test("a grade that cannot be, after what was seen before, is taken as a slip", () => {
    expect(graded([0, 4]).wear.median).toBeLessThan(0.6);
  });
  test("grade 0 is one-sided: it never makes the wear negative beyond the doubt of the as-new size", () => {
    const { wear } = graded([0, 0, 0]);
    expect(wear.p10).toBeGreaterThan(-0.03);
    expect(wear.median).toBeLessThan(0.35);
  });
  test("a line known by grades alone has a forecast", () => {
    const pieces = [0, 1, 2].map((i) =>
      piece(
        `g${i}`,
        [1, 2, 3].map((grade, j) => ({ usage: (6 + i) * (j + 1), grade })),
      ),
    );
    const only = fitWearLine({ pieces, limit: 1 }, prior);
    const left = forecastNewPiece(only).remainingQuantile(0.5)!;
    expect(left).toBeGreaterThan(18);
    expect(left).toBeLessThan(40);
  });
});

describe("start and conditions", () => {
  test("a second-hand piece of unknown past takes its level from its first reading", () => {
    const observations = [
      { usage: 0, wear: 0.5 },
      { usage: 5, wear: 0.62 },
    ];
    const used = forecastWear(fit, piece("s", observations, { startSd: 0.5, priorUsageSd: 10 }), {
      usage: 5,
    });
    expect(used.wear.median).toBeCloseTo(0.62, 1);
    expect(used.surprises).toEqual([]);
    expect(used.rate.median).toBeLessThan(0.035);
  });

  test("an as-new size known exactly leaves no wear at the start", () => {
    const forecast = forecastWear(fit, piece("z", [], { startSd: 0 }), { usage: 0 });
    expect(forecast.wear).toEqual({ p10: 0, median: 0, p90: 0 });
  });

  test("a surface that wears twice as fast is learned, and only the usage ahead counts at multiplier 1", () => {
    const conditions = [
      { name: "abrasive", multiplier: 1.3 },
      { name: "never met", multiplier: 3, sdLog: 0.2 },
    ];
    const withConditions: WearPrior = { ...prior, conditions };
    const pieces = [0, 1, 2, 3, 4, 5].map((i) =>
      piece(
        `s${i}`,
        [6, 12, 18].map((usage, j) => {
          const rough = usage * (i % 3) * 0.5;
          return { usage, exposures: [rough, 0], wear: 0.015 * (usage + rough) + 0.01 * Math.sin(3 * j + i) };
        }),
      ),
    );
    const learned = fitWearLine({ pieces, limit: 1 }, withConditions);
    const [abrasive, never] = conditionMultipliers(learned);
    expect(abrasive!.median).toBeGreaterThan(1.6);
    expect(abrasive!.median).toBeLessThan(2.3);
    expect(abrasive!.p10).toBeGreaterThan(1.3);
    expect(never!.median).toBeCloseTo(3, 9);
    expect(learned.activeConditions).toEqual([0]);
    const smooth = forecastWear(learned, pieces[0]!, { usage: 18, exposures: [0, 0] });
    expect(Math.abs(smooth.remainingQuantile(0.5)! / ((1 - 0.27) / 0.015) - 1)).toBeLessThan(0.2);
    const moved = forecastWear(learned, pieces[0]!, { usage: 22, exposures: [4, 0] });
    expect(moved.wear.median - smooth.wear.median).toBeGreaterThan(0.08);
  });
});

describe("bad input", () => {
  const refuse = (observations: WearObservation[], extra: Partial<WearPiece> = {}): void => {
    const bad = piece("bad", observations, extra);
    expect(() => fitWearLine({ pieces: [bad], limit: 1 }, prior)).toThrow(RangeError);
    expect(() => forecastWear(fit, bad, { usage: 100 })).toThrow(RangeError);
  };
  test("usage backwards, infinities, NaN, unknown grades, limits of 0 are refused with a RangeError", () => {
    refuse([
      { usage: 5, wear: 0.1 },
      { usage: 4, wear: 0.1 },
    ]);
    refuse([{ usage: Infinity, wear: 0.1 }]);
    refuse([{ usage: -1, wear: 0.1 }]);
    refuse([{ usage: 1, wear: Number.NaN }]);
    refuse([{ usage: 1, wear: -Infinity }]);
    refuse([{ usage: 1, wear: 0.1, sd: -1 }]);
    refuse([{ usage: 1, grade: 5 }]);
    refuse([{ usage: 1, grade: 0.5 }]);
    refuse([{ usage: 1, exposures: [1], wear: 0 }]);
    refuse([], { limit: 0 });
    refuse([], { startSd: Infinity });
    expect(() => forecastWear(fit, line[0]!, { usage: 19 })).toThrow(RangeError);
    expect(() => forecastNewPiece(fit, { limit: -1 })).toThrow(RangeError);
    expect(() => fitWearLine({ pieces: [line[0]!, line[0]!], limit: 1 }, prior)).toThrow(RangeError);
    expect(() => fitWearLine({ pieces: [], limit: Infinity }, prior)).toThrow(RangeError);
    for (const broken of [
      { life: { p10: 5, p90: 5 } },
      { life: { p10: 0, p90: 5 } },
      { pieceSpread: 0 },
      { runSpread: Number.NaN },
      { usagePerRun: -1 },
      { readingSd: -1 },
      { gradeSd: 0 },
      { conditions: [{ name: "x", multiplier: 0 }] },
    ])
      expect(() => fitWearLine({ pieces: [], limit: 1 }, { ...prior, ...broken })).toThrow(RangeError);
    const forecast = forecastNewPiece(fit);
    expect(() => forecast.remainingCdf(-1)).toThrow(RangeError);
    expect(() => forecast.remainingCdf(Number.NaN)).toThrow(RangeError);
    expect(() => forecast.remainingQuantile(0)).toThrow(RangeError);
    expect(() => forecast.remainingQuantile(1)).toThrow(RangeError);
  });

  test("strange but possible readings give finite answers", () => {
    const strange: Record<string, WearPiece> = {
      "all equal": piece(
        "a",
        [1, 2, 3].map((usage) => ({ usage, wear: 0.5 })),
      ),
      "no wear": piece(
        "a",
        [10, 20, 60].map((usage) => ({ usage, wear: 0 })),
      ),
      growing: piece(
        "a",
        [10, 20, 30].map((usage) => ({ usage, wear: -usage / 50 })),
      ),
      "all past the limit": piece(
        "a",
        [1, 2, 3].map((usage) => ({ usage, wear: 2 + usage })),
      ),
      "all at usage 0": piece(
        "a",
        [0, 0, 0].map((usage, j) => ({ usage, wear: 0.01 * j })),
      ),
      "error of 0": piece(
        "a",
        [5, 10].map((usage) => ({ usage, wear: usage / 50, sd: 0 })),
        { startSd: 0 },
      ),
      "error beyond measure": piece("a", [{ usage: 5, wear: 0.1, sd: 1e300 }], { startSd: 1e300 }),
      "from 1e-300 to 1e300": piece("a", [
        { usage: 1e-300, wear: 1e300 },
        { usage: 1e300, wear: 1e-300 },
      ]),
      "contradicting grades": piece(
        "a",
        [4, 0, 4, 0].map((grade, j) => ({ usage: 5 * j, grade })),
      ),
      "tiny limit": piece("a", [{ usage: 5, wear: 0.1 }], { limit: 1e-300 }),
      "usage without readings": piece("a", [{ usage: 5 }, { usage: 9 }]),
    };
    for (const one of Object.values(strange)) {
      const own = fitWearLine({ pieces: [one], limit: 1 }, prior);
      expectSound(forecastNewPiece(own));
      expectSound(forecastWear(own, one, { usage: one.observations.at(-1)!.usage }));
      expect(JSON.stringify(own)).not.toContain("null");
    }
  });

  test("a piece surely past its limit has nothing left", () => {
    const past = piece(
      "a",
      [1, 2, 3].map((usage) => ({ usage, wear: 2 + usage })),
    );
    const forecast = forecastWear(fitWearLine({ pieces: [past], limit: 1 }, prior), past, { usage: 3 });
    expect(forecast.pastLimitProbability).toBeGreaterThan(0.999);
    expect(forecast.remainingQuantile(0.5)).toBe(0);
    expect(forecast.remainingMean).toBe(0);
  });

  test("priors and units from 1e-300 to 1e300 give finite answers", () => {
    for (const unit of [1e-300, 1e-150, 1e150, 1e298]) {
      const own: WearPrior = {
        ...prior,
        life: { p10: 20 * unit, p90: 80 * unit },
        usagePerRun: unit,
        startSd: 0.02 * unit,
        readingSd: 0.02 * unit,
      };
      const one = piece(
        "a",
        [5, 10].map((u) => ({ usage: u * unit, wear: 0.025 * u * unit })),
        { limit: unit },
      );
      const scaled = fitWearLine({ pieces: [one], limit: unit }, own);
      const forecast = forecastWear(scaled, one, { usage: 10 * unit });
      expectSound(forecast);
      expect(forecast.remainingQuantile(0.5)! / unit).toBeGreaterThan(20);
      expect(forecast.remainingQuantile(0.5)! / unit).toBeLessThan(45);
    }
    for (const life of [
      { p10: 1e-300, p90: 1e300 },
      { p10: 40, p90: 40.0001 },
    ])
      expectSound(forecastNewPiece(fitWearLine({ pieces: [line[0]!], limit: 1 }, { ...prior, life })));
  });

  test("ten thousand readings at one usage end in a few seconds, not in a hang", () => {
    const many = piece(
      "many",
      Array.from({ length: 10_000 }, (_, i) => ({ usage: 10, wear: 0.3 + 0.02 * Math.sin(i) })),
    );
    const from = performance.now();
    const own = fitWearLine({ pieces: [many], limit: 1 }, prior);
    const forecast = forecastWear(own, many, { usage: 10 });
    expect(performance.now() - from).toBeLessThan(10_000);
    expectSound(forecast);
    expect(forecast.wear.median).toBeCloseTo(0.3, 3);
  });
});
