/** The real data of the back-tests, with the limits and origins that the reference results used. */
import type { DriftSeries, WearPrior } from "../../src/stats/index.ts";
import { lasers, unitsOf } from "../stats/units.ts";

export interface BacktestData {
  units: DriftSeries[];
  limit: number;
  origins: (readings: number) => number[];
  horizon: number;
  /**
   * what somebody might have believed before: a usual life within a factor of five, round numbers for the rest; the start
   * is exact, because all three records count from the first reading of the unit
   */
  prior: WearPrior;
  /** standard deviation of a reading, where it depends on what is read */
  errorOf?: (reading: number) => number;
}

const sixfold = (units: readonly DriftSeries[]): number =>
  6 * Math.max(...units.map(({ time }) => time.at(-1)!));

/** Fifteen lasers, time in 1000 h, pseudo-limit 6 % or another (Meeker & Escobar 1998). */
export function laserData(limit = 6): BacktestData {
  const units = [...lasers(1000).values()];
  return {
    units,
    limit,
    origins: (n) => Array.from({ length: n - 3 }, (_, i) => i + 3),
    horizon: sixfold(units),
    prior: {
      // A higher limit is believed to be met later, in proportion.
      life: { p10: (1.5 * limit) / 6, p90: (8 * limit) / 6 },
      pieceSpread: 0.25,
      runSpread: 0.3,
      usagePerRun: 0.25,
      startSd: 0,
      readingSd: 0.05,
    },
  };
}

const everySecondFrom3 = (n: number): number[] =>
  Array.from({ length: n }, (_, k) => k).filter((k) => k >= 3 && k % 2 === 1);
/** Crack length at the start and at the end of the test, inch. */
const crack = { start: 0.9, end: 1.25 };
/** Turns crack lengths that speed up into something that grows more evenly; in fact it then slows down. */
const evened = (length: number): number => 1 - (length / crack.start) ** -3.75;

/** Lengths are stated to 0.01 inch: the standard deviation of what rounding takes away. */
const rounding = 0.01 / Math.sqrt(12);
/** How much faster the evened scale runs than the length, at a place on it. */
const evenedSlope = (place: number): number =>
  (3.75 / crack.start) * Math.max(1 - place, 1e-3) ** (4.75 / 3.75);

/**
 * Cracks in twenty-one specimens of alloy A, time in 0.01 million cycles, above their first length; as they are, or evened
 * (Lu & Meeker 1993, Technometrics 35, Table 1).
 */
export function alloyData(form: "raw" | "evened"): BacktestData {
  const grown = (length: number): number => (form === "raw" ? length - crack.start : evened(length));
  const units = [...unitsOf("data/alloya.csv").values()].map(({ time, reading }) => ({
    time: time.slice(1).map((t) => t * 100),
    reading: reading.slice(1).map(grown),
  }));
  return {
    units,
    limit: grown(crack.end),
    origins: everySecondFrom3,
    horizon: sixfold(units),
    prior: {
      life: { p10: 4, p90: 20 },
      pieceSpread: 0.25,
      runSpread: 0.25,
      usagePerRun: 1,
      startSd: 0,
      readingSd: rounding,
    },
    errorOf: (place) => rounding * (form === "raw" ? 1 : evenedSlope(place)),
  };
}

/**
 * Fade of four battery cells at every sixth cycle, time in 100 cycles, limit 0.4 Ah (Saha & Goebel 2007).
 *
 * Alike cells lose capacity with a spread of about a tenth of what they have lost (Bartholdsson Frenander & Thiringer 2024,
 * Journal of Energy Storage 102); these were discharged down to unlike voltages, so that somewhat more is believed.
 */
export function batteryData(pieceSpread = 0.2): BacktestData {
  const units = [...unitsOf("data/battery.csv").values()].map(({ time, reading }) => {
    const every = time.flatMap((_, i) => (i % 6 === 5 ? [i] : []));
    return { time: every.map((i) => time[i]! / 100), reading: every.map((i) => reading[0]! - reading[i]!) };
  });
  return {
    units,
    limit: 0.4,
    origins: (n) => Array.from({ length: n }, (_, k) => k).filter((k) => k >= 4 && k % 2 === 0),
    horizon: sixfold(units),
    prior: {
      life: { p10: 0.5, p90: 2.5 },
      pieceSpread,
      runSpread: 0.5,
      usagePerRun: 0.06,
      startSd: 0,
      readingSd: 0.02,
    },
  };
}
