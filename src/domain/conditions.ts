import type { Kind, Surface } from "./kind.ts";
import type { ConditionWord } from "./piece.ts";
import { runUsage, type UsedRun } from "./usage.ts";

/**
 * What beside the surface makes parts wear faster: the corner of the car, wet, dust, cleaning, mesh. Each is compared
 * with the other use of a line, one factor at a time.
 */

/** A run of a piece with what may have made it wear faster. */
export interface RunUnderConditions extends UsedRun {
  conditions: readonly ConditionWord[];
  /** name of the position that the piece was fitted at; null for a pack */
  position: string | null;
  /** which way the track goes round; null where the log does not say */
  direction: "clockwise" | "anticlockwise" | null;
}

export interface Corner {
  end: "front" | "rear" | null;
  side: "left" | "right" | null;
}

/**
 * Where on the car a position is, by its name: the words front or rear, and left or right, however they are joined
 * ("front-left tyre", "rear right damper"). A name with both words of a pair says neither.
 */
export function cornerOf(position: string): Corner {
  const words = new Set(position.toLowerCase().split(/[^a-z]+/));
  const one = <T extends string>(a: T, b: T): T | null =>
    words.has(a) === words.has(b) ? null : words.has(a) ? a : b;
  return { end: one("front", "rear"), side: one("left", "right") };
}

/** One level of a factor: what is believed of it before the log says anything. */
export interface ConditionLevel {
  name: string;
  multiplier: number;
  sdLog: number;
}

/** A factor: levels of which a run has at most one. */
export interface Factor {
  name: string;
  levels: ConditionLevel[];
  /** the level of a run, or null where it has none */
  levelOf: (run: RunUnderConditions) => string | null;
}

const cornerSdLog = 0.25;
const usualSdLog = 0.4;
const level = (name: string, multiplier: number, sdLog = usualSdLog): ConditionLevel => ({
  name,
  multiplier,
  sdLog,
});

/** The left-hand wheels are outside on a clockwise track, and carry the load. */
const outerSide = { clockwise: "left", anticlockwise: "right" } as const;

const tyreCorner: Factor = {
  name: "corner",
  levels: ["outer front", "outer rear", "inner front", "inner rear"].map((name) =>
    level(name, 1, cornerSdLog),
  ),
  levelOf: ({ position, direction }) => {
    const { end, side } = cornerOf(position ?? "");
    if (end === null || side === null || direction === null) return null;
    return `${side === outerSide[direction] ? "outer" : "inner"} ${end}`;
  },
};
const end: Factor = {
  name: "end",
  levels: ["front", "rear"].map((name) => level(name, 1, cornerSdLog)),
  levelOf: ({ position }) => cornerOf(position ?? "").end,
};
const side: Factor = {
  name: "side",
  levels: ["left", "right"].map((name) => level(name, 1, cornerSdLog)),
  levelOf: ({ position }) => cornerOf(position ?? "").side,
};
const word = (name: ConditionWord, multiplier: number): Factor => ({
  name,
  levels: [level(name, multiplier)],
  levelOf: ({ conditions }) => (conditions.includes(name) ? name : null),
});
const mesh: Factor = {
  name: "mesh",
  levels: [level("mesh-tight", 2), level("mesh-loose", 2.5)],
  levelOf: ({ conditions }) =>
    conditions.includes("mesh-tight")
      ? "mesh-tight"
      : conditions.includes("mesh-loose")
        ? "mesh-loose"
        : null,
};

/**
 * The factors that may matter for a kind, with what is believed of them (common practice, no source): a mesh set tight
 * wears gears twice, a loose one two and a half times as fast, and dirt left on parts that move 1.8 times; wet as the kind says of
 * wet asphalt; dust, damp and heat either way.
 */
export function factorsOf(kind: Kind): Factor[] {
  const onTyres = kind.benchStep === "tyres";
  const onCar = kind.usedBy === "fitting";
  return [
    ...(onTyres ? [tyreCorner] : onCar ? [end, side] : []),
    word("wet", kind.surfaces["wet-asphalt"] ?? 1),
    word("damp", 1),
    word("dusty", 1),
    word("hot", 1),
    ...(onCar && !onTyres ? [word("not-cleaned", 1.8)] : []),
    ...(kind.benchStep === "drivetrain" ? [mesh] : []),
  ];
}

/** A level is looked at where it was met in so many runs, and made up so much of the use, but not all of it. */
const leastRuns = 3;
const leastShare = 0.05;

export interface FactorMet {
  factor: Factor;
  /** the levels met often enough, with the runs under each and their share of the use */
  levels: (ConditionLevel & { runs: number; share: number })[];
}

/**
 * The factors whose effect the runs of a line can tell: with a level that was met often enough, beside other use. Levels
 * met too seldom count as other use.
 */
export function factorsMet(kind: Kind, runs: readonly RunUnderConditions[]): FactorMet[] {
  const used = runs.map((run) => runUsage(kind.clock, run));
  const total = used.reduce((sum, usage) => sum + usage, 0);
  if (!(total > 0)) return [];
  return factorsOf(kind).flatMap((factor) => {
    const levels = factor.levels
      .map((one) => {
        const under = runs.map((run) => factor.levelOf(run) === one.name);
        const usage = used.reduce((sum, part, i) => sum + (under[i] ? part : 0), 0);
        return { ...one, runs: under.filter(Boolean).length, share: usage / total };
      })
      .filter((one) => one.runs >= leastRuns && one.share >= leastShare && one.share <= 1 - leastShare);
    return levels.length === 0 ? [] : [{ factor, levels }];
  });
}

/**
 * Wearing usage up to each of several moments: in all, and under each level. A run counts as much as its surface wears.
 *
 * @param runs in the order of time
 * @param moments in the order of time
 * @param onSurface how much faster each surface wears
 */
export function usageUnderLevels(
  { kind, met, onSurface }: { kind: Kind; met: FactorMet; onSurface: (surface: Surface) => number },
  runs: readonly RunUnderConditions[],
  moments: readonly string[],
): { usage: number; exposures: number[] }[] {
  const index = new Map(met.levels.map(({ name }, i) => [name, i]));
  const exposures = met.levels.map(() => 0);
  let usage = 0;
  let next = 0;
  return moments.map((at) => {
    for (let run = runs[next]; run !== undefined && run.at <= at; run = runs[++next]) {
      const more = runUsage(kind.clock, run) * onSurface(run.surface);
      const i = index.get(met.factor.levelOf(run) ?? "");
      usage += more;
      if (i !== undefined) exposures[i]! += more;
    }
    return { usage, exposures: [...exposures] };
  });
}
