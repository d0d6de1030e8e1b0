import type { Quantiles, WearObservation, WearPiece, WearPrior } from "../stats/index.ts";
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
/** Beside the limits that are asked for by name, the one up to which a piece is used in practice. */
export type AnyLimit = LimitName | "practice";

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
export function wearLimit(scale: WearScale, name: AnyLimit = "club"): number | null {
  const limit = scale.limits[name] ?? null;
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

/** Usage on each learned surface, in their order. */
export const exposures = (kind: Kind, at: UsageAt): number[] =>
  learnedSurfaces(kind).map((surface) => at.bySurface[surface] ?? 0);

/** A look at a piece, with the usage it had then. */
export interface SeenAtUsage extends UsageAt {
  /** when it was; not given for the as-new reading stated with the piece */
  at?: string;
  value: number | null;
  sd: number | null;
  grade: number | null;
}

/**
 * The own start of a piece, where its limit is a loss from it: the readings taken when it was new, pulled towards the
 * line's as-new size by how much as-new sizes and readings scatter (the mean of two normal laws, weighted by precision).
 */
function ownStart(
  scale: WearScale,
  whenNew: readonly { value: number; sd: number }[],
): { asNew: number; sd: number } {
  if (scale.asNewSd === 0 || whenNew.length === 0) return { asNew: scale.asNew, sd: scale.asNewSd };
  let precision = scale.asNewSd ** -2;
  let sum = scale.asNew * precision;
  for (const { value, sd } of whenNew) {
    precision += sd ** -2;
    sum += value * sd ** -2;
  }
  return { asNew: sum / precision, sd: precision ** -0.5 };
}

/** A piece as its owner knows it. */
interface KnownPiece {
  id: string;
  asNew: number | null;
  priorUsage: number | null;
  priorUsageSd: number | null;
}

/** Every look at a piece, the as-new reading that was stated with it first, and the start that wear is counted from. */
export function looksFromNew(
  kind: Kind,
  line: LineOverrides,
  asNew: number | null,
  seen: readonly SeenAtUsage[],
): { looks: SeenAtUsage[]; start: { asNew: number; sd: number }; byLoss: boolean } {
  const scale = wearScale(kind, line);
  const nothing: UsageAt = { usage: 0, bySurface: {} };
  const statedNew: SeenAtUsage[] =
    asNew === null || scale.unit === null
      ? []
      : [{ ...nothing, value: asNew, sd: scale.readingSd, grade: null }];
  const looks = [...statedNew, ...seen];
  const byLoss = scale.limits.basis === "loss" && scale.unit !== null;
  const whenNew = looks.filter(isNew).map((one) => ({ value: one.value!, sd: one.sd! }));
  const start = byLoss ? ownStart(scale, whenNew) : { asNew: scale.asNew, sd: scale.asNewSd };
  return { looks, start, byLoss };
}

const isNew = (one: SeenAtUsage) => one.usage === 0 && one.value !== null;

/** The looks that a wear line counts, in its order: readings when new are in the piece's own start where its limit is a loss. */
export function countedLooks(
  kind: Kind,
  line: LineOverrides,
  asNew: number | null,
  seen: readonly SeenAtUsage[],
): SeenAtUsage[] {
  const { looks, byLoss } = looksFromNew(kind, line, asNew, seen);
  return looks.filter((one) => !(byLoss && isNew(one)));
}

/** A piece as the wear line sees it. */
export function wearPiece(
  kind: Kind,
  line: LineOverrides,
  piece: KnownPiece,
  seen: readonly SeenAtUsage[],
  limitName: AnyLimit = "club",
): WearPiece {
  const scale = wearScale(kind, line);
  const { start } = looksFromNew(kind, line, piece.asNew, seen);
  const observations: WearObservation[] = countedLooks(kind, line, piece.asNew, seen).map((one) => ({
    usage: one.usage,
    exposures: exposures(kind, one),
    ...(one.value === null
      ? { grade: one.grade! }
      : { wear: scale.sign * (one.value - start.asNew), sd: one.sd! }),
  }));
  return {
    id: piece.id,
    limit: wearLimit(scale, limitName) ?? wearLimit(scale)!,
    startSd: start.sd,
    ...(piece.priorUsageSd === null || piece.priorUsageSd === 0 ? {} : { priorUsageSd: piece.priorUsageSd }),
    observations,
  };
}

/** The size that a piece of some wear would be read at, from the size that its wear is counted from. */
export const sizeAt = (scale: WearScale, from: number, wear: number): number => from + scale.sign * wear;

/**
 * Wear as it is answered. A loss from the piece's own start is never below 0: what lies below is doubt about the start,
 * which the size keeps. Wear counted from a catalogue size may be: some pieces are larger than it when new.
 */
export const wearAnswered = (scale: WearScale, wear: Quantiles): Quantiles =>
  scale.limits.basis === "size"
    ? wear
    : { p10: Math.max(0, wear.p10), median: Math.max(0, wear.median), p90: Math.max(0, wear.p90) };

/** Wear that each grade by eye means, as shares of the limit; the highest has no upper end. */
export const gradeShares: readonly { from: number; to: number | null }[] = [
  { from: 0, to: 0.1 },
  { from: 0.1, to: 0.4 },
  { from: 0.4, to: 0.75 },
  { from: 0.75, to: 1 },
  { from: 1, to: null },
];
