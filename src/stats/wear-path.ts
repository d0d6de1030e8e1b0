/**
 * Likelihood of one piece under given hyper-parameters.
 *
 * Path of a piece, on the straightened scale: start + b Λ(usage) + Brownian motion in Λ, Λ(u) = u^exponent, ln b normal
 * over pieces. Given b everything is normal, and the log-likelihood is quadratic in b: C + B b - A b² / 2. One pass of a
 * Kalman filter over the readings and, with the same gains, over Λ gives A, B, C. Grades by eye are not normal:
 * a piece that has some is filtered once for each value of b.
 */
import { findMode, INV_SQRT_2PI, integrateRate, type RateIntegral, type RateMode } from "./wear-rate.ts";
import { type GradeBounds, gradeBounds, type RunningLevel, seeGrade } from "./wear-grade.ts";
import { clockOf, logSlopes, normalVariance, startVariance, straighten } from "./wear-observed.ts";
import type { ScaledPiece } from "./wear-scale.ts";
import type { WearHyper } from "./wear-types.ts";

export const LOG_2PI = Math.log(2 * Math.PI);

/**
 * Readings taken to be grossly wrong: variance added to each event (0 for ordinary ones; units of wear, so that a gross
 * error says nothing of the bend), log prior of the choice.
 */
export interface GrossSet {
  added: Float64Array | null;
  logPrior: number;
}

/** What a filter knows after the last event: log-likelihood C + B b - A b²/2, wear levelY + b (λ - levelL) ± variance. */
export interface PathState {
  a: number;
  b: number;
  c: number;
  levelY: number;
  levelL: number;
  variance: number;
}

/** Kalman filter with two right-hand sides, grades replaced by their normal stand-ins. */
export function filterPath(
  piece: ScaledPiece,
  hyper: WearHyper,
  lambda: Float64Array,
  added: Float64Array | null,
): PathState {
  const diffusion = (hyper.rate * hyper.noise) ** 2;
  straighten(piece, hyper);
  let variance = startVariance(piece, hyper, lambda);
  let levelY = 0;
  let levelL = 0;
  let previous = 0;
  let a = 0;
  let b = 0;
  let squares = 0;
  let product = 1;
  let logs = 0;
  for (let j = 0; j < piece.count; j++) {
    const at = lambda[j]!;
    if (at > previous) {
      variance += diffusion * (at - previous);
      previous = at;
    }
    const error = normalVariance(piece, j, hyper, added);
    const total = variance + error;
    const gain = variance / total;
    const offY = piece.places[j]! - levelY;
    const offL = at - levelL;
    levelY += gain * offY;
    levelL += gain * offL;
    variance = gain * error;
    a += (offL * offL) / total;
    b += (offL * offY) / total;
    squares += (offY * offY) / total;
    // One logarithm for many variances, unless their product leaves the range of a double.
    product *= total;
    if (product < 1e-200 || product > 1e200) {
      logs += Math.log(product);
      product = 1;
    }
  }
  const c = logSlopes(piece) - 0.5 * (piece.count * LOG_2PI + logs + Math.log(product) + squares);
  return { a, b, c, levelY, levelL, variance };
}

/** A set of rates with the wear they lead to; log-weights are joint log-densities times the width of a node. */
export interface RateNodes {
  logWeight: number[];
  rate: number[];
  /** wear at the last event is level ± variance, for each rate */
  level: number[];
  variance: number[];
}

/** Where the nodes of the trapezoidal rule in z stand, in units of the local standard deviation. */
export interface NodePlan {
  step: number;
  reach: number;
  /** shift of the whole rule, in steps: any shift gives the same integral, many shifts give a smooth mixture */
  shift: number;
}

const GRADED_PLAN: NodePlan = { step: 1.1, reach: 3, shift: 0 };

const integral: RateIntegral = { log: 0, rate: 0, square: 0, byRate: 0, bySpread: 0 };

/** Log of the integral of exp(C + B b - A b²/2) over the normal law of z. */
function integrateNormal(state: PathState, hyper: WearHyper): number {
  integrateRate(state.a, state.b, hyper, integral, false);
  return state.c + integral.log;
}

/** Runs a filter at one rate, grades entering as what they are, after `straighten`; the result is left in `state`. */
function filterGraded(
  piece: ScaledPiece,
  hyper: WearHyper,
  lambda: Float64Array,
  added: Float64Array | null,
  bounds: GradeBounds,
  rate: number,
  state: RunningLevel,
): void {
  const diffusion = (hyper.rate * hyper.noise) ** 2;
  state.variance = startVariance(piece, hyper, lambda);
  state.level = 0;
  state.log = logSlopes(piece);
  let previous = 0;
  for (let j = 0; j < piece.count; j++) {
    const at = lambda[j]!;
    if (at > previous) {
      state.level += rate * (at - previous);
      state.variance += diffusion * (at - previous);
      previous = at;
    }
    const grade = piece.grade[j]!;
    if (grade >= 0) {
      seeGrade(state, grade, piece.sd[j]! * piece.limit, bounds);
      continue;
    }
    const error = normalVariance(piece, j, hyper, added);
    const total = state.variance + error;
    const off = piece.places[j]! - state.level;
    state.log -= 0.5 * (LOG_2PI + Math.log(total) + (off * off) / total);
    state.level += (state.variance / total) * off;
    state.variance *= error / total;
  }
}

/** Nodes over the rate of a piece, for one choice of gross readings. */
export function rateNodes(
  piece: ScaledPiece,
  hyper: WearHyper,
  lambda: Float64Array,
  set: GrossSet,
  plan: NodePlan,
): RateNodes {
  const state = filterPath(piece, hyper, lambda, set.added);
  const mode: RateMode = { z: 0, sd: 1 };
  findMode(state.a, state.b, hyper.rate, hyper.spread, mode);
  if (piece.graded) return gradedNodes(piece, hyper, lambda, set, plan, mode);
  const { z, sd } = mode;
  const last = piece.count > 0 ? lambda[piece.count - 1]! : 0;
  const variance = piece.count > 0 ? state.variance : startVariance(piece, hyper, lambda);
  const nodes: RateNodes = { logWeight: [], rate: [], level: [], variance: [] };
  const width = Math.log(plan.step * sd * INV_SQRT_2PI) + state.c + set.logPrior;
  for (let k = -plan.reach; k <= plan.reach; k++) {
    const at = z + (k + plan.shift) * plan.step * sd;
    const rate = hyper.rate * Math.exp(hyper.spread * at);
    nodes.logWeight.push(width + rate * (state.b - 0.5 * state.a * rate) - 0.5 * at * at);
    nodes.rate.push(rate);
    nodes.level.push(state.levelY + rate * (last - state.levelL));
    nodes.variance.push(variance);
  }
  return nodes;
}

/** Middle and width in z of a graded piece: a short rule around the stand-in mode, and its first two moments. */
function locateGraded(
  piece: ScaledPiece,
  hyper: WearHyper,
  lambda: Float64Array,
  added: Float64Array | null,
  bounds: GradeBounds,
  mode: { z: number; sd: number },
): { z: number; sd: number } {
  const step = 1.1 * Math.min(1, 1.3 * mode.sd);
  const state: RunningLevel = { log: 0, level: 0, variance: 0 };
  let top = -Infinity;
  let mass = 0;
  let mean = 0;
  let square = 0;
  for (let k = -3; k <= 3; k++) {
    const z = mode.z + k * step;
    filterGraded(piece, hyper, lambda, added, bounds, hyper.rate * Math.exp(hyper.spread * z), state);
    const log = state.log - 0.5 * z * z;
    if (log > top) {
      const shrink = Math.exp(top - log);
      mass *= shrink;
      mean *= shrink;
      square *= shrink;
      top = log;
    }
    const w = Math.exp(log - top);
    mass += w;
    mean += w * k;
    square += w * k * k;
  }
  mean /= mass;
  const variance = Math.max(square / mass - mean * mean, 0.06);
  return { z: mode.z + mean * step, sd: Math.min(1.2, step * Math.sqrt(variance)) };
}

/** The same as `rateNodes` for a piece with grades. */
function gradedNodes(
  piece: ScaledPiece,
  hyper: WearHyper,
  lambda: Float64Array,
  set: GrossSet,
  plan: NodePlan,
  mode: { z: number; sd: number },
): RateNodes {
  const bounds = gradeBounds(piece.limit, hyper.bend);
  const { z, sd } = locateGraded(piece, hyper, lambda, set.added, bounds, mode);
  const nodes: RateNodes = { logWeight: [], rate: [], level: [], variance: [] };
  const width = Math.log(plan.step * sd * INV_SQRT_2PI) + set.logPrior;
  const state: RunningLevel = { log: 0, level: 0, variance: 0 };
  for (let k = -plan.reach; k <= plan.reach; k++) {
    const at = z + (k + plan.shift) * plan.step * sd;
    const rate = hyper.rate * Math.exp(hyper.spread * at);
    filterGraded(piece, hyper, lambda, set.added, bounds, rate, state);
    nodes.logWeight.push(width + state.log - 0.5 * at * at);
    nodes.rate.push(rate);
    nodes.level.push(state.level);
    nodes.variance.push(state.variance);
  }
  return nodes;
}

export function logSumExp(values: readonly number[]): number {
  let top = -Infinity;
  for (const v of values) if (v > top) top = v;
  if (top === -Infinity) return -Infinity;
  let sum = 0;
  for (const v of values) sum += Math.exp(v - top);
  return top + Math.log(sum);
}

/** Log-likelihood of a piece: summed over the choices of gross readings, integrated over its rate. */
export function pieceLogLikelihood(piece: ScaledPiece, hyper: WearHyper, sets: readonly GrossSet[]): number {
  if (piece.count === 0) return 0;
  const lambda = clockOf(piece, hyper, piece.room);
  if (sets.length === 1 && !piece.graded)
    return sets[0]!.logPrior + integrateNormal(filterPath(piece, hyper, lambda, sets[0]!.added), hyper);
  const logs = sets.map((set) =>
    piece.graded
      ? logSumExp(rateNodes(piece, hyper, lambda, set, GRADED_PLAN).logWeight)
      : set.logPrior + integrateNormal(filterPath(piece, hyper, lambda, set.added), hyper),
  );
  return logSumExp(logs);
}

/** Log-likelihood of the normal stand-in model, for comparing choices of gross readings. */
export function standInLogLikelihood(
  piece: ScaledPiece,
  hyper: WearHyper,
  lambda: Float64Array,
  added: Float64Array | null,
): number {
  return integrateNormal(filterPath(piece, hyper, lambda, added), hyper);
}
