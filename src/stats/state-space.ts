/**
 * Wiener process with a random normal drift, read with error: filter, likelihood, maximum likelihood.
 *
 * Level x(t) = start + b t + diffusion · B(t), b ~ N(drift, driftSd²), reading = x + e, e ~ N(0, readingSd²)
 * (Whitmore 1995; Peng & Tseng 2009). With diffusion 0 it is a straight line per unit with independent errors.
 * The wear-line model of this folder is built on the same filter, with log-normal rates.
 */
import type { LevelAndDrift } from "./first-passage.ts";
import { minimise } from "./optimise.ts";

/** Readings of one unit in order of time. */
export interface DriftSeries {
  time: readonly number[];
  reading: readonly number[];
}

/** Standard deviations of the process, each >= 0. */
export interface DriftScatter {
  /** of the drift from unit to unit */
  driftSd: number;
  /** of the level, per root of a unit of time */
  diffusionSd: number;
  /** of a reading */
  readingSd: number;
  /** of the level at time 0, default 0 */
  startSd?: number;
}

const LOG_2PI = Math.log(2 * Math.PI);

function requireSeries(name: string, { time, reading }: DriftSeries): void {
  if (time.length !== reading.length) throw new RangeError(`${name} requires one reading per time`);
  if (![...time, ...reading].every(Number.isFinite)) throw new RangeError(`${name} requires finite numbers`);
  if (time.some((t, j) => t < (j === 0 ? 0 : time[j - 1]!)))
    throw new RangeError(`${name} requires times >= 0 that never go backwards`);
}

function requireScatter(name: string, scatter: DriftScatter): void {
  const { driftSd, diffusionSd, readingSd, startSd = 0 } = scatter;
  if (![driftSd, diffusionSd, readingSd, startSd].every((s) => s >= 0 && s < Infinity))
    throw new RangeError(`${name} requires standard deviations >= 0`);
}

/** Sums of the filter with zero prior mean, for the readings (y) and for time in their place (x). */
interface Sums {
  logDeterminant: number;
  count: number;
  yy: number;
  xy: number;
  xx: number;
}

/**
 * One pass with two right-hand sides that share their gains (de Jong 1991). Readings with no variance at all, such as
 * those at time 0 of an exactly known start, say nothing and are left out.
 */
function run(series: DriftSeries, scatter: DriftScatter, sums: Sums, drift: number): LevelAndDrift {
  const { driftSd, diffusionSd, readingSd, startSd = 0 } = scatter;
  const { time, reading } = series;
  let p11 = startSd * startSd;
  let p12 = 0;
  let p22 = driftSd * driftSd;
  const y = [0, drift];
  const x = [0, 1];
  let previous = 0;
  for (let j = 0; j < time.length; j++) {
    const d = time[j]! - previous;
    previous = time[j]!;
    y[0]! += d * y[1]!;
    x[0]! += d * x[1]!;
    p11 += d * (2 * p12 + d * p22) + diffusionSd * diffusionSd * d;
    p12 += d * p22;
    const s = p11 + readingSd * readingSd;
    if (!(s > 0)) continue;
    const offY = reading[j]! - y[0]!;
    // Time as the data: the regressor of the mean drift, which the filter with mean 0 leaves unexplained.
    const offX = x[0]!;
    const k1 = p11 / s;
    const k2 = p12 / s;
    y[0]! += k1 * offY;
    y[1]! += k2 * offY;
    x[0]! -= k1 * offX;
    x[1]! -= k2 * offX;
    p22 -= k2 * p12;
    p12 *= 1 - k1;
    p11 *= 1 - k1;
    sums.logDeterminant += LOG_2PI + Math.log(s);
    sums.count++;
    sums.yy += (offY * offY) / s;
    sums.xy += (offX * offY) / s;
    sums.xx += (offX * offX) / s;
  }
  return {
    level: y[0]!,
    drift: y[1]!,
    levelVariance: Math.max(0, p11),
    covariance: p12,
    driftVariance: Math.max(0, p22),
  };
}

const noSums = (): Sums => ({ logDeterminant: 0, count: 0, yy: 0, xy: 0, xx: 0 });

/**
 * Level and drift of one unit after its last reading, with the log-likelihood of the readings.
 *
 * @param drift mean of the drift before the readings
 * @throws {RangeError} if an argument is outside its range
 */
export function filterDrift(
  series: DriftSeries,
  drift: number,
  scatter: DriftScatter,
): LevelAndDrift & { logLikelihood: number } {
  requireSeries("filterDrift", series);
  requireScatter("filterDrift", scatter);
  if (!Number.isFinite(drift)) throw new RangeError("filterDrift requires a finite drift");
  const sums = noSums();
  const state = run(series, scatter, sums, drift);
  return { ...state, logLikelihood: -0.5 * (sums.logDeterminant + sums.yy) };
}

/**
 * Normal law of the level after `ahead` more time; a further reading adds readingSd² to the variance.
 *
 * @throws {RangeError} if `ahead` is not >= 0 and finite
 */
export function predictLevel(
  state: LevelAndDrift,
  diffusionSd: number,
  ahead: number,
): { mean: number; variance: number } {
  if (!(ahead >= 0 && ahead < Infinity)) throw new RangeError("predictLevel requires a finite time >= 0");
  return {
    mean: state.level + state.drift * ahead,
    variance:
      state.levelVariance +
      ahead * (2 * state.covariance + ahead * state.driftVariance) +
      diffusionSd * diffusionSd * ahead,
  };
}

/**
 * Mean drift over units for given scatter: generalised least squares, with the likelihoods that go with it.
 *
 * @returns the drift and its variance; `logLikelihood` at that drift; `restrictedLogLikelihood` with the drift
 *   integrated out under a flat prior
 * @throws {RangeError} if an argument is outside its range or no reading says anything of the drift
 */
export function profileDrift(
  units: readonly DriftSeries[],
  scatter: DriftScatter,
): { drift: number; driftVariance: number; logLikelihood: number; restrictedLogLikelihood: number } {
  for (const series of units) requireSeries("profileDrift", series);
  requireScatter("profileDrift", scatter);
  const profile = profileOf(units, scatter);
  if (profile === undefined) throw new RangeError("profileDrift requires a reading at a time > 0");
  return profile;
}

function profileOf(
  units: readonly DriftSeries[],
  scatter: DriftScatter,
): ReturnType<typeof profileDrift> | undefined {
  const sums = noSums();
  for (const series of units) run(series, scatter, sums, 0);
  if (!(sums.xx > 0)) return undefined;
  const drift = sums.xy / sums.xx;
  const profiled = sums.logDeterminant + sums.yy - (sums.xy * sums.xy) / sums.xx;
  return {
    drift,
    driftVariance: 1 / sums.xx,
    logLikelihood: -0.5 * profiled,
    restrictedLogLikelihood: -0.5 * (profiled + Math.log(sums.xx) - LOG_2PI),
  };
}

/** Which of the three kinds of scatter the model has; all by default. */
export interface DriftModel {
  driftSpread?: boolean;
  diffusion?: boolean;
  readingError?: boolean;
}

export interface DriftFit extends Required<DriftScatter> {
  drift: number;
  driftVariance: number;
  logLikelihood: number;
}

/**
 * Maximum-likelihood fit of the drift process over several units, all starting at level 0.
 *
 * The scatter is found by BFGS in logs, the mean drift exactly for each scatter. A maximum at the boundary
 * (no reading error, no spread) is reported as a very small standard deviation.
 *
 * @throws {RangeError} if the readings do not determine a scale (none, or all at time 0), or nothing is left to vary
 */
export function fitDrift(units: readonly DriftSeries[], model: DriftModel = {}): DriftFit {
  for (const series of units) requireSeries("fitDrift", series);
  const span = Math.max(0, ...units.map(({ time }) => time.at(-1) ?? 0));
  const height = Math.max(0, ...units.flatMap(({ reading }) => reading.map(Math.abs)));
  if (!(span > 0 && height > 0)) throw new RangeError("fitDrift requires readings other than 0 at times > 0");
  const { driftSpread = true, diffusion = true, readingError = true } = model;
  if (!driftSpread && !diffusion && !readingError) throw new RangeError("fitDrift requires some scatter");
  // Time over the longest record and readings over the largest, so that all logs are of order one.
  const scaled = units.map(({ time, reading }) => ({
    time: time.map((t) => t / span),
    reading: reading.map((y) => y / height),
  }));
  const names = ["driftSd", "diffusionSd", "readingSd"] as const;
  const used = names.filter((_, i) => [driftSpread, diffusion, readingError][i]);
  const scatterOf = (x: readonly number[]): DriftScatter => {
    const scatter = { driftSd: 0, diffusionSd: 0, readingSd: 0 };
    used.forEach((name, i) => {
      scatter[name] = Math.exp(Math.max(-25, Math.min(25, x[i]!)));
    });
    return scatter;
  };
  const objective = (x: readonly number[]): number => {
    const value = profileOf(scaled, scatterOf(x));
    return value && Number.isFinite(value.logLikelihood) ? -value.logLikelihood : Infinity;
  };
  const first = { driftSd: -1.5, diffusionSd: -2, readingSd: -3 };
  const best = minimise(
    objective,
    used.map((name) => first[name]),
    { step: 1e-4, gradientTolerance: 1e-7 },
  );
  const scatter = scatterOf(best.x);
  const { drift, driftVariance, logLikelihood } = profileOf(scaled, scatter)!;
  const readings = units.reduce((sum, { reading }) => sum + reading.length, 0);
  return {
    drift: (drift * height) / span,
    driftVariance: driftVariance * (height / span) ** 2,
    driftSd: (scatter.driftSd * height) / span,
    diffusionSd: (scatter.diffusionSd * height) / Math.sqrt(span),
    readingSd: scatter.readingSd * height,
    startSd: 0,
    logLikelihood: logLikelihood - readings * Math.log(height),
  };
}

/**
 * Time at which a series first reaches a limit, by straight lines between its readings.
 *
 * @returns null when it never does
 * @throws {RangeError} if the series is not in order of time or not finite
 */
export function crossingTime(series: DriftSeries, limit: number): number | null {
  requireSeries("crossingTime", series);
  const { time, reading } = series;
  const j = reading.findIndex((y) => y >= limit);
  if (j < 0) return null;
  if (j === 0) return time[0]!;
  const share = (limit - reading[j - 1]!) / (reading[j]! - reading[j - 1]!);
  return time[j - 1]! + share * (time[j]! - time[j - 1]!);
}
