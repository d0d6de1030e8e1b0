import {
  convolve,
  delayedCounts,
  mixture,
  type RenewalTable,
  renewalTable,
  scaleToBatches,
} from "../stats/index.ts";
import { type BreakageOfOwners, type SharedBreakage, sharedBreakages } from "./demand-breakage.ts";
import { type Practice, practicedCounts } from "./demand-practice.ts";

/**
 * How many pieces of a line a horizon will use up: each position is a renewal process whose first interval is what is
 * left of the fitted piece and whose later ones are new pieces, each ended by wear or breakage, whichever comes first.
 * What all the pieces of the line share (how fast the line wears, how often it breaks) is one and the same for all
 * positions: they are convolved under each way the line may be, and the results are averaged afterwards.
 */

/** Chance of being worn out within further wearing usage, as a function that is cheap to call many times. */
export type WornBy = (wearingUsage: number) => number;

/** Pieces of one car that are changed together: one piece, a pair, a set. */
export interface ChangedTogether {
  /** whose stock serves it, where that matters */
  owner: string;
  /** which pieces they are, where that matters */
  pieceIds?: readonly string[];
  /** for each piece fitted now, the chance that it is worn out within further usage; past its limit counts at 0 */
  worn: readonly WornBy[];
  /** the wearing usage through each of the checkpoints, never falling */
  usageThrough: readonly number[];
  /** the runs through the last checkpoint, over which breakage is spread */
  runs: number;
  /** the sets kept for practice at this place, if any is */
  practice?: Practice;
}

/** One way the line may be, with its weight: how its new pieces wear, and what that makes of those in use. */
export interface LineWorld {
  weight: number;
  newWorn: WornBy;
  groups: readonly ChangedTogether[];
}

/** How finely a chance is tabulated where it goes from practically 0 to practically 1: to about 1e-3 of it. */
const tableSteps = 20;

/**
 * Tabulates a chance that never falls on [0, end], so that an expensive law is worked out at a few places only: fewer
 * where the chance hardly rises, and where it is practically 1 early, up to there. In between it follows cubic pieces
 * that never fall where the places do not (Fritsch & Carlson 1980, with the harmonic mean as slope).
 */
export function tabulated(cdf: WornBy, end: number, steps = tableSteps): WornBy {
  const start = cdf(0);
  if (!(end > 0)) return constant(start);
  const atEnd = Math.max(start, cdf(end));
  const rise = atEnd - start;
  if (rise < 1e-7) return constant(atEnd);
  let cut = end;
  let atCut = atEnd;
  for (let halvings = 0; halvings < 12; halvings++) {
    const half = cdf(cut / 2);
    if (half < atEnd - 2e-3 * rise) break;
    cut /= 2;
    atCut = half;
  }
  const points = rise < 1e-3 ? Math.min(steps, 5) : rise < 0.05 ? Math.min(steps, 9) : steps;
  const table = new Float64Array(points + 1);
  for (let i = 0; i <= points; i++)
    table[i] = i === 0 ? start : i === points ? atCut : cdf((i * cut) / points);
  for (let i = 1; i <= points; i++) table[i] = Math.max(table[i]!, table[i - 1]!);
  return between(table, cut, end, atEnd);
}

// A function keeps alive all that any function made beside it uses: made here, a table does not keep the law it was read off.
const constant =
  (chance: number): WornBy =>
  () =>
    chance;

/** The cubic pieces through a table over [0, cut], and a straight line from there to the end. */
function between(table: Float64Array, cut: number, end: number, atEnd: number): WornBy {
  const slope = slopesOf(table);
  const points = table.length - 1;
  const last = table[points]!;
  return (usage) => {
    if (usage >= cut)
      return cut < end ? last + Math.min(1, (usage - cut) / (end - cut)) * Math.max(0, atEnd - last) : last;
    const x = (Math.max(0, usage) / cut) * points;
    const i = Math.min(points - 1, Math.floor(x));
    const u = x - i;
    const up = table[i + 1]! - table[i]!;
    const bend = u * (slope[i]! + slope[i + 1]! - 2 * up) + 3 * up - 2 * slope[i]! - slope[i + 1]!;
    return table[i]! + u * (slope[i]! + u * bend);
  };
}

/** Slopes, per step, with which the cubic pieces never fall: none at a flat side, else the harmonic mean. */
function slopesOf(table: Float64Array): Float64Array {
  const steps = table.length - 1;
  return Float64Array.from(table, (_, i) => {
    const before = i === 0 ? table[1]! - table[0]! : table[i]! - table[i - 1]!;
    const after = i === steps ? before : table[i + 1]! - table[i]!;
    return before > 0 && after > 0 ? (2 * before * after) / (before + after) : 0;
  });
}

/**
 * The number of pieces of a line needed through each checkpoint, as a probability for each number from 0.
 *
 * @param held pieces that each owner holds already: only what goes beyond them is needed; none if not given
 */
export function piecesNeeded(
  worlds: readonly LineWorld[],
  breakage: BreakageOfOwners,
  held: ReadonlyMap<string, number> = new Map(),
): number[][] {
  const groups = worlds[0]?.groups ?? [];
  const runsOf = new Map<string, number>();
  for (const { owner, runs, worn } of groups)
    runsOf.set(owner, (runsOf.get(owner) ?? 0) + runs * worn.length);
  const breakages = sharedBreakages(breakage, runsOf);
  const parts = worlds.flatMap((world) =>
    breakages.map((shared) => ({
      weight: shared.weight * world.weight,
      needed: neededIn(world, shared, held),
    })),
  );
  const checkpoints = groups[0]?.usageThrough.length ?? 0;
  return Array.from({ length: checkpoints }, (_, i) =>
    trimmed(mixture(parts.map(({ weight, needed }) => ({ weight, probabilities: needed[i]! })))),
  );
}

/** Tables of later lives are made for rates of breakage this far apart, so that drivers share them: 3 % off at most. */
const rateStep = 0.06;
const shareable = (rate: number) =>
  rate > 0 ? Math.exp(Math.round(Math.log(rate) / rateStep) * rateStep) : 0;

/** The same in one world and with one rate of breakage of the line, where the owners are independent. */
function neededIn(world: LineWorld, shared: SharedBreakage, held: ReadonlyMap<string, number>): number[][] {
  const longest = world.groups.reduce((most, group) => Math.max(most, group.usageThrough.at(-1) ?? 0), 0);
  const tables = new Map<string, RenewalTable>();
  // Cars that drive alike share the table of later lives: it is most of the work.
  const tableOf = (size: number, breaksPerUsage: number): RenewalTable => {
    const key = `${size} ${breaksPerUsage.toPrecision(6)}`;
    let table = tables.get(key);
    if (table === undefined) {
      const ended = lawOfSet(size, breaksPerUsage);
      table = renewalTable({
        cdf: ended((usage) => (1 - world.newWorn(usage)) ** size),
        horizon: longest,
      });
      tables.set(key, table);
    }
    return table;
  };
  const byOwner = new Map<string, ChangedTogether[]>();
  for (const group of world.groups) {
    const others = byOwner.get(group.owner);
    if (others === undefined) byOwner.set(group.owner, [group]);
    else others.push(group);
  }
  const several = byOwner.size > 1;
  let totals: number[][] | undefined;
  for (const [owner, groups] of byOwner) {
    const parts = shared.ratesOf(owner).map(({ weight, perRun }) => ({
      weight,
      needed: neededOf(groups, perRun, { several, tableOf, newWorn: world.newWorn }),
    }));
    const needed = parts[0]!.needed.map((law, i) =>
      parts.length === 1
        ? law
        : mixture(parts.map((part) => ({ weight: part.weight, probabilities: part.needed[i]! }))),
    );
    const net = needed.map((law) => beyond(law, held.get(owner) ?? 0));
    totals = totals === undefined ? net : totals.map((total, i) => trimmed(convolve(total, net[i]!)));
  }
  return totals ?? [];
}

/** The need of one owner with one rate of breakage, where his positions are independent. */
function neededOf(
  groups: readonly ChangedTogether[],
  perRun: number,
  {
    several,
    tableOf,
    newWorn,
  }: {
    several: boolean;
    tableOf: (size: number, breaksPerUsage: number) => RenewalTable;
    newWorn: WornBy;
  },
): number[][] {
  let sum: number[][] | undefined;
  for (const { worn, usageThrough, runs, practice } of groups) {
    const size = worn.length;
    const end = usageThrough.at(-1)!;
    const breaksPerUsage = end > 0 ? (perRun * runs) / end : 0;
    const unworn = (usage: number) => worn.reduce((product, one) => product * (1 - one(usage)), 1);
    if (practice !== undefined && practice.through.at(-1)! > 0) {
      const counts = practicedCounts({
        ...{ usageThrough, practice, firstUnworn: unworn },
        laterUnworn: (usage) => (1 - newWorn(usage)) ** size,
        breaksPerUsage: size * breaksPerUsage,
      });
      sum = added(sum, counts, size);
      continue;
    }
    const table = tableOf(size, several ? shareable(breaksPerUsage) : breaksPerUsage);
    // A set whose first piece may be finished already is changed at once: the law starts above 0 there.
    const first = lawOfSet(size, breaksPerUsage)(unworn);
    sum = added(sum, delayedCounts(table, first, usageThrough), size);
  }
  return sum ?? [];
}

/** The need with that of one more place, whose changes take so many pieces each. */
const added = (sum: number[][] | undefined, counts: readonly (readonly number[])[], size: number) =>
  counts.map((count, i) => {
    const law = scaleToBatches(count, size);
    return trimmed(sum === undefined ? law : convolve(sum[i]!, law));
  });

/** The law of the end of a set by wear or breakage, from its chance of not being worn out. */
const lawOfSet =
  (size: number, breaksPerUsage: number) =>
  (unworn: (usage: number) => number): WornBy =>
  (usage) =>
    Math.min(1, Math.max(0, 1 - unworn(usage) * Math.exp(-size * breaksPerUsage * usage)));

/** The law of what a need goes beyond some stock. */
function beyond(law: number[], held: number): number[] {
  if (held <= 0) return law;
  const net = law.slice(Math.min(held, law.length - 1));
  if (held >= law.length) return [1];
  net[0] = law.slice(0, held + 1).reduce((sum, p) => sum + p, 0);
  return net;
}

/** Puts a far tail that no decision can see onto the last number kept, so that the chances still sum to 1. */
function trimmed(law: number[]): number[] {
  let last = law.length - 1;
  let dropped = 0;
  while (last > 0 && dropped + law[last]! < 1e-9) dropped += law[last--]!;
  const kept = law.slice(0, last + 1);
  kept[last]! += dropped;
  return kept;
}
