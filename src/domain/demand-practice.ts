import type { WornBy } from "./demand.ts";

/**
 * A part-worn set that is kept for practice takes the practice runs of its place until it is finished for practice too;
 * meanwhile the set that races wears in the other runs only. Where the kind has a limit for practice, a set that is
 * finished for racing serves in practice in its turn.
 *
 * All of it happens on one clock, the wearing usage of the place, race and practice runs together. A set that races is
 * worn by all of that, less what the sets kept for practice take: "credit" is the practice usage that they still bear.
 */
export interface Practice {
  /** the part of the wearing usage through each checkpoint that is practice, never falling, never more than the whole */
  through: readonly number[];
  /** for each set kept, the chance of each of its pieces to be finished for practice within further usage */
  sets: readonly (readonly WornBy[])[];
  /** how long a set that is finished for racing serves in practice, as a share of its life in races; 0: not at all */
  after: number;
  /** usage of the fitted set so far, the most of its pieces */
  usedNow: number;
}

/** The practice part of the usage through any usage: even between the checkpoints. */
export function practiceAt(
  usageThrough: readonly number[],
  through: readonly number[],
): (used: number) => number {
  return (used) => {
    const i = usageThrough.findIndex((one) => used <= one);
    if (i === -1) return through.at(-1) ?? 0;
    const [low, high] = [i === 0 ? 0 : usageThrough[i - 1]!, usageThrough[i]!];
    const [from, to] = [i === 0 ? 0 : through[i - 1]!, through[i]!];
    return from + (high > low ? (used - low) / (high - low) : 1) * (to - from);
  };
}

/** Practice usage that a set finished for racing bears: its share of a life, cut short by breakage in the mean. */
export const creditAfter = (life: number, after: number, breaksPerUsage: number): number =>
  breaksPerUsage * after * life < 1e-9
    ? after * life
    : -Math.expm1(-breaksPerUsage * after * life) / breaksPerUsage;

/**
 * Where a set that bears so much usage ends, and what is left of the credit there.
 *
 * @returns null where it lasts through the last checkpoint
 */
export function endOfSet(
  usageThrough: readonly number[],
  through: readonly number[],
  start: { at: number; bears: number; credit: number },
): { at: number; credit: number } | null {
  let { at, bears, credit } = start;
  if (bears <= 0) return { at, credit };
  for (const [i, end] of usageThrough.entries()) {
    if (end <= at) continue;
    const from = i === 0 ? 0 : usageThrough[i - 1]!;
    const share = (through[i]! - (i === 0 ? 0 : through[i - 1]!)) / (end - from);
    if (credit > 0 && share > 0) {
      const span = Math.min(end - at, credit / share);
      const worn = span * (1 - share);
      if (worn >= bears) {
        const part = bears / (1 - share);
        return { at: at + part, credit: credit - part * share };
      }
      bears -= worn;
      credit = span === end - at ? credit - span * share : 0;
      at += span;
    }
    const served = credit > 0 && share > 0;
    if (!served && at < end) {
      if (end - at >= bears) return { at: at + bears, credit };
      bears -= end - at;
      at = end;
    }
  }
  return null;
}

/** So many cells of the clock, and so many of the credit: 2e-3 of a chance (measured against seasons). */
const clockCells = 80;
const creditCells = 24;
const most = 200;
const negligible = 1e-9;

/** A place as its counts need it: what is fitted and what follows, by wear alone; breakage apart from that. */
export interface PracticedPlace {
  usageThrough: readonly number[];
  practice: Practice;
  /** chance that the whole set is not worn out within some usage: the fitted one, a new one */
  firstUnworn: WornBy;
  laterUnworn: WornBy;
  /** breakages of the whole set for each unit of usage */
  breaksPerUsage: number;
}

/** The law of the credit that the sets kept stand for, in cells of it: their lives added up, no further than is asked. */
function startingCredit({ practice, breaksPerUsage }: PracticedPlace, longest: number): Float64Array {
  const step = longest / creditCells;
  let law = new Float64Array(creditCells + 1);
  law[0] = 1;
  for (const set of practice.sets) {
    const lasts = (usage: number) =>
      set.reduce((product, one) => product * (1 - one(usage)), Math.exp(-breaksPerUsage * usage));
    // Mass between two cells is shared between them so that the mean stays: second differences of the mean life so far.
    const within = new Float64Array(creditCells + 2);
    for (let j = 0; j < creditCells; j++) {
      const [a, b] = [j * step, (j + 1) * step];
      const simpson = (from: number, to: number) =>
        ((to - from) / 6) * (lasts(from) + 4 * lasts((from + to) / 2) + lasts(to));
      within[j + 1] = within[j]! + simpson(a, (a + b) / 2) + simpson((a + b) / 2, b);
    }
    const one = Float64Array.from({ length: creditCells + 1 }, (_, j) =>
      Math.max(
        0,
        j === 0
          ? 1 - within[1]! / step
          : j === creditCells
            ? (within[j]! - within[j - 1]!) / step
            : (2 * within[j]! - within[j - 1]! - within[j + 1]!) / step,
      ),
    );
    const sum = new Float64Array(creditCells + 1);
    for (let a = 0; a <= creditCells; a++)
      if (law[a]! > 0)
        for (let b = 0; b <= creditCells; b++) sum[Math.min(creditCells, a + b)]! += law[a]! * one[b]!;
    law = sum;
  }
  return law;
}

/** A chance on an even table with straight lines between: it is asked for a hundred thousand times. */
function onTable(unworn: WornBy, longest: number): WornBy {
  const steps = 512;
  const table = Float64Array.from({ length: steps + 1 }, (_, i) => unworn((i * longest) / steps));
  return (usage) => {
    const x = (usage / longest) * steps;
    const i = Math.min(steps - 1, Math.floor(x));
    return table[i]! + (x - i) * (table[i + 1]! - table[i]!);
  };
}

/** The clock in cells, every checkpoint at the edge of one, with the practice part at edges and middles. */
function cellsOf({ usageThrough, practice }: PracticedPlace) {
  const longest = usageThrough.at(-1)!;
  const edges = [0];
  for (const [i, end] of usageThrough.entries()) {
    const from = i === 0 ? 0 : usageThrough[i - 1]!;
    const cells = Math.ceil(((end - from) / longest) * clockCells - 1e-9);
    for (let cell = 1; cell <= cells; cell++) edges.push(from + ((end - from) * cell) / cells);
  }
  const practised = practiceAt(usageThrough, practice.through);
  const middles = edges.slice(1).map((edge, i) => (edge + edges[i]!) / 2);
  return {
    edges,
    middles,
    atEdges: edges.map(practised),
    atMiddles: middles.map(practised),
    before: usageThrough.map((end) => middles.findLastIndex((middle) => middle < end) + 1),
  };
}

/**
 * The number of changes through each checkpoint at a place with sets kept for practice, as a chance for each number
 * from 0. One change after the other, the chance of when it comes and of what credit there is then is followed on a grid.
 */
export function practicedCounts(place: PracticedPlace): number[][] {
  const { usageThrough, practice, breaksPerUsage } = place;
  const cells = cellsOf(place);
  const { edges, middles, atEdges, atMiddles } = cells;
  const allPractice = practice.through.at(-1)!;
  const longest = usageThrough.at(-1)!;
  const step = allPractice / creditCells;
  const width = creditCells + 1;
  const laws = { first: onTable(place.firstUnworn, longest), later: onTable(place.laterUnworn, longest) };
  const atLeast: number[][] = usageThrough.map(() => [1]);

  /** Lets a set that is fitted at a moment, with some credit, end wherever it may. */
  const spread = (
    mass: number,
    start: { at: number; practised: number; cell: number; credit: number },
    unworn: WornBy,
    usedNow: number,
    into: Float64Array,
  ) => {
    const raced = start.at - start.practised;
    let wornBefore = 0;
    let unwornBefore = 1;
    let keptBefore = 1;
    for (let i = start.cell; i < middles.length; i++) {
      const excess = Math.max(0, atEdges[i + 1]! - start.practised - start.credit);
      const worn = edges[i + 1]! - atEdges[i + 1]! - raced + excess;
      const unwornNow = unworn(worn);
      const kept = unwornNow * Math.exp(-breaksPerUsage * worn);
      const ends = keptBefore - kept;
      if (ends > 0) {
        const middle = (worn + wornBefore) / 2;
        const byWear = Math.min(ends, (unwornBefore - unwornNow) * Math.exp(-breaksPerUsage * middle));
        const left = Math.max(0, start.credit - Math.max(0, atMiddles[i]! - start.practised));
        const asked = allPractice - atMiddles[i]!;
        const add = (chance: number, credit: number) => {
          const x = Math.min(credit, asked) / step;
          const j = Math.min(creditCells - 1, Math.floor(x));
          into[i * width + j]! += mass * chance * (1 - (x - j));
          into[i * width + j + 1]! += mass * chance * (x - j);
        };
        add(ends - byWear, left);
        add(byWear, left + creditAfter(middle + usedNow, practice.after, breaksPerUsage));
      }
      wornBefore = worn;
      unwornBefore = unwornNow;
      keptBefore = kept;
      if (kept < negligible) break;
    }
  };

  let now = new Float64Array(middles.length * width);
  startingCredit(place, allPractice).forEach((mass, j) => {
    const start = { at: 0, practised: 0, cell: 0, credit: j * step };
    if (mass > negligible) spread(mass, start, laws.first, practice.usedNow, now);
  });
  for (let change = 1; change < most; change++) {
    for (const [c, before] of cells.before.entries())
      atLeast[c]!.push(now.subarray(0, before * width).reduce((sum, p) => sum + p, 0));
    if (atLeast.at(-1)!.at(-1)! < negligible) break;
    const next = new Float64Array(now.length);
    for (let i = 0; i < middles.length; i++)
      for (let j = 0; j < width; j++) {
        const mass = now[i * width + j]!;
        const start = { at: middles[i]!, practised: atMiddles[i]!, cell: i, credit: j * step };
        if (mass > negligible) spread(mass, start, laws.later, 0, next);
      }
    now = next;
  }
  return atLeast.map((more) => more.map((p, k) => Math.max(0, p - (more[k + 1] ?? 0))));
}
