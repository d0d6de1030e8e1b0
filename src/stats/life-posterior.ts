/**
 * Life of an item when few or no failures have been seen: a prior, the observations, and every forecast averaged
 * over what both leave possible. The posterior of two parameters is held on a grid.
 */
import { type LifeObservation, type PackedLives, packLives } from "./life-data.ts";
import { type LifeDistribution, requireAge, requireProbability } from "./life-distribution.ts";
import { lifeFromPoint } from "./life-fit.ts";
import { type LifeFamily, type LifeLikelihood, lifeLikelihood } from "./life-likelihood.ts";
import { type LifePoint, newtonMaximum } from "./life-maximum.ts";
import { type LifePrior, type LogPrior, logPriorOf, type NormalBelief } from "./life-prior.ts";
import { logNormalCdf } from "./normal.ts";

/** Grid of (location, spread) of ln age with weights that sum to one; spread is 1 / shape, or sdLog. */
export type LifePosterior = {
  distribution: LifeFamily;
  location: Float64Array;
  spread: Float64Array;
  weight: Float64Array;
  /** ln of the probability (density) of the observations under the prior, for comparing laws or priors. */
  logEvidence: number;
};

/**
 * Whether the item's own survival to its age is among the observations of the posterior. If it is, using the
 * survival once more to condition on it would count it twice.
 */
export type ItemStanding = { inData: boolean };

/** Grid step and first half-width, in posterior standard deviations. */
const STEP = 0.4;
const HALF_WIDTH_STEPS = 12;
/** The grid grows until the density on its edge is below exp(-16) = 1e-7 of its peak. */
const EDGE = -16;
const GROWTH_STEPS = 4;
const MAX_GROWTHS = 40;
/** Nodes of smaller weight are dropped. */
const NEGLIGIBLE = 1e-11;
const LOG_SQRT_2_PI = 0.9189385332046727;

function logNormalDensity(x: number, { mean, sd }: NormalBelief): number {
  const z = (x - mean) / sd;
  return -0.5 * z * z - Math.log(sd) - LOG_SQRT_2_PI;
}

/** Log posterior density, not normalised, by (reference, ln spread), with the derivatives for Newton's method. */
function posteriorAt(
  family: LifeFamily,
  lives: PackedLives,
  prior: LogPrior,
  reference: number,
  logSpread: number,
): LifeLikelihood {
  const shift = prior.offset * Math.exp(logSpread);
  const at = lifeLikelihood(family, lives, reference - shift, logSpread);
  const precision = { reference: prior.reference.sd ** -2, logSpread: prior.logSpread.sd ** -2 };
  return {
    value:
      at.value + logNormalDensity(reference, prior.reference) + logNormalDensity(logSpread, prior.logSpread),
    byLocation: at.byLocation - (reference - prior.reference.mean) * precision.reference,
    byLogSpread:
      at.byLogSpread - shift * at.byLocation - (logSpread - prior.logSpread.mean) * precision.logSpread,
    location2: at.location2 - precision.reference,
    cross: at.cross - shift * at.location2,
    logSpread2:
      at.logSpread2 -
      2 * shift * at.cross +
      shift * shift * at.location2 -
      shift * at.byLocation -
      precision.logSpread,
  };
}

type Node = { reference: number; logSpread: number; logDensity: number };

/** Square root of the covariance at the mode, lower triangular: the grid follows the tilt of the posterior. */
function gridAxes({ at }: LifePoint): { reference: number; tilt: number; logSpread: number } {
  const determinant = at.location2 * at.logSpread2 - at.cross * at.cross;
  const variance = -at.logSpread2 / determinant;
  const reference = Math.sqrt(variance);
  const tilt = at.cross / determinant / reference;
  return { reference, tilt, logSpread: Math.sqrt(-at.location2 / determinant - tilt * tilt) };
}

/** Nodes of a rectangle that grows on each side until the density there is negligible. */
function growGrid(mode: LifePoint, density: (reference: number, logSpread: number) => number) {
  const axes = gridAxes(mode);
  const peak = mode.at.value;
  const nodes: Node[] = [];
  const add = (i: number, j: number): number => {
    const reference = mode.location + STEP * i * axes.reference;
    const logSpread = mode.logSpread + STEP * (i * axes.tilt + j * axes.logSpread);
    const value = density(reference, logSpread);
    const logDensity = Number.isNaN(value) ? -Infinity : value - peak;
    nodes.push({ reference, logSpread, logDensity });
    return logDensity;
  };
  const n = HALF_WIDTH_STEPS;
  const edges = { left: -n, right: n, bottom: -n, top: n };
  const highest = { left: -Infinity, right: -Infinity, bottom: -Infinity, top: -Infinity };
  for (let i = -n; i <= n; i += 1) {
    for (let j = -n; j <= n; j += 1) {
      const value = add(i, j);
      if (i === -n) highest.left = Math.max(highest.left, value);
      if (i === n) highest.right = Math.max(highest.right, value);
      if (j === -n) highest.bottom = Math.max(highest.bottom, value);
      if (j === n) highest.top = Math.max(highest.top, value);
    }
  }
  for (let growth = 0; growth < MAX_GROWTHS; growth += 1) {
    const side = (["left", "right", "bottom", "top"] as const).find((one) => highest[one] > EDGE);
    if (!side) break;
    const outward = side === "left" || side === "bottom" ? -1 : 1;
    const [from, to] =
      side === "left" || side === "right" ? [edges.bottom, edges.top] : [edges.left, edges.right];
    for (let step = 0; step < GROWTH_STEPS; step += 1) {
      edges[side] += outward;
      highest[side] = -Infinity;
      for (let k = from; k <= to; k += 1) {
        const value = side === "left" || side === "right" ? add(edges[side], k) : add(k, edges[side]);
        highest[side] = Math.max(highest[side], value);
        // A new row also lengthens the two edges beside it.
        if (k === from || k === to) {
          const beside =
            side === "left" || side === "right"
              ? k === from
                ? "bottom"
                : "top"
              : k === from
                ? "left"
                : "right";
          highest[beside] = Math.max(highest[beside], value);
        }
      }
    }
  }
  return { nodes, cell: STEP * STEP * axes.reference * axes.logSpread };
}

/**
 * Posterior of a life distribution on a grid.
 *
 * The grid stands on the posterior mode, follows its covariance and grows until its edges carry nothing; the
 * trapezoidal rule on it is accurate to more than the digits that matter.
 *
 * @param observations lives, may be empty: then the posterior is the prior
 * @param prior beliefs in the unit of the observations
 * @throws {RangeError} if an observation or the prior is outside its range
 * @throws {ConvergenceError} if the mode is not found
 */
export function lifePosterior(
  distribution: LifeFamily,
  observations: readonly LifeObservation[],
  prior: LifePrior,
): LifePosterior {
  const lives = packLives("lifePosterior", observations);
  const logPrior = logPriorOf("lifePosterior", distribution, prior);
  const evaluate = (reference: number, logSpread: number) =>
    posteriorAt(distribution, lives, logPrior, reference, logSpread);
  const mode = newtonMaximum("lifePosterior", evaluate, {
    location: logPrior.reference.mean,
    logSpread: logPrior.logSpread.mean,
  });
  const { nodes, cell } = growGrid(mode, (reference, logSpread) => evaluate(reference, logSpread).value);
  const total = nodes.reduce((sum, { logDensity }) => sum + Math.exp(logDensity), 0);
  const kept = nodes.filter(({ logDensity }) => Math.exp(logDensity) > NEGLIGIBLE * total);
  const keptTotal = kept.reduce((sum, { logDensity }) => sum + Math.exp(logDensity), 0);
  return {
    distribution,
    location: Float64Array.from(kept, (node) => node.reference - logPrior.offset * Math.exp(node.logSpread)),
    spread: Float64Array.from(kept, ({ logSpread }) => Math.exp(logSpread)),
    weight: Float64Array.from(kept, ({ logDensity }) => Math.exp(logDensity) / keptTotal),
    logEvidence: mode.at.value + Math.log(total * cell),
  };
}

/** ln S_k(t) at one node. */
function nodeLogSurvival(posterior: LifePosterior, k: number, logAge: number): number {
  const z = (logAge - posterior.location[k]!) / posterior.spread[k]!;
  return posterior.distribution === "weibull" ? -Math.exp(z) : logNormalCdf(-z);
}

/**
 * Posterior mean of any function of the life distribution, such as its shape or its B10 life.
 *
 * @param f function of the distribution; it must be finite on the whole grid
 */
export function posteriorExpectation(
  posterior: LifePosterior,
  f: (life: LifeDistribution) => number,
): number {
  let sum = 0;
  for (let k = 0; k < posterior.weight.length; k += 1) {
    const life = lifeFromPoint(
      posterior.distribution,
      posterior.location[k]!,
      Math.log(posterior.spread[k]!),
    );
    sum += posterior.weight[k]! * f(life);
  }
  return sum;
}

/**
 * Probability that a new item lives beyond age `t`, averaged over the posterior.
 *
 * @param t age, >= 0, may be infinite
 * @throws {RangeError} if `t` is negative or not a number
 */
export function posteriorSurvival(posterior: LifePosterior, t: number): number {
  requireAge("posteriorSurvival", t);
  if (t === 0) return 1;
  const logAge = Math.log(t);
  let sum = 0;
  for (let k = 0; k < posterior.weight.length; k += 1) {
    sum += posterior.weight[k]! * Math.exp(nodeLogSurvival(posterior, k, logAge));
  }
  return Math.min(1, sum);
}

/**
 * Probability that an item alive at `age` lives at least `ahead` longer, averaged over the posterior.
 *
 * For an item whose survival to `age` is in the data, the mean of S(age + ahead) / S(age); for one that is not,
 * the ratio of the mean survivals, because its survival is news about the parameters too. Every quotient is
 * formed from logarithms.
 *
 * @param age >= 0, finite
 * @param ahead >= 0, may be infinite
 * @throws {RangeError} if an age is outside its range
 */
export function posteriorConditionalSurvival(
  posterior: LifePosterior,
  age: number,
  ahead: number,
  { inData }: ItemStanding,
): number {
  requireAge("posteriorConditionalSurvival", ahead);
  if (!(age >= 0 && age < Infinity)) {
    throw new RangeError(`posteriorConditionalSurvival requires a finite age >= 0, got ${age}`);
  }
  if (age === 0) return posteriorSurvival(posterior, ahead);
  const [logNow, logThen] = [Math.log(age), Math.log(age + ahead)];
  const { weight } = posterior;
  let best = -Infinity;
  if (!inData)
    for (let k = 0; k < weight.length; k += 1) best = Math.max(best, nodeLogSurvival(posterior, k, logNow));
  let sum = 0;
  let total = 0;
  for (let k = 0; k < weight.length; k += 1) {
    const now = nodeLogSurvival(posterior, k, logNow);
    const share = inData ? weight[k]! : weight[k]! * Math.exp(now - best);
    // Both may be -Infinity far out; such a node has no share unless the item is in the data, and then dies at once.
    const ratio = now === -Infinity ? 0 : Math.exp(nodeLogSurvival(posterior, k, logThen) - now);
    total += share;
    sum += share * ratio;
  }
  return Math.min(1, sum / total);
}

/** Bisection for the age at which a falling survival reaches `target`, on the logarithm of the age. */
function ageWhere(survival: (t: number) => number, target: number, typical: number): number {
  let low = typical;
  let high = typical;
  while (low > 1e-300 && survival(low) < target) low /= 4;
  while (high < 1e300 && survival(high) > target) high *= 4;
  for (let halving = 0; halving < 80 && high - low > 1e-12 * high; halving += 1) {
    const middle = Math.sqrt(low) * Math.sqrt(high);
    if (survival(middle) > target) low = middle;
    else high = middle;
  }
  return high;
}

/**
 * Further life that an item alive at `age` will not reach with probability `p`; with age 0 the quantile of a new
 * item's life.
 *
 * @param age >= 0, finite
 * @param p in [0, 1)
 * @throws {RangeError} if `age` or `p` is outside its range
 */
export function posteriorResidualQuantile(
  posterior: LifePosterior,
  age: number,
  p: number,
  standing: ItemStanding,
): number {
  requireProbability("posteriorResidualQuantile", p);
  if (p === 1) throw new RangeError("posteriorResidualQuantile requires p below 1");
  if (p === 0) return 0;
  const typical = Math.exp(posterior.location[0]!);
  return ageWhere((t) => posteriorConditionalSurvival(posterior, age, t, standing), 1 - p, typical);
}
