import { readFileSync } from "node:fs";
import { describe, expect, test } from "vitest";
import { backtest, type Scores } from "../calibrate/backtest.ts";
import { laserData } from "../calibrate/data.ts";
import { pluggedIn, wearLine } from "../calibrate/methods.ts";
import { caseOf, expectCase } from "./cases.ts";

const { units, limit, origins, horizon, prior } = laserData();
const prefixed = (prefix: string, scores: Scores): Record<string, number> =>
  Object.fromEntries(Object.entries(scores).map(([name, value]) => [`${prefix}_${name}`, value]));

const baselines = JSON.parse(readFileSync("tests/reference/statistics/backtests.json", "utf8")) as {
  results: Record<string, Record<string, { rul_crps: number }>>;
};

describe("back-test on the lasers, each forecast from the fourteen others", () => {
  test("straight lines and drift process score as in R (Meeker & Escobar 1998)", () => {
    const lines = backtest(units, limit, pluggedIn(limit, { diffusion: false }), origins, horizon);
    const drift = backtest(units, limit, pluggedIn(limit, {}), origins, horizon, { gridSize: 200 });
    expectCase(caseOf("laser-backtest"), { ...prefixed("LMM", lines), ...prefixed("WME", drift) });
  });

  test("the wear line forecasts crossings nearly as well as the drift process at its best, better than lines", () => {
    const some = (n: number): number[] => origins(n).filter((k) => k % 3 === 0);
    const scores = backtest(units, limit, wearLine(limit, prior), some, horizon, {
      gridSize: 60,
      readings: false,
    });
    const published = baselines.results["laser, limit 6, LOO, first origin 3"]!;
    expect(scores.rul_n).toBeGreaterThan(40);
    // Bands stated with the baselines: coverage of few crossings, CRPS at most 1.15 times the drift process.
    expect(scores.rul_cov80).toBeGreaterThan(0.65);
    expect(scores.rul_cov80).toBeLessThan(0.97);
    expect(scores.rul_crps).toBeLessThan(1.15 * published["WME"]!.rul_crps);
    expect(scores.rul_crps).toBeLessThan(published["LMM0"]!.rul_crps);
  });
});
