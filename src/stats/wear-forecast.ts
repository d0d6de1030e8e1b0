/** Forecasts from a fitted line: the wear of a piece now, its rate, and what is left of its life. */
import { QuantileFinder } from "./quantile-finder.ts";
import { findGross, leaveOneOut } from "./wear-gross.ts";
import {
  mixtureLevelCdf,
  mixtureLevelMoments,
  mixturePassage,
  mixtureRate,
  meanFromSurvival,
  quantilesAround,
  type WearGroup,
  type WearMixture,
} from "./wear-mixture.ts";
import { clockOf } from "./wear-observed.ts";
import { type GrossSet, logSumExp, type NodePlan, type RateNodes, rateNodes } from "./wear-path.ts";
import { preparePiece } from "./wear-middle.ts";
import {
  requireForward,
  requireThat,
  type ScaledPiece,
  type ScaledPrior,
  type ScaledUsage,
  scalePrior,
  scaleUsage,
} from "./wear-scale.ts";
import type {
  Quantiles,
  WearForecast,
  WearHyper,
  WearLineFit,
  WearPiece,
  WearSurprise,
} from "./wear-types.ts";

/** Step of the rule over the rate, in its standard deviations, where enough points with shifted rules fill the gaps. */
const WIDE_STEP = 1.4;
/** The same for a piece never seen, whose rate is least known: gaps in it would show. */
const NEW_STEP = 0.6;
const ENOUGH_POINTS = 12;
/** Components below this share of the largest are left out. */
const NEGLIGIBLE = 1e-5;
/** Nothing is forecast beyond this many usual lives. */
const HORIZON = 1e5;
const LOG_HORIZON = Math.log(HORIZON);
/** What is left is not told from nothing below this share of a usual life. */
const LOG_LEAST = Math.log(1e-30);
/** A reading is reported when it is at least this far off, or probably a gross error. */
const SURPRISING = 3;
/** When the limit is passed almost surely, nothing is left to forecast. */
const SURELY_PAST = 1 - 1e-9;

/**
 * Forecast of one piece from its own readings and the fitted line: an update, not a refit. A piece that was in the
 * fit is not counted twice.
 *
 * @param fit result of `fitWearLine`
 * @param piece the piece with its observations in order of usage (none is allowed)
 * @param now its cumulative usage now, not below that of the last observation
 * @throws {RangeError} if an argument is outside its range or a usage goes backwards
 */
export function forecastWear(
  fit: WearLineFit,
  piece: WearPiece,
  now: { usage: number; exposures?: number[] },
): WearForecast {
  const prior = scalePrior(fit.prior, fit.scale.wear, "forecastWear");
  const scaled = preparePiece(piece, prior, "forecastWear");
  const at = scaleUsage(now, prior, "forecastWear");
  const last = piece.observations.at(-1);
  if (last) requireForward(scaleUsage(last, prior, "forecastWear"), at, "forecastWear");
  const sets = findGross(scaled, fit.centre);
  const mixture = posterior(fit, scaled, sets, at);
  return forecastFrom(mixture, scaled.limit, prior, surprisesOf(scaled, fit.centre, sets, prior));
}

/**
 * Forecast of a new piece of the line, never used.
 *
 * @param piece.limit its own limit, default the limit of the fit
 * @throws {RangeError} if the limit is not > 0
 */
export function forecastNewPiece(fit: WearLineFit, piece: { limit?: number } = {}): WearForecast {
  const limit = piece.limit ?? fit.scale.wear;
  requireThat(limit > 0 && limit < Infinity, "forecastNewPiece requires a limit > 0");
  return forecastWear(fit, { id: "", limit, observations: [] }, { usage: 0 });
}

/** One point of the fit as seen from one piece: its components over choices of gross readings and rates. */
interface PointView {
  hyper: WearHyper;
  /** clock of the last observation */
  last: number;
  parts: RateNodes[];
  log: number;
}

/** The posterior of one piece as components: points of the fit × choices of gross readings × rates. */
function posterior(
  fit: WearLineFit,
  piece: ScaledPiece,
  sets: readonly GrossSet[],
  now: ScaledUsage,
): WearMixture {
  const counted = piece.count > 0 ? fit.pieces.find(({ id }) => id === piece.id)?.logLikelihood : undefined;
  const view = (step: number): PointView[] =>
    fit.points.map(({ hyper, weight }, k) => {
      const lambda = clockOf(piece, hyper, piece.room);
      // Shifted rules at each point make the mixture over all points smooth in the rate.
      const plan: NodePlan = { step, reach: Math.ceil(4.2 / step), shift: ((k * 0.6180339887) % 1) - 0.5 };
      const parts = sets.map((set) => rateNodes(piece, hyper, lambda, set, plan));
      const last = piece.count > 0 ? lambda[piece.count - 1]! : 0;
      return { hyper, last, parts, log: Math.log(weight) - (counted?.[k] ?? 0) };
    });
  // A piece that is new to the fit may leave few points with weight; then each needs a finer rule of its own.
  const step = piece.count === 0 ? NEW_STEP : WIDE_STEP;
  const wide = view(step);
  const effective = effectiveNumber(
    wide.map(({ log, parts }) => log + logSumExp(parts.flatMap((p) => p.logWeight))),
  );
  const views = effective >= ENOUGH_POINTS ? wide : view((step * effective) / ENOUGH_POINTS);
  const top = Math.max(
    ...views.map(({ log, parts }) => log + Math.max(...parts.flatMap((p) => p.logWeight))),
  );
  return mixtureOf(views, now, top);
}

/** Number of equal weights that are worth as much as these (Kish 1965). */
function effectiveNumber(logs: readonly number[]): number {
  const top = Math.max(...logs);
  let sum = 0;
  let squares = 0;
  for (const log of logs) {
    const weight = Math.exp(log - top);
    sum += weight;
    squares += weight * weight;
  }
  return (sum * sum) / squares;
}

/** Carries the components of all points from the last observation to now; weights are relative to exp(top) at first. */
function mixtureOf(views: readonly PointView[], now: ScaledUsage, top: number): WearMixture {
  const most = views.reduce((sum, { parts }) => sum + parts.length * parts[0]!.logWeight.length, 0);
  const [weight, rate, level, variance] = [0, 1, 2, 3].map(() => new Float64Array(most)) as Columns;
  const groups: WearGroup[] = [];
  let kept = 0;
  let total = 0;
  for (const { hyper, last, parts, log } of views) {
    const usage = now.base + now.exposures.reduce((sum, e, c) => sum + e * hyper.multipliers[c]!, 0);
    const clock = Math.max(last, usage > 0 ? usage ** hyper.exponent : 0);
    const moved = clock - last;
    const diffusion = (hyper.rate * hyper.noise) ** 2;
    const from = kept;
    for (const part of parts)
      for (let i = 0; i < part.logWeight.length; i++) {
        const share = Math.exp(part.logWeight[i]! + log - top);
        if (share < NEGLIGIBLE) continue;
        total += share;
        weight[kept] = share;
        rate[kept] = part.rate[i]!;
        level[kept] = part.level[i]! + part.rate[i]! * moved;
        variance[kept] = part.variance[i]! + diffusion * moved;
        kept++;
      }
    const { exponent, bend } = hyper;
    if (kept > from)
      groups.push({ from, to: kept, usage: clock ** (1 / exponent), clock, exponent, bend, diffusion });
  }
  for (let i = 0; i < kept; i++) weight[i]! /= total;
  return { groups, weight, rate, level, variance };
}

type Columns = [Float64Array, Float64Array, Float64Array, Float64Array];

function surprisesOf(
  piece: ScaledPiece,
  hyper: WearHyper,
  sets: readonly GrossSet[],
  prior: ScaledPrior,
): WearSurprise[] {
  if (piece.count === 0 || prior.readingSd <= 0) return [];
  const lambda = clockOf(piece, hyper);
  const logs = sets.map((set) =>
    logSumExp(rateNodes(piece, hyper, lambda, set, { step: 0.9, reach: 4, shift: 0 }).logWeight),
  );
  const whole = logSumExp(logs);
  const left = leaveOneOut(piece, hyper, sets[0]!.added);
  const surprises: WearSurprise[] = [];
  for (let j = 0; j < piece.count; j++) {
    if (piece.grade[j]! >= 0) continue;
    let gross = 0;
    sets.forEach(({ added }, i) => {
      if (added !== null && added[j]! > 0) gross += Math.exp(logs[i]! - whole);
    });
    const standardScore = left.residual[j]! / Math.sqrt(left.variance[j]!);
    const weight = Math.max(0, 1 - gross);
    if (Math.abs(standardScore) >= SURPRISING || weight < 0.5)
      surprises.push({ index: piece.source[j]!, standardScore, weight });
  }
  return surprises;
}

/** Turns the components into answers; everything but the first number is worked out when asked for, once. */
function forecastFrom(
  mixture: WearMixture,
  limit: number,
  prior: ScaledPrior,
  surprises: WearSurprise[],
): WearForecast {
  const past = mixturePassage(mixture, limit, 0);
  const remaining = (ahead: number): number =>
    past >= SURELY_PAST
      ? 1
      : Math.min(1, Math.max(0, (mixturePassage(mixture, limit, ahead) - past) / (1 - past)));
  // Over the logarithm of the usage ahead the law is nearly that of a normal variable.
  const law = new QuantileFinder((log) => remaining(Math.exp(log)), {
    guesses: [0],
    step: 1,
    tolerance: 1e-6,
    least: LOG_LEAST,
    most: LOG_HORIZON,
  });
  const quantile = (p: number): number | null => {
    if (past >= SURELY_PAST) return 0;
    const log = law.at(p);
    return log >= LOG_HORIZON ? null : Math.exp(log);
  };
  let wear: Quantiles | undefined;
  let rate: Quantiles | undefined;
  let mean: number | null | undefined;
  const scaleOf = (q: Quantiles, unit: number): Quantiles => ({
    p10: q.p10 * unit,
    median: q.median * unit,
    p90: q.p90 * unit,
  });
  return {
    get wear() {
      if (wear === undefined) {
        const { mean: centre, sd } = mixtureLevelMoments(mixture);
        wear = scaleOf(
          quantilesAround((x) => mixtureLevelCdf(mixture, x), centre, sd),
          prior.wear,
        );
      }
      return wear;
    },
    get rate() {
      rate ??= scaleOf(mixtureRate(mixture, prior.run), prior.wear / prior.usage);
      return rate;
    },
    pastLimitProbability: past,
    remainingCdf(usageAhead: number): number {
      requireThat(usageAhead >= 0, "remainingCdf requires a usage >= 0");
      if (usageAhead === 0) return past >= SURELY_PAST ? 1 : 0;
      return remaining(Math.min(usageAhead / prior.usage, HORIZON));
    },
    remainingQuantile(p: number): number | null {
      requireThat(p > 0 && p < 1, "remainingQuantile requires a probability in (0, 1)");
      const scaled = quantile(p);
      return scaled === null ? null : scaled * prior.usage;
    },
    get remainingMean() {
      if (mean === undefined) {
        const median = quantile(0.5);
        const scaled = median === null ? null : meanFromSurvival((x) => 1 - remaining(x), median);
        mean = scaled === null ? null : scaled * prior.usage;
      }
      return mean;
    },
    surprises,
  };
}
