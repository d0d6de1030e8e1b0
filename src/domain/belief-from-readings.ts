/**
 * A weak belief about how a line wears, for readings that come with no knowledge of the trade: taken from the scale of
 * the readings themselves, and wide enough that a few readings outweigh it.
 */
import type { WearPrior } from "../stats/index.ts";

export interface ReadingsOfPiece {
  id: string;
  /** in order of usage */
  readings: readonly { usage: number; value: number }[];
}

/** Where the expected life comes from: it was stated, or it was guessed from the readings. */
export type LifeSource = "stated" | "readings";

/** Whether the bend of the path is learned, or wear is taken to go in proportion to usage. */
export type Path = "learned" | "straight";

export interface ReadingsBelief {
  prior: WearPrior;
  lifeFrom: LifeSource;
}

/** Guessed lives reach from a fifth to five times what the readings say, so that they hardly speak (our choice, no source). */
const GUESS_FACTOR = 5;
/** Alike pieces usually differ by a fifth in their rate, as published lasers do (0.21, Meeker & Escobar 1998, Table C.17). */
const USUAL_PIECE_SPREAD = 0.2;
/** Runs of a piece usually differ by a few tenths (common practice, no source). */
const USUAL_RUN_SPREAD = 0.3;
/** With no run stated, a run is taken as this share of the expected life. */
const RUN_SHARE = 1 / 20;
/** A reading is usually good to a fiftieth of what may wear off; never better or worse than this (our choice, no source). */
const READING_SHARE = { usual: 1 / 50, least: 1 / 1000, most: 1 / 5 };
/** Median absolute deviation of a normal law, in standard deviations. */
const MAD = 0.6745;

const median = (values: readonly number[]): number | undefined =>
  [...values].sort((a, b) => a - b)[Math.floor((values.length - 1) / 2)];

/**
 * Readings against the straight line between their neighbours: half a gap's run of wear and reading errors together,
 * so rather too large than too small. With errors of standard deviation s each has one of s √1.5.
 */
function readingScatter(pieces: readonly ReadingsOfPiece[]): number | undefined {
  const off: number[] = [];
  for (const { readings } of pieces)
    for (let j = 1; j + 1 < readings.length; j++) {
      const [before, at, after] = [readings[j - 1]!, readings[j]!, readings[j + 1]!];
      const gap = after.usage - before.usage;
      const share = gap > 0 ? (at.usage - before.usage) / gap : 0.5;
      off.push(Math.abs(at.value - before.value - share * (after.value - before.value)));
    }
  const typical = median(off);
  return typical === undefined ? undefined : typical / MAD / Math.sqrt(1.5);
}

/** Middle of the lives that the last readings of the pieces point to; undefined where none has been used. */
function pointedLife(
  pieces: readonly ReadingsOfPiece[],
  wearOf: (value: number) => number,
  limit: number,
): number | undefined {
  const used = pieces.flatMap(({ readings }) => readings.slice(-1)).filter(({ usage }) => usage > 0);
  // One whose wear cannot be seen yet has not used up a tenth of its life.
  return median(used.map(({ usage, value }) => (usage * limit) / Math.max(wearOf(value), limit / 10)));
}

/**
 * What to believe before the readings of a line whose pieces start at `asNew` and are finished at `limit`.
 *
 * @param given.expectedLife range in which eight lives of ten end; guessed where absent
 * @param given.path learned where absent
 * @returns undefined where there is no life stated, and no reading after some usage to guess one from
 */
export function beliefFromReadings(given: {
  asNew: number;
  limit: number;
  expectedLife?: { p10: number; p90: number } | undefined;
  path?: Path | undefined;
  pieces: readonly ReadingsOfPiece[];
}): ReadingsBelief | undefined {
  const { asNew, limit, expectedLife, path = "learned", pieces } = given;
  const wearable = Math.abs(limit - asNew);
  const wearOf = (value: number) => Math.sign(limit - asNew) * (value - asNew);
  const pointed = expectedLife === undefined ? pointedLife(pieces, wearOf, wearable) : undefined;
  const life =
    expectedLife ??
    (pointed === undefined ? undefined : { p10: pointed / GUESS_FACTOR, p90: pointed * GUESS_FACTOR });
  if (life === undefined) return undefined;
  const { usual, least, most } = READING_SHARE;
  const scatter = readingScatter(pieces) ?? usual * wearable;
  const readingSd = Math.min(most * wearable, Math.max(least * wearable, scatter));
  return {
    prior: {
      life,
      pieceSpread: USUAL_PIECE_SPREAD,
      runSpread: USUAL_RUN_SPREAD,
      usagePerRun: RUN_SHARE * Math.sqrt(life.p10) * Math.sqrt(life.p90),
      // A piece's own as-new size is known as well as one reading is.
      startSd: readingSd,
      readingSd,
      ...(path === "straight" ? { exponentSd: 0, bendSd: 0 } : {}),
    },
    lifeFrom: expectedLife === undefined ? "readings" : "stated",
  };
}
