import { DomainError } from "../domain/errors.ts";
import {
  type AgeReplacement,
  ageReplacement,
  conditionalSurvival,
  fitLife,
  type Interval,
  type LifeDistribution,
  type LifeFit,
  type LifeObservation,
  type LifePosterior,
  type LifePrior,
  lifeHazard,
  lifeLogSurvival,
  lifePosterior,
  lifeQuantile,
  lifeSurvival,
  posteriorQuantiles,
  posteriorResidualQuantile,
  residualQuantile,
} from "../stats/index.ts";
import { asked } from "./ask-statistics.ts";

const usualQuantiles = [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95];
const nothingFitted = {
  parameters: null,
  standardErrors: null,
  intervals: null,
  logLikelihood: null,
  b10: null,
  median: null,
  mean: null,
};

export interface LifeFitQuestion {
  distribution: "weibull" | "lognormal";
  observations: LifeObservation[];
  prior?: LifePrior | undefined;
}

/**
 * The law of life that makes the observations likeliest; with a prior, what is believed after them as well. With a prior
 * the observations may be too few for the former: it is then null, and `noFit` says why.
 *
 * @throws {DomainError} `inconsistent` if the observations allow no law and there is no prior, or a number is refused
 */
export function calculateLifeFit({ distribution, observations, prior }: LifeFitQuestion) {
  if (prior === undefined) return { ...bestLife(distribution, observations), noFit: null };
  const posterior = asked("#/prior", () => believedLife(lifePosterior(distribution, observations, prior)));
  try {
    return { ...bestLife(distribution, observations), noFit: null, posterior };
  } catch (error) {
    if (!(error instanceof DomainError)) throw error;
    return { ...nothingFitted, noFit: error.message, posterior };
  }
}

const parametersOf = (life: LifeDistribution) =>
  life.distribution === "weibull"
    ? { shape: life.shape, scale: life.scale }
    : { meanLog: life.meanLog, sdLog: life.sdLog };

/** A side on which the observations set no limit is null. */
const sides = ({ low, high }: Interval) => ({
  low: Number.isFinite(low) ? low : null,
  high: Number.isFinite(high) ? high : null,
});

function limitsOf(fit: LifeFit) {
  const limits = fit.intervals as Record<string, Interval>;
  const limit = (name: string) => sides(limits[name]!);
  const ages = { b10: limit("b10"), median: limit("median"), mean: limit("mean") };
  return fit.life.distribution === "weibull"
    ? { shape: limit("shape"), scale: limit("scale"), ...ages }
    : { meanLog: limit("meanLog"), sdLog: limit("sdLog"), ...ages };
}

function bestLife(distribution: "weibull" | "lognormal", observations: readonly LifeObservation[]) {
  return asked("#/observations", () => {
    const fit = fitLife(distribution, observations);
    return {
      parameters: parametersOf(fit.life),
      standardErrors: fit.standardErrors,
      intervals: limitsOf(fit),
      logLikelihood: fit.logLikelihood,
      b10: fit.b10,
      median: fit.median,
      mean: fit.mean,
    };
  });
}

function believedLife(posterior: LifePosterior) {
  const rangeOf = (f: (life: LifeDistribution) => number) => {
    const [p10, median, p90] = posteriorQuantiles(posterior, f, [0.1, 0.5, 0.9]) as [number, number, number];
    return { p10, median, p90 };
  };
  const ofNewItem = (p: number) => posteriorResidualQuantile(posterior, 0, p, { inData: false });
  const medianRange = rangeOf((life) => lifeQuantile(life, 0.5));
  const logs = ({ p10, median, p90 }: typeof medianRange) => ({
    p10: Math.log(p10),
    median: Math.log(median),
    p90: Math.log(p90),
  });
  return {
    parameters:
      posterior.distribution === "weibull"
        ? {
            shape: rangeOf((life) => (life.distribution === "weibull" ? life.shape : 1)),
            scale: rangeOf((life) => (life.distribution === "weibull" ? life.scale : 1)),
          }
        : {
            // exp(meanLog) is the median.
            meanLog: logs(medianRange),
            sdLog: rangeOf((life) => (life.distribution === "lognormal" ? life.sdLog : 1)),
          },
    b10: rangeOf((life) => lifeQuantile(life, 0.1)),
    median: medianRange,
    life: { p10: ofNewItem(0.1), median: ofNewItem(0.5), p90: ofNewItem(0.9) },
  };
}

/**
 * Refuses an age that practically no item of this life reaches: nothing can be said of one that did.
 *
 * @throws {DomainError} `inconsistent`
 */
export function requireReachable(pointer: string, life: LifeDistribution, age: number): void {
  if (asked("#/life", () => [Math.max(-1e300, lifeLogSurvival(life, age))])[0]! > -1e9) return;
  const detail = "No item of this life reaches that age: check the age, the life and their units";
  throw new DomainError("inconsistent", detail, [{ pointer, detail }]);
}

/**
 * What is left of an item that is alive at `age`.
 *
 * @throws {DomainError} `inconsistent` if no item reaches that age, or a number is refused
 */
export function calculateRemainingLife(question: {
  life: LifeDistribution;
  age: number;
  horizon: number;
  quantiles?: number[] | undefined;
}) {
  const { life, age, horizon, quantiles = usualQuantiles } = question;
  requireReachable("#/age", life, age);
  return asked("#/life", () => ({
    conditionalSurvival: conditionalSurvival(life, age, horizon),
    remaining: {
      quantiles: quantiles.map((probability) => ({
        probability,
        usage: residualQuantile(life, age, probability),
      })),
      median: residualQuantile(life, age, 0.5),
    },
  }));
}

/**
 * The age at which a planned replacement is cheapest in the long run, or that none is.
 *
 * @throws {DomainError} `inconsistent` if a number is refused
 */
export function calculateReplacementInterval(question: {
  life: LifeDistribution;
  plannedCost: number;
  failureCost: number;
}): AgeReplacement {
  const { life, ...costs } = question;
  return asked("#/life", () =>
    ageReplacement({
      survival: (t) => lifeSurvival(life, t),
      hazard: (t) => lifeHazard(life, t),
      ...costs,
    }),
  );
}
