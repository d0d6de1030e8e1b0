/**
 * The events of all pieces of a line, one after another in a few arrays: their clock, and their wear on the straightened
 * scale, for one set of hyper-parameters after another.
 */
import { LEAST, logSlopeWhenNewByBend, MOST, settles, slopeWhenNew, within } from "./wear-bend.ts";
import { usageAt } from "./wear-observed.ts";
import type { ScaledPiece } from "./wear-scale.ts";
import type { WearHyper } from "./wear-types.ts";

/** Largest step in a logarithm for which five terms of the exponential series do: they leave 4e-10. */
const SMALL_STEP = 0.08;
/** Largest bend times wear for which the series of the scale replaces its closed form, and leaves 4e-11. */
const SMALL_BEND = 0.03;
/** The same for the derivative by the bend of the scale of a line that settles. */
const TINY_BEND = 1e-4;
/** Up to this loss of rate from new to the limit the place of a line that settles is had by a series, which leaves 3e-12. */
const FINE_DROP = 0.01;

/** exp(x) - 1 over x, for a small x. */
const exponentialSeries = (x: number): number => 1 + x * (0.5 + x * (1 / 6 + x * (1 / 24 + x / 120)));

/** -log(1 - y) over y, for a small y. */
const logSeries = (y: number): number =>
  1 + y * (1 / 2 + y * (1 / 3 + y * (1 / 4 + y * (1 / 5 + y * (1 / 6 + y / 7)))));

export class LineEvents {
  /** usage to the power of the exponent, and log of the usage */
  readonly clock: Float64Array;
  readonly logUsage: Float64Array;
  readonly wear: Float64Array;
  /** what decides on the slope of the scale: its log is that of a new piece less bend times this */
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
  /** the middle of what is known of the wear, and that within the bent part of the scale where wear feeds on itself */
  readonly #middle: Float64Array;
  readonly #fed: Float64Array;
  /** `near` where wear settles; where it feeds on itself, that is the wear */
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
  #settles = false;
  /** where wear settles a piece wears 1 - drop * wear times as fast as a new one, up to a wear of `most` */
  #drop = 0;
  #most = MOST;

  constructor(pieces: readonly ScaledPiece[]) {
    const events = pieces.reduce((sum, { count }) => sum + count, 0);
    const column = (): Float64Array => new Float64Array(events);
    this.clock = column();
    this.logUsage = column();
    this.wear = column();
    this.#fed = column();
    this.#middle = column();
    this.#nearPlace = column();
    this.near = this.#fed;
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
        this.logUsage[from + j] = piece.logBase[j]!;
        this.wear[from + j] = piece.value[j]!;
        this.#middle[from + j] = piece.middle[j]!;
        this.#fed[from + j] = within(piece.middle[j]!, MOST);
        this.#stated[from + j] = piece.sd[j]! * piece.sd[j]!;
        this.#longest = Math.max(this.#longest, Math.abs(piece.logBase[j]!));
        this.#furthest = Math.max(this.#furthest, Math.abs(this.#fed[from + j]!));
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
    this.#settles = settles(bend);
    this.near = this.#settles ? this.#nearPlace : this.#fed;
    if (this.#settles) this.#setSettling(bend);
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
    const drop = -Math.expm1(bend);
    const fall = Math.expm1(MOST * bend);
    this.#drop = drop;
    this.#most = -fall / drop;
    if (drop > FINE_DROP) this.#setLogs(bend, fall);
    else this.#setNearlyStraight(bend);
  }

  /** Places of a line that settles little: near 0 a log would have to be as exact as the bend that it is divided by. */
  #setNearlyStraight(bend: number): void {
    const start = this.slopeWhenNew;
    const drop = this.#drop;
    const most = this.#most;
    const { near, wear, place, slope, square } = this;
    const stated = this.#stated;
    const middle = this.#middle;
    const perBend = -drop / bend;
    for (let j = 0; j < middle.length; j++) {
      const x = within(middle[j]!, most);
      const part = drop * x;
      const at = perBend * x * logSeries(part);
      const tilt = start / (1 - part);
      near[j] = at;
      slope[j] = tilt;
      place[j] = at + tilt * (wear[j]! - x);
      square[j] = stated[j]! * tilt * tilt;
    }
  }

  /** The same by logs, those of the last bend that was far enough from this one carried on by a series. */
  #setLogs(bend: number, fall: number): void {
    const start = this.slopeWhenNew;
    const drop = this.#drop;
    const most = this.#most;
    const { near, wear, place, slope, square } = this;
    const stated = this.#stated;
    const middle = this.#middle;
    const rests = this.#exactRest;
    const logs = this.#exactLog;
    const close = Math.abs(drop - this.#exactDrop) * MOST < SMALL_STEP * (1 + fall);
    if (!close) {
      for (let j = 0; j < middle.length; j++) {
        rests[j] = 1 - drop * within(middle[j]!, most);
        logs[j] = Math.log(rests[j]!);
      }
      this.#exactDrop = drop;
    }
    const perBend = 1 / bend;
    for (let j = 0; j < middle.length; j++) {
      const x = within(middle[j]!, most);
      const rest = 1 - drop * x;
      const off = (rest - rests[j]!) / (rest + rests[j]!);
      // log of the quotient, as twice the inverse hyperbolic tangent
      const at = (logs[j]! + 2 * off * (1 + off * off * (1 / 3 + (off * off) / 5))) * perBend;
      const tilt = start / rest;
      near[j] = at;
      slope[j] = tilt;
      place[j] = at + tilt * (wear[j]! - x);
      square[j] = stated[j]! * tilt * tilt;
    }
  }

  /** Derivative of `logSlopeWhenNew` by the bend. */
  logSlopeByBend(): number {
    return logSlopeWhenNewByBend(this.#bend);
  }

  /** Derivative of the log of the slope at event `j`, less that of a new piece, by the bend. */
  logFallByBend(j: number): number {
    const x = this.#middle[j]!;
    // Beyond the bent part the slope is that at its end, whose place is the same for every bend.
    if (!this.#settles || x > this.#most) return -this.near[j]!;
    return ((this.#drop - 1) * Math.max(LEAST, x) * this.slope[j]!) / this.slopeWhenNew;
  }

  /**
   * Derivative of the place of event `j` by the bend.
   *
   * @param logSlopeByBend the same for all events
   */
  placeByBend(j: number, logSlopeByBend: number): number {
    if (this.#settles) return this.#settlingByBend(j, logSlopeByBend);
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
    const x = within(this.#middle[j]!, this.#most);
    const near = this.near[j]!;
    const fall = this.logFallByBend(j);
    const byTangent = this.slope[j]! * (this.wear[j]! - x) * (logSlopeByBend + fall);
    if (this.#middle[j]! > this.#most) return byTangent - this.slope[j]! * this.#mostByBend();
    if (-bend > TINY_BEND) return byTangent - (fall + near) / bend;
    const byFirst = x * (0.5 - x * 0.5);
    const bySecond = x * (1 / 3 - x * (1 - (x * 2) / 3));
    const byThird = x * (1 / 8 - x * (7 / 8 - x * (3 / 2 - (x * 3) / 4)));
    return byTangent + byFirst + bend * (bySecond + bend * byThird);
  }

  /** Derivative of the wear at which the bent part of the scale ends, by the bend. */
  #mostByBend(): number {
    if (-this.#bend < TINY_BEND) return 0.5 * MOST * (MOST - 1);
    return (this.#most * (1 - this.#drop) - MOST * Math.exp(MOST * this.#bend)) / this.#drop;
  }
}
