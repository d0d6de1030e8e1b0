import type { WearObservation, WearPiece, WearPrior } from "../stats/index.ts";
import type { Clock, Kind, LifeRange, Limits, Surface } from "./kind.ts";
import { surfaces } from "./kind.ts";
import type { UsageAt } from "./usage.ts";

/**
 * From the trade's words to the numbers of a wear line: which limit, in which direction, on which clock, and what was
 * believed before the log said anything.
 */

/** What a line says differently from its kind; null where it says the same. */
export interface LineOverrides {
  asNew: number | null;
  limits: Limits | null;
  usualLife: LifeRange | null;
}

export const limitNames = ["race", "club", "stop"] as const;
export type LimitName = (typeof limitNames)[number];

/** Usage of a typical run on each clock: a heat or final is about 5.5 minutes (common practice, no source). */
const usagePerRun: Record<Clock, number> = { minutes: 5.5, runs: 1, cycles: 1, knocks: 0.5, days: 1 };
/** A graded piece starts as new within a few hundredths of its life; a grade could not tell less. */
const gradedStartSd = 0.02;

/** How one line of a kind is measured and judged, in the unit of the kind, wear counted from the as-new size. */
export interface WearScale {
  /** null for a graded kind: wear is then a share of life, 0 to 1 */
  unit: string | null;
  /** +1 where readings rise with wear, -1 where they fall */
  sign: 1 | -1;
  asNew: number;
  asNewSd: number;
  limits: Limits;
  readingSd: number;
}

export function wearScale(kind: Kind, line: LineOverrides): WearScale {
  const { measure } = kind;
  if (measure === null) {
    const limits = { basis: "loss" as const, race: null, club: 1, stop: 1 };
    return { unit: null, sign: 1, asNew: 0, asNewSd: gradedStartSd, limits, readingSd: 0.1 };
  }
  return {
    unit: measure.unit,
    sign: measure.direction === "falls" ? -1 : 1,
    asNew: line.asNew ?? measure.asNew,
    asNewSd: measure.asNewSd,
    limits: line.limits ?? kind.limits!,
    readingSd: measure.instruments[0]!.repeatabilitySd,
  };
}

/** Wear at which a piece that started at the line's as-new size is finished, by one of its limits; null if it has none. */
export function wearLimit(scale: WearScale, name: LimitName = "club"): number | null {
  const limit = scale.limits[name];
  if (limit === null) return null;
  return scale.limits.basis === "loss" ? limit : scale.sign * (limit - scale.asNew);
}

/** The surfaces whose effect is learned: all but those on which the kind's usual life is stated. */
export const learnedSurfaces = (kind: Kind): Surface[] =>
  Object.keys(kind.surfaces).length === 0
    ? []
    : surfaces.filter((surface) => kind.surfaces[surface] !== undefined && kind.surfaces[surface] !== 1);

/** What is believed of a line before its own readings. */
export function wearPrior(kind: Kind, line: LineOverrides): WearPrior {
  const scale = wearScale(kind, line);
  return {
    life: line.usualLife ?? kind.usualLife,
    pieceSpread: kind.pieceSpread,
    runSpread: kind.runSpread,
    usagePerRun: usagePerRun[kind.clock],
    startSd: scale.asNewSd,
    readingSd: scale.readingSd,
    conditions: learnedSurfaces(kind).map((name) => ({ name, multiplier: kind.surfaces[name]! })),
  };
}

const exposuresOf = (kind: Kind, at: UsageAt): number[] =>
  learnedSurfaces(kind).map((surface) => at.bySurface[surface] ?? 0);

/** A look at a piece, with the usage it had then. */
export interface SeenAtUsage extends UsageAt {
  value: number | null;
  sd: number | null;
  grade: number | null;
}

/** A piece as the wear line sees it. */
export function wearPiece(
  kind: Kind,
  line: LineOverrides,
  piece: { id: string; asNew: number | null; priorUsage: number | null; priorUsageSd: number | null },
  seen: readonly SeenAtUsage[],
  limitName: LimitName = "club",
): WearPiece {
  const scale = wearScale(kind, line);
  const wearOf = (value: number) => scale.sign * (value - scale.asNew);
  const observations: WearObservation[] = seen.map(({ usage, value, sd, grade, ...rest }) => ({
    usage,
    exposures: exposuresOf(kind, { usage, ...rest }),
    ...(value === null ? { grade: grade! } : { wear: wearOf(value), sd: sd! }),
  }));
  // The as-new reading is a reading like any other: the size of a new piece scatters by about one reading error.
  if (piece.asNew !== null && scale.unit !== null)
    observations.unshift({
      usage: 0,
      exposures: exposuresOf(kind, { usage: 0, bySurface: {} }),
      wear: wearOf(piece.asNew),
      sd: scale.readingSd,
    });
  return {
    id: piece.id,
    limit: wearLimit(scale, limitName) ?? wearLimit(scale)!,
    ...(piece.priorUsageSd === null || piece.priorUsageSd === 0 ? {} : { priorUsageSd: piece.priorUsageSd }),
    observations,
  };
}

export const exposuresNow = exposuresOf;
