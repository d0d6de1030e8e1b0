/** Leave-one-unit-out back-test: forecasts of later readings and of the crossing time, scored unit by unit. */
import { crossingTime, type DriftSeries } from "../../src/stats/index.ts";
import { normalCdf, normalPdf } from "../../src/stats/normal.ts";

/** What a model says of one unit after some of its readings. */
export interface Outlook {
  /** normal law of a reading at a later time, or only its 80 % interval */
  reading(time: number): { mean: number; sd: number };
  /** probability that the limit is crossed within `ahead`, given that it is not crossed now */
  crossing(ahead: number): number;
}

/** Learns from the other units; then looks at the first readings of a unit. */
export type Method = (others: DriftSeries[]) => (known: DriftSeries) => Outlook;

export interface Scores {
  n: number;
  cov50: number;
  cov80: number;
  cov95: number;
  crps: number;
  rul_n: number;
  rul_cov50: number;
  rul_cov80: number;
  rul_cov95: number;
  rul_crps: number;
}

/** CRPS of a law known on a grid (piecewise linear), the outcome put on the grid; cells are integrated exactly. */
function crpsOnGrid(grid: readonly number[], cdf: readonly number[], outcome: number): number {
  let sum = 0;
  const cell = (h: number, a: number, b: number, step: number): number =>
    (h * ((a - step) ** 2 + (a - step) * (b - step) + (b - step) ** 2)) / 3;
  for (let i = 1; i < grid.length; i++) {
    const [x0, x1, a, b] = [grid[i - 1]!, grid[i]!, cdf[i - 1]!, cdf[i]!];
    if (outcome <= x0) sum += cell(x1 - x0, a, b, 1);
    else if (outcome >= x1) sum += cell(x1 - x0, a, b, 0);
    else {
      const middle = a + ((b - a) * (outcome - x0)) / (x1 - x0);
      sum += cell(outcome - x0, a, middle, 0) + cell(x1 - outcome, middle, b, 1);
    }
  }
  return sum;
}

/** CRPS of a normal law (Gneiting & Raftery 2007). */
function crpsNormal(y: number, { mean: m, sd }: { mean: number; sd: number }): number {
  const z = (y - m) / sd;
  return sd * (z * (2 * normalCdf(z) - 1) + 2 * normalPdf(z) - 1 / Math.sqrt(Math.PI));
}

const share = (hits: readonly boolean[]): number => hits.filter(Boolean).length / hits.length;
const mean = (values: readonly number[]): number => values.reduce((a, b) => a + b, 0) / values.length;

/**
 * Each unit in turn is forecast by a model of the others, from every origin.
 *
 * @param origins how many readings are known at each forecast
 * @param horizon where the law of the crossing time is cut, in units of time
 * @param options.gridSize points of the law on which the CRPS is formed
 * @param options.readings whether later readings are forecast too
 */
export function backtest(
  units: readonly DriftSeries[],
  limit: number,
  method: Method,
  origins: (readings: number) => number[],
  horizon: number,
  { gridSize = 400, readings = true } = {},
): Scores {
  const scores: number[] = [];
  const crps: number[] = [];
  const crossings: { probability: number; crps: number }[] = [];
  const grid = Array.from({ length: gridSize }, (_, i) => (i / (gridSize - 1)) ** 2 * horizon);
  units.forEach((unit, u) => {
    const learned = method(units.filter((_, i) => i !== u));
    const crossed = crossingTime(unit, limit);
    for (const k of origins(unit.time.length)) {
      const known = { time: unit.time.slice(0, k), reading: unit.reading.slice(0, k) };
      const outlook = learned(known);
      for (let j = k; readings && j < unit.time.length; j++) {
        const law = outlook.reading(unit.time[j]!);
        scores.push((unit.reading[j]! - law.mean) / law.sd);
        crps.push(crpsNormal(unit.reading[j]!, law));
      }
      const now = known.time.at(-1)!;
      if (crossed === null || crossed <= now || known.reading.some((y) => y >= limit)) continue;
      let top = 0;
      const cdf = grid.map((ahead) => {
        top = Math.max(top, ahead === 0 ? 0 : outlook.crossing(ahead));
        return top;
      });
      const left = crossed - now;
      crossings.push({ probability: outlook.crossing(left), crps: crpsOnGrid(grid, cdf, left) });
    }
  });
  const within = (z: number): number => share(scores.map((s) => Math.abs(s) < z));
  const inside = (level: number): number =>
    share(crossings.map(({ probability }) => Math.abs(probability - 0.5) <= level / 2));
  return {
    n: scores.length,
    cov50: within(0.6744897501960817),
    cov80: within(1.2815515655446004),
    cov95: within(1.959963984540054),
    crps: mean(crps),
    rul_n: crossings.length,
    rul_cov50: inside(0.5),
    rul_cov80: inside(0.8),
    rul_cov95: inside(0.95),
    rul_crps: mean(crossings.map((c) => c.crps)),
  };
}
