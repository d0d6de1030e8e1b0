/**
 * Readings that do not fit the rest: which of them are probably gross errors.
 *
 * Every reading is grossly wrong with a small probability. The likelihood is a sum over the choices of wrong
 * readings; only the choices that carry weight are kept (a best one found greedily, and its neighbours).
 */
import { GROSS_SHARE, type ScaledPiece } from "./wear-scale.ts";
import { clockOf, normalSd, startVariance, straighten } from "./wear-observed.ts";
import { type GrossSet, standInLogLikelihood } from "./wear-path.ts";
import { findMode, findModeNear, type RateMode } from "./wear-rate.ts";
import type { WearHyper } from "./wear-types.ts";

const LOG_GROSS = Math.log(GROSS_SHARE);
const LOG_ORDINARY = Math.log1p(-GROSS_SHARE);
/** A gross error has at least this many standard deviations of an ordinary one. */
const GROSS_FACTOR = 8;
/** Choices less likely than the best by more than this many nats are left out. */
const KEPT_NATS = 4;
const KEPT_SETS = 6;
/**
 * The rate is not quite known: a choice this much better than reckoned at its mode is still looked at. The slack is for
 * a piece of one reading, and goes with the number of readings; measured: no choice is lost.
 */
const SLACK_NATS = 2;
/** Leave-one-out prediction of each event: residual and variance of an ordinary residual. */
export interface LeftOut {
  residual: Float64Array;
  variance: Float64Array;
}

/** Room for one pass, so that it need not be made anew each time; the residuals of the filter are over their variances. */
const makeRoom = (n: number) => ({
  size: n,
  stated: new Float64Array(n),
  gain: new Float64Array(n),
  inverse: new Float64Array(n),
  innovationY: new Float64Array(n),
  innovationL: new Float64Array(n),
  residual: new Float64Array(n),
  variance: new Float64Array(n),
});
let room = makeRoom(64);
const mode: RateMode = { z: 0, sd: 1 };

function roomFor(n: number): typeof room {
  if (room.size < n) room = makeRoom(2 * n);
  return room;
}

/**
 * Residuals of each reading from what the other readings predict: with covariance K of the readings given the rate,
 * the residual is [K⁻¹r]_j / [K⁻¹]_jj and its variance 1 / [K⁻¹]_jj (Sundararajan & Keerthi 2001), plus what the
 * uncertain rate adds. A filter forward and a pass back give both in time proportional to the readings (de Jong 1989).
 *
 * @returns rooms that hold until the next call, and may be longer than the piece
 */
export function leaveOneOut(piece: ScaledPiece, hyper: WearHyper, added: Float64Array | null): LeftOut {
  const n = piece.count;
  const lambda = clockOf(piece, hyper, piece.room);
  const diffusion = (hyper.rate * hyper.noise) ** 2;
  const { stated, gain, inverse, innovationY, innovationL, residual, variance } = roomFor(n);
  straighten(piece, hyper);
  const { places, slopes } = piece;
  let level = startVariance(piece, hyper, lambda);
  let levelY = 0;
  let levelL = 0;
  let wholeA = 0;
  let wholeB = 0;
  let before = 0;
  for (let j = 0; j < n; j++) {
    const at = lambda[j]!;
    if (at > before) level += diffusion * (at - before);
    before = at;
    const sd = normalSd(piece, j, hyper);
    const error = sd * sd;
    stated[j] = error;
    const all = added === null ? error : error + added[j]! * slopes[j]! * slopes[j]!;
    const per = 1 / (level + all);
    const share = level * per;
    const offY = places[j]! - levelY;
    const offL = at - levelL;
    inverse[j] = per;
    gain[j] = share;
    innovationY[j] = offY * per;
    innovationL[j] = offL * per;
    wholeA += offL * offL * per;
    wholeB += offL * offY * per;
    levelY += share * offY;
    levelL += share * offL;
    level = share * all;
  }
  const speed = findMode(wholeA, wholeB, hyper.rate, hyper.spread, mode);
  const whole = mode.z;
  let sumY = 0;
  let sumL = 0;
  let sumK = 0;
  for (let j = n - 1; j >= 0; j--) {
    const share = gain[j]!;
    const per = inverse[j]!;
    const offY = innovationY[j]!;
    const offL = innovationL[j]!;
    const solvedY = offY - share * sumY;
    const solvedL = offL - share * sumL;
    const left = 1 / (per + share * share * sumK);
    const rest = 1 - share;
    sumY = offY + rest * sumY;
    sumL = offL + rest * sumL;
    sumK = per + rest * rest * sumK;
    const lever = solvedL * left;
    // Without one of several readings the mode is nearly the same as with it.
    const rate = findModeNear(
      Math.max(0, wholeA - solvedL * lever),
      wholeB - solvedY * lever,
      hyper,
      whole,
      speed,
      mode,
    );
    const unsure = lever * rate * hyper.spread * mode.sd;
    const gross = added === null ? 0 : added[j]! * slopes[j]! * slopes[j]!;
    residual[j] = solvedY * left - rate * lever;
    variance[j] = Math.max(left - gross + unsure * unsure, stated[j]!);
  }
  return room;
}

interface Choice {
  gross: number[];
  added: Float64Array | null;
  log: number;
}

/** Whether to take any one reading for grossly wrong is a choice that may matter: most pieces have none such. */
function anySuspect(piece: ScaledPiece, hyper: WearHyper, { residual, variance }: LeftOut): boolean {
  const least = -KEPT_NATS - SLACK_NATS / Math.sqrt(piece.count) - LOG_GROSS + LOG_ORDINARY;
  for (let j = 0; j < piece.count; j++) {
    const off = residual[j]! * residual[j]!;
    if (off <= 2 * least * variance[j]! || piece.grade[j]! >= 0) continue;
    const score = off / variance[j]!;
    const added = (grossVariance(piece, j, hyper, residual[j]!) * piece.slopes[j]! ** 2) / variance[j]!;
    // What the log-likelihood of the piece gains when this reading has so much more variance.
    const gain = 0.5 * score * (added / (1 + added)) - 0.5 * Math.log1p(added);
    if (gain > least) return true;
  }
  return false;
}

/**
 * A gross error is given the variance of its own residual, in units of wear: heavy-tailed, so that its size has no say in
 * the rest. `straighten` has been at the piece.
 */
function grossVariance(piece: ScaledPiece, j: number, hyper: WearHyper, residual: number): number {
  return Math.max((GROSS_FACTOR * normalSd(piece, j, hyper)) ** 2, residual ** 2) / piece.slopes[j]! ** 2;
}

/** The choices of gross readings that matter for one piece, with their log prior probabilities. */
export function findGross(piece: ScaledPiece, hyper: WearHyper): GrossSet[] {
  let readings = 0;
  for (let j = 0; j < piece.count; j++) if (piece.grade[j]! < 0) readings++;
  if (readings === 0) return [{ added: null, logPrior: 0 }];
  const first = leaveOneOut(piece, hyper, null);
  if (!anySuspect(piece, hyper, first)) return [{ added: null, logPrior: readings * LOG_ORDINARY }];
  const ordinary: LeftOut = { residual: first.residual.slice(), variance: first.variance.slice() };
  const lambda = clockOf(piece, hyper);
  const prior = (gross: number): number => gross * LOG_GROSS + (readings - gross) * LOG_ORDINARY;
  const judge = (gross: number[], size: Float64Array): Choice => {
    const added = gross.length === 0 ? null : new Float64Array(piece.count);
    for (const j of gross) added![j] = size[j]!;
    return { gross, added, log: standInLogLikelihood(piece, hyper, lambda, added) + prior(gross.length) };
  };
  const size = new Float64Array(piece.count);
  const score = new Float64Array(piece.count);
  const look = (choice: Choice): void => {
    const left = choice.added === null ? ordinary : leaveOneOut(piece, hyper, choice.added);
    for (let j = 0; j < piece.count; j++) {
      score[j] = piece.grade[j]! < 0 ? Math.abs(left.residual[j]!) / Math.sqrt(left.variance[j]!) : 0;
      size[j] = grossVariance(piece, j, hyper, left.residual[j]!);
    }
  };
  const worstFirst = (least: number): number[] =>
    Array.from(score.keys())
      .filter((j) => score[j]! >= least)
      .sort((i, j) => score[j]! - score[i]!);
  let best = judge([], size);
  look(best);
  // A long series is looked through fewer times, with more readings set apart each time.
  const rounds = readings > 200 ? 4 : Math.min(20, Math.ceil(readings / 2));
  for (let round = 0; round < rounds; round++) {
    const next = worstFirst(2.5).filter((j) => !best.gross.includes(j));
    if (next.length === 0) break;
    // Several clear ones may go at once in a long series; otherwise the worst two are tried one by one.
    const tries = next.slice(0, 2).map((j) => [j]);
    const clear = next.filter((j) => score[j]! > 6).slice(0, 1 + Math.floor(readings / 20));
    if (clear.length > 1) tries.push(clear);
    const found = tries
      .map((extra) => judge([...best.gross, ...extra], size))
      .sort((a, b) => b.log - a.log)[0]!;
    if (!(found.log > best.log)) break;
    best = found;
    look(best);
    best = judge(best.gross, size);
  }
  return neighbours(best, worstFirst(1.5).slice(0, 6), (gross) => judge(gross, size)).map(
    ({ added, gross }) => ({
      added,
      logPrior: prior(gross.length),
    }),
  );
}

/** The best choice with the single flips and swaps around it that are not much less likely. */
function neighbours(best: Choice, suspects: number[], judge: (gross: number[]) => Choice): Choice[] {
  const choices = [best];
  const flips = new Set([...suspects, ...best.gross.slice(0, 8)]);
  for (const j of flips) {
    const inside = best.gross.includes(j);
    choices.push(judge(inside ? best.gross.filter((i) => i !== j) : [...best.gross, j]));
    if (!inside)
      for (const i of best.gross.slice(0, 3)) choices.push(judge([...best.gross.filter((g) => g !== i), j]));
  }
  choices.sort((a, b) => b.log - a.log);
  return choices.filter((choice) => choice.log > choices[0]!.log - KEPT_NATS).slice(0, KEPT_SETS);
}
