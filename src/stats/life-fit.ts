/** Maximum-likelihood fit of a life distribution to exact, right-, left-, interval-censored and truncated lives. */
import { chiSquareQuantile, digamma, logGamma, trigamma } from "./gamma.ts";
import { type LifeObservation, packLives } from "./life-data.ts";
import {
  type LifeDistribution,
  type LognormalLife,
  lifeMean,
  lifeQuantile,
  type WeibullLife,
} from "./life-distribution.ts";
import {
  type LifeProblem,
  type LifeTarget,
  type LogCovariance,
  likelihoodRatioLimits,
  waldLimits,
} from "./life-interval.ts";
import type { LifeFamily } from "./life-likelihood.ts";
import { type LifePoint, maximiseLife } from "./life-maximum.ts";
import { normalQuantile } from "./normal.ts";

export type Interval = { low: number; high: number };

/** The two parameters by name: `shape` and `scale`, or `meanLog` and `sdLog`. */
export type LifeParameters<D extends LifeDistribution> = D extends WeibullLife
  ? { shape: number; scale: number }
  : { meanLog: number; sdLog: number };

export type LifeFit<D extends LifeDistribution = LifeDistribution> = {
  life: D;
  /** From the observed information, by the delta method, on the natural scale. */
  standardErrors: LifeParameters<D>;
  /** Covariance of the parameters in the order (shape, scale) or (meanLog, sdLog). */
  covariance: [[number, number], [number, number]];
  /** Limits of the parameters and of three ages; 0 or Infinity where the data set none. */
  intervals: { [name in keyof LifeParameters<D> | "b10" | "median" | "mean"]: Interval };
  logLikelihood: number;
  /** Akaike's criterion, 2 · 2 - 2 · logLikelihood. */
  aic: number;
  b10: number;
  median: number;
  mean: number;
  /** Number of lives of each kind, counts included. */
  observations: { failed: number; running: number; between: number; before: number };
  iterations: number;
};

/**
 * `level` of the intervals, in (0, 1); 0.95 if absent.
 * `limits`: `likelihood-ratio` if absent; `wald`, from the curvature on the log scale, costs nothing more and is as
 * good with hundreds of failures.
 */
export type LifeFitOptions = { level?: number; limits?: "likelihood-ratio" | "wald" };

/** Location and ln spread as the distribution's own parameters. */
export function lifeFromPoint(family: LifeFamily, location: number, logSpread: number): LifeDistribution {
  return family === "weibull"
    ? { distribution: "weibull", shape: Math.exp(-logSpread), scale: Math.exp(location) }
    : { distribution: "lognormal", meanLog: location, sdLog: Math.exp(logSpread) };
}

/** Standard quantile w of the law: the p-quantile of life is exp(location + w spread). */
export function standardQuantile(family: LifeFamily, p: number): number {
  return family === "weibull" ? Math.log(-Math.log1p(-p)) : normalQuantile(p);
}

function quantileTarget(family: LifeFamily, p: number): LifeTarget {
  const w = standardQuantile(family, p);
  return (logSpread) => {
    const offset = w * Math.exp(logSpread);
    return [offset, offset, offset];
  };
}

/** ln(mean life) - location: ln Γ(1 + spread) for Weibull, spread² / 2 for log-normal. */
function meanTarget(family: LifeFamily): LifeTarget {
  if (family === "lognormal") {
    return (logSpread) => {
      const square = Math.exp(2 * logSpread);
      return [square / 2, square, 2 * square];
    };
  }
  return (logSpread) => {
    const spread = Math.exp(logSpread);
    const slope = spread * digamma(1 + spread);
    return [logGamma(1 + spread), slope, slope + spread * spread * trigamma(1 + spread)];
  };
}

function logCovarianceOf({ at }: LifePoint): LogCovariance {
  const determinant = at.location2 * at.logSpread2 - at.cross * at.cross;
  return {
    location: -at.logSpread2 / determinant,
    cross: at.cross / determinant,
    logSpread: -at.location2 / determinant,
  };
}

function intervalsOf(problem: LifeProblem, method: "likelihood-ratio" | "wald") {
  const { family } = problem;
  const limits = (target: LifeTarget) =>
    method === "wald" ? waldLimits(target, problem) : likelihoodRatioLimits(target, problem);
  const onAge = (target: LifeTarget): Interval => {
    const [low, high] = limits(target);
    return { low: Math.exp(low), high: Math.exp(high) };
  };
  const [spreadLow, spreadHigh] = limits("logSpread");
  const [locationLow, locationHigh] = limits(() => [0, 0, 0]);
  const ages = {
    b10: onAge(quantileTarget(family, 0.1)),
    median: onAge(quantileTarget(family, 0.5)),
    mean: onAge(meanTarget(family)),
  };
  return family === "weibull"
    ? {
        shape: { low: Math.exp(-spreadHigh), high: Math.exp(-spreadLow) },
        scale: { low: Math.exp(locationLow), high: Math.exp(locationHigh) },
        ...ages,
      }
    : {
        meanLog: { low: locationLow, high: locationHigh },
        sdLog: { low: Math.exp(spreadLow), high: Math.exp(spreadHigh) },
        ...ages,
      };
}

/** Covariance of the natural parameters by the delta method. */
function naturalCovariance(life: LifeDistribution, v: LogCovariance): [[number, number], [number, number]] {
  if (life.distribution === "weibull") {
    const { shape, scale } = life;
    const cross = -shape * scale * v.cross;
    return [
      [shape * shape * v.logSpread, cross],
      [cross, scale * scale * v.location],
    ];
  }
  const cross = life.sdLog * v.cross;
  return [
    [v.location, cross],
    [cross, life.sdLog * life.sdLog * v.logSpread],
  ];
}

/**
 * Fits a Weibull or log-normal distribution of life by maximum likelihood.
 *
 * @param distribution which law
 * @param observations lives; ages in one unit, in which every age of the answer is given
 * @throws {RangeError} if an observation is outside its range, or the data allow no finite maximum: no
 *   failure, or one single age agrees with all observations
 * @throws {ConvergenceError} if the likelihood has its supremum at an unbounded spread
 */
export function fitLife(
  distribution: "weibull",
  observations: readonly LifeObservation[],
  options?: LifeFitOptions,
): LifeFit<WeibullLife>;
export function fitLife(
  distribution: "lognormal",
  observations: readonly LifeObservation[],
  options?: LifeFitOptions,
): LifeFit<LognormalLife>;
export function fitLife(
  distribution: LifeFamily,
  observations: readonly LifeObservation[],
  options?: LifeFitOptions,
): LifeFit;
export function fitLife(
  distribution: LifeFamily,
  observations: readonly LifeObservation[],
  { level = 0.95, limits = "likelihood-ratio" }: LifeFitOptions = {},
): LifeFit {
  if (!(level > 0 && level < 1)) throw new RangeError(`fitLife requires level in (0, 1), got ${level}`);
  const lives = packLives("fitLife", observations);
  const best = maximiseLife("fitLife", distribution, lives);
  const life = lifeFromPoint(distribution, best.location, best.logSpread);
  const logCovariance = logCovarianceOf(best);
  const covariance = naturalCovariance(life, logCovariance);
  const [first, second] = [Math.sqrt(covariance[0][0]), Math.sqrt(covariance[1][1])];
  const standardErrors =
    distribution === "weibull" ? { shape: first, scale: second } : { meanLog: first, sdLog: second };
  return {
    life,
    standardErrors,
    covariance,
    intervals: intervalsOf(
      { family: distribution, lives, best, covariance: logCovariance, drop: chiSquareQuantile(level, 1) / 2 },
      limits,
    ),
    logLikelihood: best.at.value,
    aic: 4 - 2 * best.at.value,
    b10: lifeQuantile(life, 0.1),
    median: lifeQuantile(life, 0.5),
    mean: lifeMean(life),
    observations: lives.totals,
    iterations: best.iterations,
  } as LifeFit;
}

export type LifeChoice = {
  /** The law with the higher likelihood; both have two parameters, so that Akaike's criterion agrees. */
  better: LifeFamily;
  weibull: LifeFit<WeibullLife>;
  lognormal: LifeFit<LognormalLife>;
  /** Log-likelihood of Weibull minus that of log-normal. */
  logLikelihoodDifference: number;
  /** Akaike weight of the better law, in [0.5, 1]. */
  akaikeWeight: number;
  /** Whether the criterion differs by at least 4; below that the data do not tell the two apart. */
  decisive: boolean;
};

/**
 * Fits both laws and says which describes the lives better and how strong the evidence is
 * (Burnham & Anderson, 2002).
 *
 * @throws {RangeError} as `fitLife`
 * @throws {ConvergenceError} as `fitLife`
 */
export function chooseLife(observations: readonly LifeObservation[], options?: LifeFitOptions): LifeChoice {
  const weibull = fitLife("weibull", observations, options);
  const lognormal = fitLife("lognormal", observations, options);
  const difference = weibull.logLikelihood - lognormal.logLikelihood;
  return {
    better: difference >= 0 ? "weibull" : "lognormal",
    weibull,
    lognormal,
    logLikelihoodDifference: difference,
    akaikeWeight: 1 / (1 + Math.exp(-Math.abs(difference))),
    decisive: 2 * Math.abs(difference) >= 4,
  };
}
