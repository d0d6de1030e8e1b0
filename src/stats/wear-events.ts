/**
 * The events of all pieces of a line, one after another in a few arrays: their clock, and their wear on the straightened
 * scale, for one set of hyper-parameters after another.
 */
import { LEAST, logSlopeWhenNewByBend, MOST, slopeWhenNew, within } from "./wear-bend.ts";
import { usageAt } from "./wear-observed.ts";
import type { ScaledPiece } from "./wear-scale.ts";
import type { WearHyper } from "./wear-types.ts";

/** Largest step in a logarithm for which five terms of the exponential series do: they leave 4e-10. */
const SMALL_STEP = 0.08;
/** Largest bend times wear for which the series of the scale replaces its closed form, and leaves 4e-11. */
const SMALL_BEND = 0.03;
/** The same for the derivative by the bend of the scale of a line that settles. */
const TINY_BEND = 1e-4;

/** exp(x) - 1 over x, for a small x. */
const exponentialSeries = (x: number): number => 1 + x * (0.5 + x * (1 / 6 + x * (1 / 24 + x / 120)));

export class LineEvents {
  /** usage to the power of the exponent, and log of the usage */
  readonly clock: Float64Array;
  readonly logUsage: Float64Array;
  readonly wear: Float64Array;
  /** what decides on the slope of the scale: its log there is that of a new piece less bend times this */
  near: Float64Array;
  /** on the straightened scale: place, slope there, variance of a reading as stated */
  readonly place: Float64Array;
  readonly slope: Float64Array;
  readonly square: Float64Array;
  /** slope of the scale where a piece is new, and its log */
  slopeWhenNew = 1;
  logSlopeWhenNew = 0;
  /** whether bend times wear is so small that series stand for closed forms */
  #nearlyStraight = false;
  /** `near` where wear feeds on itself, and where it settles */
  readonly #nearWear: Float64Array;
  readonly #nearPlace: Float64Array;
  readonly #stated: Float64Array;
  readonly #pieces: readonly ScaledPiece[];
  readonly #conditioned: boolean;
  /** largest log of usage and largest wear, in absolute value */
  #longest = 0;
  #furthest = 0;
  // What was last set: differences move one hyper-parameter at a time.
  #exponent = NaN;
  #bend = NaN;
  // Powers and slopes where they were last worked out by themselves, and not by a series from there.
  readonly #exactClock: Float64Array;
  readonly #exactFall: Float64Array;
  readonly #exactRest: Float64Array;
  readonly #exactLog: Float64Array;
  #exactExponent = NaN;
  #exactBend = NaN;
  #exactDrop = NaN;
  // Where wear settles a piece wears 1 - drop * wear times as fast as a new one, on this scale from `most` down to `least`.
  #drop = 0;
  #most = 1;
  #least = 1;

  constructor(pieces: readonly ScaledPiece[]) {
    const events = pieces.reduce((sum, { count }) => sum + count, 0);
    const column = (): Float64Array => new Float64Array(events);
    this.clock = column();
    this.logUsage = column();
    this.wear = column();
    this.#nearWear = column();
    this.#nearPlace = column();
    this.near = this.#nearWear;
    this.place = column();
    this.slope = column();
    this.square = column();
    this.#stated = column();
    this.#exactClock = column();
    this.#exactFall = column();
    this.#exactRest = column();
    this.#exactLog = column();
    this.#pieces = pieces;
    this.#conditioned = pieces.some(({ exposures }) => exposures.length > 0);
    let from = 0;
    for (const piece of pieces) {
      for (let j = 0; j < piece.count; j++) {
        const near = within(piece.value[j]!);
        this.logUsage[from + j] = piece.logBase[j]!;
        this.wear[from + j] = piece.value[j]!;
        this.#nearWear[from + j] = near;
        this.#stated[from + j] = piece.sd[j]! * piece.sd[j]!;
        this.#longest = Math.max(this.#longest, Math.abs(piece.logBase[j]!));
        this.#furthest = Math.max(this.#furthest, Math.abs(near));
      }
      from += piece.count;
    }
  }

  set(hyper: WearHyper): void {
    this.#setClock(hyper);
    this.#setScale(hyper.bend);
  }

  #setClock({ exponent, multipliers }: WearHyper): void {
    const { logUsage, clock } = this;
    if (this.#conditioned) {
      let from = 0;
      for (const piece of this.#pieces) {
        if (piece.exposures.length > 0)
          for (let j = 0; j < piece.count; j++) logUsage[from + j] = Math.log(usageAt(piece, j, multipliers));
        from += piece.count;
      }
    } else {
      if (exponent === this.#exponent) return;
      this.#exponent = exponent;
      // The points of a line of many pieces have nearly one exponent: from one to the next a few terms of the series do.
      const by = exponent - this.#exactExponent;
      if (Math.abs(by) * this.#longest < SMALL_STEP) {
        for (let j = 0; j < clock.length; j++) {
          const x = by * logUsage[j]!;
          clock[j] = this.#exactClock[j]! * (1 + x * exponentialSeries(x));
        }
        return;
      }
    }
    const exact = this.#exactClock;
    for (let j = 0; j < clock.length; j++) {
      exact[j] = Math.exp(exponent * logUsage[j]!);
      clock[j] = exact[j]!;
    }
    this.#exactExponent = exponent;
  }

  #setScale(bend: number): void {
    if (bend === this.#bend) return;
    this.#bend = bend;
    this.slopeWhenNew = slopeWhenNew(bend);
    this.logSlopeWhenNew = Math.log(this.slopeWhenNew);
    this.near = bend < 0 ? this.#nearPlace : this.#nearWear;
    if (bend < 0) this.#setSettling(bend);
    else this.#setFeeding(bend);
  }

  #setFeeding(bend: number): void {
    const start = this.slopeWhenNew;
    this.#nearlyStraight = bend * this.#furthest < SMALL_BEND;
    const { near, wear, place, slope, square } = this;
    const stated = this.#stated;
    if (this.#nearlyStraight) {
      for (let j = 0; j < near.length; j++) {
        const x = near[j]!;
        const arc = x * exponentialSeries(-bend * x);
        const tilt = start * (1 - bend * arc);
        slope[j] = tilt;
        place[j] = start * arc + tilt * (wear[j]! - x);
        square[j] = stated[j]! * tilt * tilt;
      }
      return;
    }
    const fall = this.#exactFall;
    const by = bend - this.#exactBend;
    const close = Math.abs(by) * this.#furthest < SMALL_STEP;
    if (!close) {
      for (let j = 0; j < near.length; j++) fall[j] = Math.exp(-bend * near[j]!);
      this.#exactBend = bend;
    }
    const move = close ? by : 0;
    const perBend = 1 / bend;
    for (let j = 0; j < near.length; j++) {
      const x = near[j]!;
      const step = -move * x;
      const tilt = start * fall[j]! * (1 + step * exponentialSeries(step));
      slope[j] = tilt;
      place[j] = (start - tilt) * perBend + tilt * (wear[j]! - x);
      square[j] = stated[j]! * tilt * tilt;
    }
  }

  #setSettling(bend: number): void {
    const start = this.slopeWhenNew;
    const { near, wear, place, slope, square } = this;
    const stated = this.#stated;
    const rests = this.#exactRest;
    const logs = this.#exactLog;
    const drop = -Math.expm1(bend);
    const most = Math.exp(LEAST * bend);
    const least = Math.exp(MOST * bend);
    this.#drop = drop;
    this.#most = most;
    this.#least = least;
    const close = Math.abs(drop - this.#exactDrop) * MOST < SMALL_STEP * least;
    if (!close) {
      for (let j = 0; j < wear.length; j++) {
        rests[j] = Math.min(most, Math.max(least, 1 - drop * wear[j]!));
        logs[j] = Math.log(rests[j]!);
      }
      this.#exactDrop = drop;
    }
    const perBend = 1 / bend;
    const perDrop = 1 / drop;
    for (let j = 0; j < wear.length; j++) {
      const whole = 1 - drop * wear[j]!;
      const rest = Math.min(most, Math.max(least, whole));
      const off = (rest - rests[j]!) / (rest + rests[j]!);
      // log of the quotient, as twice the inverse hyperbolic tangent
      const at = (logs[j]! + 2 * off * (1 + off * off * (1 / 3 + (off * off) / 5))) * perBend;
      const tilt = start / rest;
      near[j] = at;
      slope[j] = tilt;
      place[j] = at + tilt * (rest - whole) * perDrop;
      square[j] = stated[j]! * tilt * tilt;
    }
  }

  /** Derivative of `logSlopeWhenNew` by the bend. */
  logSlopeByBend(): number {
    return logSlopeWhenNewByBend(this.#bend);
  }

  /**
   * Derivative of the log of the slope at event `j`, less that of a new piece, by the bend.
   */
  logFallByBend(j: number): number {
    if (this.#bend >= 0 || this.#isBeyond(j)) return -this.near[j]!;
    return ((this.#drop - 1) * this.wear[j]! * this.slope[j]!) / this.slopeWhenNew;
  }

  /** Whether the scale of a line that settles goes on straight where event `j` lies. */
  #isBeyond(j: number): boolean {
    const rest = 1 - this.#drop * this.wear[j]!;
    return rest < this.#least || rest > this.#most;
  }

  /**
   * Derivative of the place of event `j` by the bend.
   *
   * @param logSlopeByBend the same for all events
   */
  placeByBend(j: number, logSlopeByBend: number): number {
    if (this.#bend < 0) return this.#settlingByBend(j, logSlopeByBend);
    const x = this.near[j]!;
    const tilt = this.slope[j]!;
    const place = this.place[j]!;
    const beyond = tilt * (this.wear[j]! - x);
    return logSlopeByBend * place + this.#arcByBend(x, tilt, place - beyond) - x * beyond;
  }

  /** The same of (1 - exp(-bend x)) / bend, times the slope of a new piece; `arc` is that itself. */
  #arcByBend(x: number, tilt: number, arc: number): number {
    if (!this.#nearlyStraight) return (x * tilt - arc) / this.#bend;
    const off = this.#bend * x;
    return -this.slopeWhenNew * x * x * (0.5 - off * (1 / 3 - off * (1 / 8 - off * (1 / 30 - off / 144))));
  }

  #settlingByBend(j: number, logSlopeByBend: number): number {
    const bend = this.#bend;
    const x = this.wear[j]!;
    const near = this.near[j]!;
    if (this.#isBeyond(j)) {
      // Here the scale goes on straight from the wear at which `near` is reached; that moves with the bend too.
      const drop = this.#drop;
      const rest = x < 0 ? this.#most : this.#least;
      const edge = (1 - rest) / drop;
      const edgeByBend = (edge * (1 - drop) - near * rest) / drop;
      return this.slope[j]! * ((logSlopeByBend - near) * (x - edge) - edgeByBend);
    }
    if (-bend * Math.max(1, this.#furthest) > TINY_BEND) return -(this.logFallByBend(j) + near) / bend;
    const byFirst = x * (0.5 - x * 0.5);
    const bySecond = x * (1 / 3 - x * (1 - (x * 2) / 3));
    const byThird = x * (1 / 8 - x * (7 / 8 - x * (3 / 2 - (x * 3) / 4)));
    return byFirst + bend * (bySecond + bend * byThird);
  }
}
