/**
 * Likelihood of all pieces of a line at once, with its gradient.
 *
 * A fit asks for it some hundred times, so the events of all pieces lie one after another in a few arrays
 * (`wear-events.ts`), and nothing is made anew in the loops. Pieces with grades, or with unknown earlier usage, go through `wear-path.ts`.
 *
 * Gradient: with covariance K of the readings, residual r = y - bλ and u = K⁻¹r, the log-likelihood given the rate
 * changes by ½ tr((uuᵀ - K⁻¹) dK) + b uᵀdλ - uᵀdy (y moves with the bend), and the one with the rate integrated out by
 * the mean of that over the rate given the readings (Fisher's identity). One pass back over the readings gives u,
 * diag K⁻¹ and their sums over what follows (de Jong 1989), whatever the number of hyper-parameters.
 */
import { LineEvents } from "./wear-events.ts";
import { type GrossSet, LOG_2PI, logSumExp, pieceLogLikelihood } from "./wear-path.ts";
import { integrateRate, type RateIntegral } from "./wear-rate.ts";
import { BASE_DIMENSIONS, type ScaledPiece } from "./wear-scale.ts";
import type { WearHyper } from "./wear-types.ts";

/** Difference step in the log of a hyper-parameter, for pieces without an exact gradient. */
const STEP = 1e-3;

/** Where the events of a piece lie among those of the line, and its choices of gross readings. */
interface Place {
  piece: ScaledPiece;
  sets: readonly GrossSet[];
  from: number;
  /** whether all is normal once the rate is known */
  plain: boolean;
}

export class LineLikelihood {
  readonly #places: readonly Place[];
  readonly #dimensions: number;
  readonly #events: LineEvents;
  // What the pass forward leaves for the pass back: inverse variance, gain and residuals of the events of one piece.
  readonly #inverse: Float64Array;
  readonly #gain: Float64Array;
  readonly #offY: Float64Array;
  readonly #offL: Float64Array;
  readonly #integral: RateIntegral = { log: 0, rate: 0, square: 0, byRate: 0, bySpread: 0 };
  /** gradient of one choice, and of one piece */
  readonly #choice: Float64Array;
  readonly #own: Float64Array;

  /**
   * @param sets the choices of gross readings of each piece
   * @param conditions number of conditions of the prior
   */
  constructor(pieces: readonly ScaledPiece[], sets: readonly (readonly GrossSet[])[], conditions: number) {
    let events = 0;
    let longest = 0;
    this.#places = pieces.map((piece, i) => {
      const from = events;
      events += piece.count;
      longest = Math.max(longest, piece.count);
      return {
        piece,
        sets: sets[i]!,
        from,
        plain: !piece.graded && piece.priorUsageSd === 0,
      };
    });
    this.#dimensions = BASE_DIMENSIONS + conditions;
    this.#events = new LineEvents(pieces);
    this.#inverse = new Float64Array(longest);
    this.#gain = new Float64Array(longest);
    this.#offY = new Float64Array(longest);
    this.#offL = new Float64Array(longest);
    this.#choice = new Float64Array(this.#dimensions);
    this.#own = new Float64Array(this.#dimensions);
  }

  /**
   * Log-likelihood of the line; that of each piece is written into `out`.
   */
  values(hyper: WearHyper, out: Float64Array): number {
    this.#events.set(hyper);
    let total = 0;
    for (let i = 0; i < this.#places.length; i++) {
      const place = this.#places[i]!;
      const { piece, sets } = place;
      let log: number;
      if (!place.plain) log = pieceLogLikelihood(piece, hyper, sets);
      else if (sets.length === 1) log = this.#forward(place, sets[0]!, hyper, false);
      else log = logSumExp(sets.map((set) => this.#forward(place, set, hyper, false)));
      out[i] = log;
      total += log;
    }
    return total;
  }

  /**
   * Log-likelihood of the line with its gradient by the logs of the hyper-parameters, in their order.
   *
   * @param gradient filled with the gradient
   * @param outer filled with the sum of the outer products of the gradients of the pieces, row by row: with many
   *   pieces this is about minus the matrix of second derivatives (Berndt, Hall, Hall & Hausman 1974)
   */
  gradient(hyper: WearHyper, gradient: Float64Array, outer: Float64Array): number {
    this.#events.set(hyper);
    const d = this.#dimensions;
    const own = this.#own;
    gradient.fill(0);
    outer.fill(0);
    let total = 0;
    for (let i = 0; i < this.#places.length; i++) {
      const place = this.#places[i]!;
      total += place.plain ? this.#plainGradient(place, hyper) : this.#slowGradient(place, hyper);
      for (let k = 0; k < d; k++) {
        const slope = own[k]!;
        gradient[k]! += slope;
        for (let l = 0; l <= k; l++) outer[k * d + l]! += slope * own[l]!;
      }
    }
    for (let k = 0; k < d; k++) for (let l = 0; l < k; l++) outer[l * d + k] = outer[k * d + l]!;
    return total;
  }

  /**
   * Kalman filter of one piece over the readings and over the clock, and the integral over its rate; `andBack` where
   * the pass back is to follow.
   */
  #forward(place: Place, { added, logPrior }: GrossSet, hyper: WearHyper, andBack: boolean): number {
    const { from, piece } = place;
    const count = piece.count;
    const { place: value, near, square, slope, clock, slopeWhenNew } = this.#events;
    const inverse = this.#inverse;
    const gains = this.#gain;
    const offYs = this.#offY;
    const offLs = this.#offL;
    const diffusion = (hyper.rate * hyper.noise) ** 2;
    const reading = hyper.reading * hyper.reading;
    // The variance is p / q, so that no division waits for the one before; the product of all variances of the
    // residuals is then the last q.
    let p = piece.startVariance * slopeWhenNew * slopeWhenNew;
    let q = 1;
    let logs = 0;
    let levelY = 0;
    let levelL = 0;
    let previous = 0;
    let a = 0;
    let b = 0;
    let squares = 0;
    let bent = 0;
    for (let j = 0; j < count; j++) {
      bent += near[from + j]!;
      const at = clock[from + j]!;
      if (at > previous) {
        p += diffusion * (at - previous) * q;
        previous = at;
      }
      let error = reading * square[from + j]!;
      if (added !== null) error += added[j]! * slope[from + j]! * slope[from + j]!;
      const next = p + error * q;
      const share = 1 / next;
      const per = q * share;
      const gain = p * share;
      const offY = value[from + j]! - levelY;
      const offL = at - levelL;
      levelY += gain * offY;
      levelL += gain * offL;
      a += offL * offL * per;
      b += offL * offY * per;
      squares += offY * offY * per;
      if (andBack) {
        inverse[j] = per;
        gains[j] = gain;
        offYs[j] = offY;
        offLs[j] = offL;
      }
      p *= error;
      q = next;
      if (q < 1e-100 || q > 1e100) {
        logs += Math.log(q);
        p /= q;
        q = 1;
      }
    }
    integrateRate(a, b, hyper, this.#integral, andBack);
    const scale = count * this.#events.logSlopeWhenNew - hyper.bend * bent;
    return logPrior + scale + this.#integral.log - 0.5 * (count * LOG_2PI + logs + Math.log(q) + squares);
  }

  /** The pass back after `#forward`; leaves the gradient of this choice in `#choice`. */
  #backward(place: Place, { added }: GrossSet, hyper: WearHyper): void {
    const { from, piece } = place;
    const { rate, square, byRate, bySpread } = this.#integral;
    const choice = this.#choice;
    const events = this.#events;
    const { clock, square: stated, slope, logUsage, slopeWhenNew } = events;
    const logSlopeByBend = events.logSlopeByBend();
    const diffusion = (hyper.rate * hyper.noise) ** 2;
    const reading = hyper.reading * hyper.reading;
    // Sums over what follows of u (for the readings and for the clock) and of K⁻¹.
    let sumY = 0;
    let sumL = 0;
    let sumK = 0;
    let later = 0;
    let byReading = 0;
    let byDiffusion = 0;
    let byExponent = 0;
    let byBend = piece.count * logSlopeByBend;
    for (let c = BASE_DIMENSIONS; c < choice.length; c++) choice[c] = 0;
    for (let j = piece.count - 1; j >= 0; j--) {
      const per = this.#inverse[j]!;
      const gain = this.#gain[j]!;
      const offY = this.#offY[j]! * per;
      const offL = this.#offL[j]! * per;
      const uY = offY - gain * sumY;
      const uL = offL - gain * sumL;
      const excess = uY * uY - 2 * rate * uY * uL + square * uL * uL - (per + gain * gain * sumK);
      const byError = reading * stated[from + j]! * excess;
      byReading += byError;
      let byScale = byError;
      if (added !== null) byScale += added[j]! * slope[from + j]! * slope[from + j]! * excess;
      const fall = events.logFallByBend(from + j);
      byBend +=
        fall +
        byScale * (logSlopeByBend + fall) -
        (uY - rate * uL) * events.placeByBend(from + j, logSlopeByBend);
      const rest = 1 - gain;
      sumY = offY + rest * sumY;
      sumL = offL + rest * sumL;
      sumK = per + rest * rest * sumK;
      const now = 0.5 * diffusion * (sumY * sumY - 2 * rate * sumY * sumL + square * sumL * sumL - sumK);
      const at = clock[from + j]!;
      byDiffusion += now * Math.max(0, at - (j > 0 ? clock[from + j - 1]! : 0));
      const byClock = (now - later + rate * uY - square * uL) * at;
      later = now;
      if (at > 0) {
        byExponent += byClock * hyper.exponent * logUsage[from + j]!;
        if (piece.exposures.length > 0) {
          const share = (byClock * hyper.exponent) / Math.exp(logUsage[from + j]!);
          for (let c = 0; c < piece.exposures.length; c++)
            choice[BASE_DIMENSIONS + c]! += share * hyper.multipliers[c]! * piece.exposures[c]![j]!;
        }
      }
    }
    const start = piece.startVariance * slopeWhenNew * slopeWhenNew;
    byBend += start * logSlopeByBend * (sumY * sumY - 2 * rate * sumY * sumL + square * sumL * sumL - sumK);
    // Diffusion is the square of rate times noise.
    choice[0] = 2 * byDiffusion + byRate;
    choice[1] = bySpread;
    choice[2] = 2 * byDiffusion;
    choice[3] = byReading;
    choice[4] = byExponent;
    choice[5] = byBend;
  }

  /** Log-likelihood of a piece; its gradient is left in `#own`. */
  #plainGradient(place: Place, hyper: WearHyper): number {
    const { sets } = place;
    const own = this.#own;
    const choice = this.#choice;
    own.fill(0);
    let whole = -Infinity;
    for (const set of sets) {
      const log = this.#forward(place, set, hyper, true);
      this.#backward(place, set, hyper);
      // The gradient of a sum of likelihoods is the mean of the gradients of their logs, weighted by the likelihoods.
      const top = Math.max(whole, log);
      const sum = top + Math.log(Math.exp(whole - top) + Math.exp(log - top));
      const share = Math.exp(log - sum);
      for (let k = 0; k < own.length; k++) own[k] = own[k]! * (1 - share) + choice[k]! * share;
      whole = sum;
    }
    return whole;
  }

  /** The same for a piece that is filtered at each rate by itself: central differences. */
  #slowGradient({ piece, sets }: Place, hyper: WearHyper): number {
    for (let k = 0; k < this.#own.length; k++) {
      const above = pieceLogLikelihood(piece, moved(hyper, k, STEP), sets);
      const below = pieceLogLikelihood(piece, moved(hyper, k, -STEP), sets);
      this.#own[k] = (above - below) / (2 * STEP);
    }
    return pieceLogLikelihood(piece, hyper, sets);
  }
}

/** One hyper-parameter multiplied by exp(by), or the bend moved by as much. */
function moved(hyper: WearHyper, k: number, by: number): WearHyper {
  const factor = (i: number): number => (i === k ? Math.exp(by) : 1);
  return {
    rate: hyper.rate * factor(0),
    spread: hyper.spread * factor(1),
    noise: hyper.noise * factor(2),
    reading: hyper.reading * factor(3),
    exponent: hyper.exponent * factor(4),
    bend: hyper.bend + (k === 5 ? by : 0),
    multipliers: hyper.multipliers.map((m, c) => m * factor(BASE_DIMENSIONS + c)),
  };
}
