/** What is believed of a life before any item is observed, as normal laws of two logarithms. */
import { standardQuantile } from "./life-fit.ts";
import type { LifeFamily } from "./life-likelihood.ts";

/** A positive quantity believed to lie in this range with probability 0.8; its logarithm is taken as normal. */
export type BeliefRange = { p10: number; p90: number };

/**
 * - `life`: range of ages, in the unit of the observations.
 * - `lifeOf`: what lies in that range. `item` (if absent): one item's life, so that four in five new items fail
 *   within it. `median`: the unknown median life. `scale`: the unknown scale of the Weibull law, or the median
 *   of the log-normal.
 * - `spread`: range of the Weibull shape, or of the log-normal sdLog. If absent: for `item` the width of `life`
 *   is put down half to differences between items and half to not knowing their centre, and the spread is
 *   uncertain by a factor 1.67 either way; otherwise shape 1 to 4, or sdLog 0.3 to 1.2.
 */
export type LifePrior = { life: BeliefRange; lifeOf?: "item" | "median" | "scale"; spread?: BeliefRange };

/**
 * Independent normal laws: of the reference ln age, which is location + offset · spread, and of ln spread.
 */
export type LogPrior = { offset: number; reference: NormalBelief; logSpread: NormalBelief };
export type NormalBelief = { mean: number; sd: number };

/** Half-width of the central 80 % of the normal law, in standard deviations. */
const Z80 = 1.2815515655446004;
/** Standard deviation of ln spread when only the items' range is given. */
const ITEM_LOG_SPREAD_SD = 0.4;

function normalBelief(name: string, field: string, { p10, p90 }: BeliefRange): NormalBelief {
  if (!(p10 > 0 && p10 < p90 && p90 < Infinity)) {
    throw new RangeError(`${name} requires 0 < p10 < p90 in prior.${field}, got ${p10} and ${p90}`);
  }
  return { mean: (Math.log(p10) + Math.log(p90)) / 2, sd: Math.log(p90 / p10) / (2 * Z80) };
}

/** The spread of ln age is 1 / shape for Weibull and sdLog for log-normal. */
function logSpreadBelief(name: string, family: LifeFamily, spread: BeliefRange): NormalBelief {
  const { mean, sd } = normalBelief(name, "spread", spread);
  return { mean: family === "weibull" ? -mean : mean, sd };
}

/**
 * An item's 10-90 % range of ln age is (w90 - w10) spread wide about location + (w10 + w90) / 2 spread. The
 * belief's width is the root of the sum of squares of that and of the uncertainty of the centre.
 */
function itemPrior(name: string, family: LifeFamily, { life, spread }: LifePrior): LogPrior {
  const w10 = standardQuantile(family, 0.1);
  const w90 = standardQuantile(family, 0.9);
  const belief = normalBelief(name, "life", life);
  const halfWidth = belief.sd * Z80;
  const perSpread = (w90 - w10) / 2;
  const logSpread = spread
    ? logSpreadBelief(name, family, spread)
    : { mean: Math.log(halfWidth / Math.SQRT2 / perSpread), sd: ITEM_LOG_SPREAD_SD };
  const within = Math.exp(logSpread.mean) * perSpread;
  const between = Math.sqrt(Math.max(halfWidth ** 2 - within ** 2, halfWidth ** 2 / 4));
  return { offset: (w10 + w90) / 2, reference: { mean: belief.mean, sd: between / Z80 }, logSpread };
}

/**
 * The belief as normal laws of the logarithms.
 *
 * @param name the calling function, for its error messages
 * @throws {RangeError} if a range is not 0 < p10 < p90
 */
export function logPriorOf(name: string, family: LifeFamily, prior: LifePrior): LogPrior {
  const { life, lifeOf = "item", spread } = prior;
  if (lifeOf === "item") return itemPrior(name, family, prior);
  return {
    offset: lifeOf === "scale" ? 0 : standardQuantile(family, 0.5),
    reference: normalBelief(name, "life", life),
    logSpread: logSpreadBelief(
      name,
      family,
      spread ?? (family === "weibull" ? { p10: 1, p90: 4 } : { p10: 0.3, p90: 1.2 }),
    ),
  };
}
