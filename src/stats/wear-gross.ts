/**
 * Readings that do not fit the rest: which of them are probably gross errors.
 *
 * Every reading is grossly wrong with a small probability. The likelihood is a sum over the choices of wrong
 * readings; only the choices that carry weight are kept (a best one found greedily, and its neighbours).
 */
import { GROSS_SHARE, type ScaledPiece } from "./wear-scale.ts";
import {
  clockOf,
  filterPath,
  type GrossSet,
  normalSd,
  normalValue,
  rateMode,
  standInLogLikelihood,
  startVariance,
} from "./wear-path.ts";
import type { WearHyper } from "./wear-types.ts";

const LOG_GROSS = Math.log(GROSS_SHARE);
const LOG_ORDINARY = Math.log1p(-GROSS_SHARE);
/** A gross error has at least this many standard deviations of an ordinary one. */
const GROSS_FACTOR = 8;
/** Choices less likely than the best by more than this many nats are left out. */
const KEPT_NATS = 4;
const KEPT_SETS = 6;
/** Leave-one-out residuals are formed in windows of this many events, with half a window on each side as margin. */
const WINDOW = 40;

/** Leave-one-out prediction of each event: residual and standard deviation of an ordinary residual. */
export interface LeftOut {
  residual: Float64Array;
  sd: Float64Array;
}

/** Cholesky factor, in place in the lower triangle; false when the matrix is not positive definite. */
function cholesky(m: Float64Array, n: number): boolean {
  for (let i = 0; i < n; i++)
    for (let j = 0; j <= i; j++) {
      let sum = m[i * n + j]!;
      for (let k = 0; k < j; k++) sum -= m[i * n + k]! * m[j * n + k]!;
      if (i === j) {
        if (!(sum > 0)) return false;
        m[i * n + i] = Math.sqrt(sum);
      } else m[i * n + j] = sum / m[j * n + j]!;
    }
  return true;
}

/** Inverse of the lower factor, row by row, so that diag(K⁻¹) and K⁻¹r follow by sums. */
function invertLower(l: Float64Array, n: number): Float64Array {
  const inverse = new Float64Array(n * n);
  for (let j = 0; j < n; j++) {
    inverse[j * n + j] = 1 / l[j * n + j]!;
    for (let i = j + 1; i < n; i++) {
      let sum = 0;
      for (let k = j; k < i; k++) sum += l[i * n + k]! * inverse[k * n + j]!;
      inverse[i * n + j] = -sum / l[i * n + i]!;
    }
  }
  return inverse;
}

/**
 * Residuals of each reading from what the other readings predict: with covariance K of the readings given the rate,
 * the residual is [K⁻¹r]_j / [K⁻¹]_jj and its variance 1 / [K⁻¹]_jj (Sundararajan & Keerthi 2001), plus what the
 * uncertain rate adds.
 */
export function leaveOneOut(piece: ScaledPiece, hyper: WearHyper, added: Float64Array | null): LeftOut {
  const n = piece.count;
  const lambda = clockOf(piece, hyper);
  const whole = filterPath(piece, hyper, lambda, added);
  const start = startVariance(piece, hyper, lambda);
  const diffusion = (hyper.rate * hyper.noise) ** 2;
  const out: LeftOut = { residual: new Float64Array(n), sd: new Float64Array(n).fill(1) };
  for (let from = 0; from < n; from += WINDOW) {
    const low = Math.max(0, from - WINDOW / 2);
    const size = Math.min(n, from + WINDOW + WINDOW / 2) - low;
    const k = new Float64Array(size * size);
    for (let i = 0; i < size; i++)
      for (let j = 0; j <= i; j++) k[i * size + j] = start + diffusion * lambda[low + j]!;
    for (let i = 0; i < size; i++)
      k[i * size + i]! += normalSd(piece, low + i, hyper) ** 2 + (added?.[low + i] ?? 0);
    if (!cholesky(k, size)) continue;
    const inverse = invertLower(k, size);
    const solve = (r: (j: number) => number): Float64Array => {
      const half = new Float64Array(size);
      for (let i = 0; i < size; i++)
        for (let j = 0; j <= i; j++) half[i]! += inverse[i * size + j]! * r(low + j);
      const full = new Float64Array(size);
      for (let i = 0; i < size; i++)
        for (let j = 0; j <= i; j++) full[j]! += inverse[i * size + j]! * half[i]!;
      return full;
    };
    const solvedY = solve((j) => normalValue(piece, j));
    const solvedL = solve((j) => lambda[j]!);
    for (let j = from; j < Math.min(n, from + WINDOW); j++) {
      const i = j - low;
      let precision = 0;
      for (let r = i; r < size; r++) precision += inverse[r * size + i]! ** 2;
      const a = Math.max(0, whole.a - solvedL[i]! ** 2 / precision);
      const b = whole.b - (solvedL[i]! * solvedY[i]!) / precision;
      const mode = rateMode(a, b, hyper);
      const rate = hyper.rate * Math.exp(hyper.spread * mode.z);
      const lever = solvedL[i]! / precision;
      const own = 1 / precision - (added?.[j] ?? 0) + (lever * rate * hyper.spread * mode.sd) ** 2;
      out.residual[j] = solvedY[i]! / precision - rate * lever;
      out.sd[j] = Math.sqrt(Math.max(own, normalSd(piece, j, hyper) ** 2));
    }
  }
  return out;
}

interface Choice {
  gross: number[];
  added: Float64Array | null;
  log: number;
}

/** The choices of gross readings that matter for one piece, with their log prior probabilities. */
export function findGross(piece: ScaledPiece, hyper: WearHyper): GrossSet[] {
  const readings = piece.grade.reduce((count, grade) => count + Number(grade < 0), 0);
  if (readings === 0) return [{ added: null, logPrior: 0 }];
  const lambda = clockOf(piece, hyper);
  const prior = (gross: number): number => gross * LOG_GROSS + (readings - gross) * LOG_ORDINARY;
  const judge = (gross: number[], size: Float64Array): Choice => {
    const added = gross.length === 0 ? null : new Float64Array(piece.count);
    for (const j of gross) added![j] = size[j]!;
    return { gross, added, log: standInLogLikelihood(piece, hyper, lambda, added) + prior(gross.length) };
  };
  // A gross error is given the variance of its own residual: heavy-tailed, so that its size has no say in the rest.
  const size = new Float64Array(piece.count);
  const score = new Float64Array(piece.count);
  const look = (choice: Choice): void => {
    const left = leaveOneOut(piece, hyper, choice.added);
    for (let j = 0; j < piece.count; j++) {
      score[j] = piece.grade[j]! < 0 ? Math.abs(left.residual[j]!) / left.sd[j]! : 0;
      size[j] = Math.max((GROSS_FACTOR * normalSd(piece, j, hyper)) ** 2, left.residual[j]! ** 2);
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
