/** What a fitted line says of its pieces as a whole. */
import { normalQuantile } from "./normal.ts";
import { straightened } from "./wear-bend.ts";
import { scalePrior } from "./wear-scale.ts";
import type { Quantiles, WearHyper, WearLineFit } from "./wear-types.ts";

const Z90 = normalQuantile(0.9);

/** The power of usage that is at half the limit when the bent path is: below 1 where wear slows down. */
function pathExponent({ exponent, bend }: WearHyper): number {
  return (exponent * Math.log(0.5)) / Math.log(straightened(0.5, bend));
}

/** Mean and variance of the log of a hyper-parameter over the weighted points. */
function logMoments(fit: WearLineFit, of: (hyper: WearHyper) => number): { mean: number; variance: number } {
  let mean = 0;
  for (const { hyper, weight } of fit.points) mean += weight * Math.log(of(hyper));
  let variance = 0;
  for (const { hyper, weight } of fit.points) variance += weight * (Math.log(of(hyper)) - mean) ** 2;
  return { mean, variance };
}

function logNormalQuantiles(mean: number, variance: number): Quantiles {
  const reach = Z90 * Math.sqrt(variance);
  return { p10: Math.exp(mean - reach), median: Math.exp(mean), p90: Math.exp(mean + reach) };
}

/**
 * Multiplier on usage under each condition, as learned; a condition that no piece met keeps its prior.
 *
 * @returns one row per condition of the prior, in its order
 */
export function conditionMultipliers(
  fit: WearLineFit,
): { name: string; p10: number; median: number; p90: number }[] {
  return (fit.prior.conditions ?? []).map(({ name, multiplier, sdLog = 0.4 }, c) => {
    if (!fit.activeConditions.includes(c))
      return { name, ...logNormalQuantiles(Math.log(multiplier), sdLog * sdLog) };
    const { mean, variance } = logMoments(fit, ({ multipliers }) => multipliers[c]!);
    return { name, ...logNormalQuantiles(mean, variance) };
  });
}

/**
 * The pieces of a line as a population.
 *
 * @returns `rate`: wear per unit of usage at multiplier 1, averaged over a usual life, over pieces and over what is
 *   unknown of the line; `pieceSpread`, `runSpread`: coefficients of variation from piece to piece and of the wear of
 *   one run; `readingSd`: standard deviation of a reading; `pathExponent`: below 1 wear slows down
 */
export function populationSummary(fit: WearLineFit): {
  rate: Quantiles;
  pieceSpread: number;
  runSpread: number;
  readingSd: number;
  pathExponent: number;
} {
  const { run } = scalePrior(fit.prior, fit.scale.wear, "populationSummary");
  const unit = Math.log(fit.scale.wear) - Math.log(fit.scale.usage);
  const level = logMoments(fit, ({ rate }) => rate);
  const spreadSquare = fit.points.reduce((sum, { hyper, weight }) => sum + weight * hyper.spread ** 2, 0);
  const median = (of: (hyper: WearHyper) => number): number => Math.exp(logMoments(fit, of).mean);
  return {
    rate: logNormalQuantiles(level.mean + unit, level.variance + spreadSquare),
    pieceSpread: Math.sqrt(Math.expm1(median(({ spread }) => spread) ** 2)),
    runSpread: median(({ noise }) => noise) / Math.sqrt(run),
    readingSd: fit.prior.readingSd * median(({ reading }) => reading),
    pathExponent: Math.exp(
      fit.points.reduce((sum, { hyper, weight }) => sum + weight * Math.log(pathExponent(hyper)), 0),
    ),
  };
}
