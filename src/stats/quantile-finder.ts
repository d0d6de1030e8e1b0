/** Quantiles of a law known by its distribution function, where each value of that function is dear. */
import { normalQuantile } from "./normal.ts";

/** What is below this chance, or above 1 less half the last place of a number, is taken as that. */
const LEAST_CHANCE = 1e-300;
const MOST_CHANCE = 1 - 2 ** -53;
/** Every so many steps one halves the bracket, so that a law with jumps is found too. */
const STEPS_TO_A_HALVING = 4;
const MOST_STEPS = 240;

export interface FinderOptions {
  /** where the law is expected, at least one place */
  guesses: readonly number[];
  /** the first step beyond the places known, above 0; each further one is twice as long */
  step: number;
  /** how near a quantile has to be to a place known, or to the end of a jump */
  tolerance: number;
  /** no quantile is looked for below this */
  least?: number;
  /** nor above this */
  most?: number;
}

/**
 * Finds quantiles one after another, each from all the values that those before it took. Scored as a normal variable,
 * most laws are nearly straight, so a few values suffice: inverse interpolation through the three places nearest to the
 * quantile (Brent 1973, Algorithms for Minimization without Derivatives, chapter 4), and now and then a halving.
 */
export class QuantileFinder {
  readonly #cdf: (place: number) => number;
  readonly #options: Required<FinderOptions>;
  /** the places known, ascending, and the normal score of the chance below each */
  readonly #places: number[] = [];
  readonly #scores: number[] = [];
  readonly #found = new Map<number, number>();

  /**
   * @param cdf distribution function, not falling
   * @throws {RangeError} if the step is not above 0
   */
  constructor(cdf: (place: number) => number, options: FinderOptions) {
    this.#cdf = cdf;
    this.#options = { least: -Infinity, most: Infinity, ...options };
    if (!(options.step > 0))
      throw new RangeError(`QuantileFinder requires a step above 0, got ${options.step}`);
  }

  /**
   * The place below which the law lies with chance `p`; `least` or `most` where it is not between them. Asked again, the
   * same number.
   *
   * @throws {RangeError} if `p` is outside (0, 1), or the law is not a number where it is asked for
   */
  at(p: number): number {
    let place = this.#found.get(p);
    if (place === undefined) {
      place = this.#find(normalQuantile(p));
      this.#found.set(p, place);
    }
    return place;
  }

  #find(score: number): number {
    const { guesses, tolerance, least, most } = this.#options;
    if (this.#places.length === 0)
      for (const guess of guesses) this.#value(Math.min(most, Math.max(least, guess)));
    const beyond = this.#beyond(score);
    if (beyond !== null) return beyond;
    for (let k = 1; k < MOST_STEPS; k++) {
      const above = this.#firstAbove(score);
      const [low, high] = [this.#places[above - 1]!, this.#places[above]!];
      const [under, over] = [this.#scores[above - 1]!, this.#scores[above]!];
      const straight = low + ((score - under) / (over - under)) * (high - low);
      const bent = this.#bent(score, above);
      const known = Math.min(straight - low, high - straight) <= tolerance;
      if (high - low <= tolerance || (known && Math.abs(bent - straight) <= tolerance)) return straight;
      const safe = k % STEPS_TO_A_HALVING !== 0 && bent > low && bent < high;
      const middle = 0.5 * (low + high);
      if (middle <= low || middle >= high) return straight;
      this.#value(safe ? bent : middle);
    }
    return this.#places[this.#firstAbove(score)]!;
  }

  /** Goes on from the places known until they hold the score between them; the end that comes first, if it does. */
  #beyond(score: number): number | null {
    const { step, least, most } = this.#options;
    for (let length = step; this.#scores[0]! >= score; length *= 2) {
      if (this.#places[0]! <= least) return least;
      this.#value(Math.max(least, this.#places[0]! - length));
    }
    for (let length = step; this.#scores.at(-1)! < score; length *= 2) {
      if (this.#places.at(-1)! >= most) return most;
      this.#value(Math.min(most, this.#places.at(-1)! + length));
    }
    return null;
  }

  /** Where the parabola of places over scores through the two places around the score and the nearest third has it. */
  #bent(score: number, above: number): number {
    const gap = (i: number): number => Math.abs((this.#scores[i] ?? Infinity) - score);
    const third = gap(above - 2) < gap(above + 1) ? above - 2 : above + 1;
    const ends = gap(third) < Infinity ? [above - 1, above, third] : [above - 1, above];
    let place = 0;
    for (const i of ends) {
      let share = this.#places[i]!;
      for (const j of ends)
        if (j !== i) share *= (score - this.#scores[j]!) / (this.#scores[i]! - this.#scores[j]!);
      place += share;
    }
    return place;
  }

  /** Index of the first place known whose score is not below this one. */
  #firstAbove(score: number): number {
    const found = this.#scores.findIndex((one) => one >= score);
    return found === -1 ? this.#scores.length : found;
  }

  /** Evaluates the law at a place and puts it among the places known. */
  #value(place: number): void {
    const chance = Math.min(MOST_CHANCE, Math.max(LEAST_CHANCE, this.#cdf(place)));
    const at = this.#places.findIndex((known) => known > place);
    const i = at === -1 ? this.#places.length : at;
    // A sum of many terms may fall by its rounding; a score never does.
    const [under, over] = [this.#scores[i - 1] ?? -Infinity, this.#scores[i] ?? Infinity];
    this.#places.splice(i, 0, place);
    this.#scores.splice(i, 0, Math.min(over, Math.max(under, normalQuantile(chance))));
  }
}
