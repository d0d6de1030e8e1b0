import { createRandom, type Random } from "../stats/index.ts";
import type { ChangedTogether, LineWorld, WornBy } from "./demand.ts";
import { type BreakageOfOwners, drawBreakage } from "./demand-breakage.ts";
import { creditAfter, endOfSet, type Practice } from "./demand-practice.ts";
import { lifeAt, type Lives, livesOf } from "./lives.ts";

/**
 * The same need as in demand.ts, followed season by season: what the pieces share is drawn once for each season, then
 * every position is changed as its pieces end. For questions about stretches of a season, where the laws through each
 * day are not enough.
 */

const mostChanges = 500;

/** One group of pieces in one world, ready to be drawn from. */
export interface Ready {
  group: ChangedTogether;
  first: Lives;
  later: Lives;
  end: number;
  size: number;
  /** of each set kept for practice, how long it is not worn out; null where none is */
  practice: { of: Practice; sets: Lives[] } | null;
}

/** Later lives of cars that drive alike have one table. */
export function readied(world: LineWorld): Ready[] {
  const later = new Map<string, Lives>();
  return world.groups.map((group) => {
    const end = group.usageThrough.at(-1) ?? 0;
    const size = group.worn.length;
    const key = `${size} ${end}`;
    let lives = later.get(key);
    if (lives === undefined) {
      lives = livesOf(power(world.newWorn, size), end);
      later.set(key, lives);
    }
    const unworn = (usage: number) => group.worn.reduce((product, one) => product * (1 - one(usage)), 1);
    return { group, first: livesOf(unworn, end), later: lives, end, size, practice: practiceOf(group) };
  });
}

function practiceOf({ practice }: ChangedTogether): Ready["practice"] {
  const longest = practice?.through.at(-1) ?? 0;
  if (practice === undefined || !(longest > 0)) return null;
  const unworn = (set: readonly WornBy[]) => (usage: number) =>
    set.reduce((product, one) => product * (1 - one(usage)), 1);
  return { of: practice, sets: practice.sets.map((set) => livesOf(unworn(set), longest)) };
}

const power = (worn: WornBy, size: number) => (usage: number) => (1 - worn(usage)) ** size;

/**
 * Pieces needed through each checkpoint in each of many seasons.
 *
 * @param asked.seasons how many, at least 1
 * @param asked.seed the same seed gives the same seasons
 * @param asked.held pieces that each owner holds already: only what goes beyond them is counted
 * @returns one list per checkpoint, with one number per season
 */
export function seasonsOfNeed(
  worlds: readonly LineWorld[],
  breakage: BreakageOfOwners,
  asked: { seasons: number; seed: number; held?: ReadonlyMap<string, number> },
): Int32Array[] {
  const checkpoints = worlds[0]?.groups[0]?.usageThrough.length ?? 0;
  const needed = seasonSheet(checkpoints, asked.seasons, asked.held);
  const random = createRandom(asked.seed);
  const ready: (Ready[] | undefined)[] = worlds.map(() => undefined);
  for (let season = 0; season < asked.seasons; season++) {
    const at = drawn(worlds, random);
    ready[at] ??= readied(worlds[at]!);
    const perRunOf = drawBreakage(breakage, random);
    for (const one of ready[at]!)
      follow(one, perRunOf(one.group.owner), random, (used) => {
        const checkpoint = one.group.usageThrough.findIndex((through) => used <= through);
        if (checkpoint !== -1) needed.add(one.group.owner, checkpoint, season, one.size);
      });
  }
  return needed.through();
}

/**
 * A sheet on which the changes of many seasons are written down, each at the first checkpoint that sees it. What an owner
 * holds serves the earliest of that owner's changes, whichever of the cars they are on.
 */
export function seasonSheet(
  checkpoints: number,
  seasons: number,
  held: ReadonlyMap<string, number> = new Map(),
) {
  const blank = () => Array.from({ length: checkpoints }, () => new Int32Array(seasons));
  const others = blank();
  const holders = new Map(
    [...held].filter(([, pieces]) => pieces > 0).map(([owner, pieces]) => [owner, { pieces, own: blank() }]),
  );
  return {
    add(owner: string, checkpoint: number, season: number, pieces: number): void {
      (holders.get(owner)?.own ?? others)[checkpoint]![season]! += pieces;
    },
    /** pieces needed through each checkpoint, beyond what is held */
    through(): Int32Array[] {
      const total = summedUp(others);
      for (const { pieces, own } of holders.values())
        summedUp(own).forEach((through, i) => {
          for (let season = 0; season < seasons; season++)
            total[i]![season]! += Math.max(0, through[season]! - pieces);
        });
      return total;
    },
  };
}

/** A need through a day holds those before it. */
function summedUp(needed: Int32Array[]): Int32Array[] {
  for (let i = 1; i < needed.length; i++)
    for (let season = 0; season < needed[i]!.length; season++) needed[i]![season]! += needed[i - 1]![season]!;
  return needed;
}

/** Which of the worlds a season is in. */
export function drawn(worlds: readonly { weight: number }[], random: Random): number {
  let rest = random.uniform();
  for (let i = 0; i < worlds.length - 1; i++) {
    rest -= worlds[i]!.weight;
    if (rest < 0) return i;
  }
  return worlds.length - 1;
}

/** Changes one group as its pieces end, and tells the wearing usage at each change. */
export function follow(one: Ready, perRun: number, random: Random, changed: (used: number) => void): void {
  const { group, first, later, end, size } = one;
  const breaks = end > 0 ? (size * perRun * group.runs) / end : 0;
  if (one.practice !== null) {
    followPracticed(one, one.practice, breaks, random, changed);
    return;
  }
  let used = 0;
  for (let change = 0; change < mostChanges; change++) {
    const wears = lifeAt(change === 0 ? first : later, random.uniform());
    const breaksAt = breaks > 0 ? random.exponential() / breaks : Infinity;
    used += Math.min(wears, breaksAt);
    if (used > end) return;
    changed(used);
  }
}

/** The same at a place with sets kept for practice: the clock is the usage of race and practice runs together. */
function followPracticed(
  { group, first, later, end }: Ready,
  { of, sets }: NonNullable<Ready["practice"]>,
  breaks: number,
  random: Random,
  changed: (used: number) => void,
): void {
  const breakage = () => (breaks > 0 ? random.exponential() / breaks : Infinity);
  let credit = 0;
  for (const set of sets) credit += Math.min(lifeAt(set, random.uniform()), breakage(), end);
  let at = 0;
  for (let change = 0; change < mostChanges; change++) {
    const wears = lifeAt(change === 0 ? first : later, random.uniform());
    const bears = Math.min(wears, breakage());
    const ended = endOfSet(group.usageThrough, of.through, { at, bears, credit });
    if (ended === null) return;
    at = ended.at;
    changed(at);
    const life = wears + (change === 0 ? of.usedNow : 0);
    credit = ended.credit + (wears === bears ? creditAfter(life, of.after, breaks) : 0);
  }
}

/** Seasons as a law: the chance of each number. */
export function lawOf(numbers: Int32Array): number[] {
  const law: number[] = [];
  for (const number of numbers) {
    while (law.length <= number) law.push(0);
    law[number]! += 1 / numbers.length;
  }
  return law;
}

/** 10th percentile, median and 90th percentile of numbers, each one of them. */
export function rangeOf(numbers: ArrayLike<number>): { p10: number; median: number; p90: number } {
  const sorted = Float64Array.from(numbers).sort();
  const at = (p: number) =>
    sorted[Math.min(sorted.length - 1, Math.max(0, Math.ceil(p * sorted.length) - 1))]!;
  return { p10: at(0.1), median: at(0.5), p90: at(0.9) };
}
