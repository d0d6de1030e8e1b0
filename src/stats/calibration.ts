/** Whether probabilities mean what they say: coverage of intervals, and the probability integral transform (PIT). */
import { betaQuantile } from "./beta.ts";
import { gammaQ } from "./gamma.ts";

/** Below this many independent forecasts a coverage is no evidence: at 0.8 its standard deviation exceeds 0.07. */
const ENOUGH_FORECASTS = 30;

export type Coverage = {
  forecasts: number;
  inside: number;
  /** inside / forecasts. */
  share: number;
  /** 95 % limits of the true coverage (Clopper & Pearson, 1934), forecasts taken as independent. */
  limits: { low: number; high: number };
  /** At least 30 forecasts. */
  enough: boolean;
  /** The stated level lies within the limits. */
  asStated: boolean;
};

/**
 * How often intervals of a stated level held what happened.
 *
 * @param forecasts at least one; ends may be infinite, an outcome on an end is inside
 * @param level stated, in (0, 1)
 * @throws {RangeError} if there is no forecast, `level` is outside its range, or a number is missing
 */
export function intervalCoverage(
  forecasts: readonly { low: number; high: number; outcome: number }[],
  level: number,
): Coverage {
  if (forecasts.length === 0) throw new RangeError("intervalCoverage requires at least one forecast");
  if (!(level > 0 && level < 1))
    throw new RangeError(`intervalCoverage requires level in (0, 1), got ${level}`);
  if (forecasts.some(({ low, high, outcome }) => !(low <= high) || Number.isNaN(outcome))) {
    throw new RangeError("intervalCoverage requires low <= high and a number as outcome");
  }
  const n = forecasts.length;
  const inside = forecasts.filter(({ low, high, outcome }) => outcome >= low && outcome <= high).length;
  const low = inside === 0 ? 0 : betaQuantile(0.025, { alpha: inside, beta: n - inside + 1 });
  const high = inside === n ? 1 : betaQuantile(0.975, { alpha: inside + 1, beta: n - inside });
  return {
    forecasts: n,
    inside,
    share: inside / n,
    limits: { low, high },
    enough: n >= ENOUGH_FORECASTS,
    asStated: low <= level && level <= high,
  };
}

export type Uniformity = {
  /** Forecasts in each of the equal bins from 0 to 1. */
  counts: number[];
  /** Pearson's chi-square against equal counts. */
  chiSquare: number;
  /** Probability of so large a chi-square, or larger, if the forecasts were calibrated. */
  pValue: number;
};

/**
 * Histogram of PIT values, F(y) of each forecast, with a test that they are uniform. A U shape says that the
 * forecasts are too narrow, a hump that they are too wide, a slope that they are biased.
 *
 * @param pits values in [0, 1], at least five for each bin
 * @param bins 10 if absent, at least 2
 * @throws {RangeError} if a value is outside [0, 1], or there are too few values or bins
 */
export function pitUniformity(pits: readonly number[], bins = 10): Uniformity {
  if (!(Number.isInteger(bins) && bins >= 2))
    throw new RangeError(`pitUniformity requires bins >= 2, got ${bins}`);
  if (pits.length < 5 * bins) {
    throw new RangeError(
      `pitUniformity requires at least ${5 * bins} values for ${bins} bins, got ${pits.length}`,
    );
  }
  if (!pits.every((pit) => pit >= 0 && pit <= 1))
    throw new RangeError("pitUniformity requires values in [0, 1]");
  const counts = new Array<number>(bins).fill(0);
  for (const pit of pits) counts[Math.min(bins - 1, Math.floor(pit * bins))]! += 1;
  const expected = pits.length / bins;
  const chiSquare = counts.reduce((sum, count) => sum + (count - expected) ** 2 / expected, 0);
  return { counts, chiSquare, pValue: gammaQ((bins - 1) / 2, chiSquare / 2) };
}
