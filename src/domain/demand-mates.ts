import { createRandom, type Random } from "../stats/index.ts";
import type { LineWorld } from "./demand.ts";
import { type BreakageOfOwners, drawBreakage } from "./demand-breakage.ts";
import { drawn, follow, readied, seasonSheet } from "./demand-seasons.ts";
import { lifeAt, type Lives, livesOf } from "./lives.ts";

/**
 * The need of a line whose pieces are changed with their mate: a pinion with its spur. When the leading piece is
 * changed, the mate is changed too if its wear is past half its limit; otherwise it goes on until its own end. The two
 * lines are no longer independent positions, so their seasons are followed together.
 */
export interface MateLine {
  worlds: readonly LineWorld[];
  breakage: BreakageOfOwners;
  /** wear goes with usage to this power: half the limit is reached at 2^(-1/exponent) of the life */
  exponent: number;
  /** for each group of the worlds: wearing usage so far, and the piece it is changed with */
  mates: readonly { usedNow: number; leader: { line: number; group: number } | null }[];
  leaders: readonly { worlds: readonly LineWorld[]; breakage: BreakageOfOwners }[];
}

const mostChanges = 500;
/** A life of twice the horizon is past half its limit within it; tables of mates reach so far beyond the usage so far. */
export const mateReach = (end: number, usedNow: number): number => 2.2 * end + 1.2 * usedNow;

/**
 * Pieces needed through each checkpoint in each of many seasons.
 *
 * @param asked.held pieces that each owner holds already: only what goes beyond them is counted
 * @returns one list per checkpoint, with one number per season
 */
export function seasonsWithMates(
  line: MateLine,
  asked: { seasons: number; seed: number; held?: ReadonlyMap<string, number> },
): Int32Array[] {
  const checkpoints = line.worlds[0]?.groups[0]?.usageThrough.length ?? 0;
  const needed = seasonSheet(checkpoints, asked.seasons, asked.held);
  const random = createRandom(asked.seed);
  const ready = line.worlds.map((world) => world.groups.map((_, g) => livesOfMate(line, world, g)));
  const leading = line.leaders.map(({ worlds }) => worlds.map(readied));
  for (let season = 0; season < asked.seasons; season++) {
    const world = line.worlds[drawn(line.worlds, random)]!;
    const lives = ready[line.worlds.indexOf(world)]!;
    const perRunOf = drawBreakage(line.breakage, random);
    const leaders = line.leaders.map(({ worlds, breakage }, l) => ({
      groups: leading[l]![drawn(worlds, random)]!,
      perRunOf: drawBreakage(breakage, random),
    }));
    line.mates.forEach((mate, g) => {
      const group = world.groups[g]!;
      const changes: number[] = [];
      if (mate.leader !== null) {
        const { groups, perRunOf: leaderRateOf } = leaders[mate.leader.line]!;
        const leader = groups[mate.leader.group]!;
        follow(leader, leaderRateOf(leader.group.owner), random, (used) =>
          changes.push(carriedOver(used, leader.group.usageThrough, group.usageThrough)),
        );
      }
      followMate(lives[g]!, mate.usedNow, line.exponent, perRunOf(group.owner), changes, random, (used) => {
        const checkpoint = group.usageThrough.findIndex((through) => used <= through);
        if (checkpoint !== -1) needed.add(group.owner, checkpoint, season, group.worn.length);
      });
    });
  }
  return needed.through();
}

interface MateLives {
  first: Lives;
  later: Lives;
  end: number;
  breaks: number;
}

function livesOfMate({ mates }: MateLine, world: LineWorld, g: number): MateLives {
  const group = world.groups[g]!;
  const end = group.usageThrough.at(-1) ?? 0;
  const reach = mateReach(end, mates[g]!.usedNow);
  const size = group.worn.length;
  return {
    first: livesOf((usage) => group.worn.reduce((product, one) => product * (1 - one(usage)), 1), reach),
    later: livesOf((usage) => (1 - world.newWorn(usage)) ** size, reach),
    end,
    breaks: end > 0 ? (size * group.runs) / end : 0,
  };
}

/** Changes the mate at its own end, by wear or breakage, or with its leading piece once it is past half its limit. */
function followMate(
  { first, later, end, breaks }: MateLives,
  usedNow: number,
  exponent: number,
  perRun: number,
  leaderChanges: readonly number[],
  random: Random,
  changed: (used: number) => void,
): void {
  const half = 2 ** (-1 / exponent);
  let fittedAt = -usedNow;
  let now = 0;
  let nextLeader = 0;
  for (let change = 0; change < mostChanges; change++) {
    const wearsAt = now + lifeAt(change === 0 ? first : later, random.uniform());
    const breaksAt = breaks * perRun > 0 ? now + random.exponential() / (breaks * perRun) : Infinity;
    const halfAt = fittedAt + half * (wearsAt - fittedAt);
    while (nextLeader < leaderChanges.length && leaderChanges[nextLeader]! < Math.max(now, halfAt))
      nextLeader++;
    const withLeader = leaderChanges[nextLeader] ?? Infinity;
    const at = Math.min(wearsAt, breaksAt, withLeader);
    if (at > end) return;
    changed(at);
    // A leader passed over while this piece was young may still meet the next one: its place is looked up anew.
    nextLeader = leaderChanges.findIndex((one) => one > at);
    if (nextLeader === -1) nextLeader = leaderChanges.length;
    fittedAt = at;
    now = at;
  }
}

/** The usage of the one line at the moment at which the other has had some: both follow the same calendar. */
function carriedOver(used: number, from: readonly number[], to: readonly number[]): number {
  const i = from.findIndex((through) => used <= through);
  if (i === -1) return Infinity;
  const [low, high] = [i === 0 ? 0 : from[i - 1]!, from[i]!];
  const [lowTo, highTo] = [i === 0 ? 0 : to[i - 1]!, to[i]!];
  return lowTo + (high > low ? (used - low) / (high - low) : 1) * (highTo - lowTo);
}
