import {
  conditionMultipliers,
  forecastWear,
  type Quantiles,
  type WearForecast,
  type WearLineFit,
} from "../stats/index.ts";
import { type BreakageEvidence, unbrokenChance } from "./breakage.ts";
import {
  type CalendarPoint,
  calendarPoint,
  dayAfter,
  demandOfMeetings,
  type MeetingDemand,
  type PlannedMeeting,
} from "./calendar.ts";
import type { Kind, Surface } from "./kind.ts";
import type { UsageAt } from "./usage.ts";
import { type AnyLimit, exposures, type LineOverrides, type SeenAtUsage, wearPiece } from "./wear.ts";

/** A forecast of one piece in the trade's words: wear, what is left, and what the next meeting may do. */

export interface PieceInUse {
  id: string;
  asNew: number | null;
  priorUsage: number | null;
  priorUsageSd: number | null;
  seen: readonly SeenAtUsage[];
  now: UsageAt;
}

export interface LineKnowledge {
  kind: Kind;
  overrides: LineOverrides;
  wear: WearLineFit;
  breakage: BreakageEvidence;
}

/** How much faster each surface wears the pieces of a line than the one its usual life is stated on. */
export function surfaceMultipliers(kind: Kind, fit: WearLineFit): (surface: Surface) => number {
  const learned = conditionMultipliers(fit);
  const medians = new Map(learned.map(({ name, median }) => [name, median]));
  return (surface) => medians.get(surface) ?? kind.surfaces[surface] ?? 1;
}

/** The statistical forecast of one piece by one of its limits. */
export function pieceForecast(
  line: LineKnowledge,
  piece: PieceInUse,
  limit: AnyLimit = "club",
): WearForecast {
  const { id, asNew, priorUsage, priorUsageSd, seen, now } = piece;
  const own = wearPiece(line.kind, line.overrides, { id, asNew, priorUsage, priorUsageSd }, seen, limit);
  return forecastWear(line.wear, own, { usage: now.usage, exposures: exposures(line.kind, now) });
}

/** The chances over some usage and runs ahead: worn out, broken, and neither. */
export interface Chances {
  lasts: number;
  wearsOut: number;
  breaks: number;
}

/**
 * Chance that a piece lasts through some further use. Wear and breakage are taken as independent; a piece that may be
 * past its limit already does not last.
 */
export function chancesThrough(
  forecast: WearForecast,
  breakage: BreakageEvidence,
  ahead: { wearingUsage: number; runs: number },
): Chances {
  const worn =
    forecast.pastLimitProbability +
    (1 - forecast.pastLimitProbability) * forecast.remainingCdf(ahead.wearingUsage);
  const breaks = 1 - unbrokenChance(breakage, ahead.runs);
  return { lasts: (1 - worn) * (1 - breaks), wearsOut: worn, breaks };
}

/** 10th percentile, median and 90th percentile of a whole number of runs or meetings, or of a day. */
export interface Range<T> {
  p10: T | null;
  median: T | null;
  p90: T | null;
}

export interface Remaining {
  /** on the kind's clock, on the surface its usual life is stated on */
  usage: Range<number>;
  runs: Range<number>;
  meetings: Range<number>;
  date: Range<string>;
  /** the last day of the calendar: no date is given beyond it */
  calendarEndsOn: string | null;
}

/** What is left of a piece, read off the calendar ahead. Chance of being past the limit already counts as nothing left. */
export function remainingLife(
  kind: Kind,
  forecast: WearForecast,
  demand: readonly MeetingDemand[],
  now: string,
): Remaining {
  const past = forecast.pastLimitProbability;
  const usageAt = (p: number) => (p <= past ? 0 : forecast.remainingQuantile((p - past) / (1 - past)));
  const usage = rangeOf(usageAt);
  const calendarEndsOn = demand.at(-1)?.startsOn ?? null;
  if (kind.clock === "days") {
    const dateOf = (days: number | null) => (days === null || days > 36_525 ? null : dayAfter(now, days));
    const date = { p10: dateOf(usage.p10), median: dateOf(usage.median), p90: dateOf(usage.p90) };
    // Beyond the calendar's end nobody knows of a meeting, or of there being none.
    const within = (day: string | null): readonly MeetingDemand[] | null =>
      day === null || calendarEndsOn === null || day > calendarEndsOn
        ? null
        : demand.filter((meeting) => meeting.startsOn <= day);
    const runsBy = (day: string | null) =>
      within(day)?.reduce((sum, meeting) => sum + meeting.runs, 0) ?? null;
    const meetingsBy = (day: string | null) => within(day)?.length ?? null;
    return {
      usage,
      runs: { p10: runsBy(date.p10), median: runsBy(date.median), p90: runsBy(date.p90) },
      meetings: {
        p10: meetingsBy(date.p10),
        median: meetingsBy(date.median),
        p90: meetingsBy(date.p90),
      },
      date,
      calendarEndsOn,
    };
  }
  const points = rangeOf((p): CalendarPoint => calendarPoint(usageAt(p), demand)) as Record<
    keyof Quantiles,
    CalendarPoint
  >;
  const member = <K extends keyof CalendarPoint>(name: K) => ({
    p10: points.p10[name],
    median: points.median[name],
    p90: points.p90[name],
  });
  return { usage, runs: member("runs"), meetings: member("meetings"), date: member("date"), calendarEndsOn };
}

const rangeOf = <T>(at: (p: number) => T) => ({ p10: at(0.1), median: at(0.5), p90: at(0.9) });

/** The calendar ahead of a piece, with the learned effect of each surface on its line. */
export const pieceDemand = (line: LineKnowledge, ahead: readonly PlannedMeeting[]): MeetingDemand[] =>
  demandOfMeetings(line.kind.clock, ahead, surfaceMultipliers(line.kind, line.wear));

export type RestsOn = {
  basis: "belief" | "line" | "own-readings";
  ownReadings: number;
  ownGrades: number;
  linePieces: number;
  lineReadings: number;
  broken: number;
  runs: number;
  sentence: string;
};

/** What a forecast rests on, as numbers and as one sentence. */
export function restsOn(line: LineKnowledge, piece: Pick<PieceInUse, "seen">): RestsOn {
  const ownGrades = piece.seen.filter((one) => one.grade !== null).length;
  // The size when new says where wear is counted from, and nothing of how fast it goes.
  const ownReadings = piece.seen.length - ownGrades;
  const { pieces, readings } = line.wear.counts;
  const { broken, runs } = line.breakage;
  const basis = ownReadings + ownGrades > 0 ? "own-readings" : readings > 0 ? "line" : "belief";
  const some = (n: number, word: string) => `${n} ${word}${n === 1 ? "" : "s"}`;
  const { p10, p90 } = line.overrides.usualLife ?? line.kind.usualLife;
  const believed = `the belief that a ${line.kind.name} usually lasts ${p10} to ${p90} ${line.kind.clock}`;
  const sentence =
    basis === "belief"
      ? `Rests on belief alone: ${believed}; no look at this piece or its line yet.`
      : `Rests on ${some(ownReadings, "reading")} and ${some(ownGrades, "grade")} of this piece, ${some(readings, "look")} at ${some(pieces, "piece")} of its line, and ${believed}; ${some(broken, "breakage")} in ${some(runs, "run")} of the line.`;
  return {
    basis,
    ownReadings,
    ownGrades,
    linePieces: pieces,
    lineReadings: readings,
    broken,
    runs,
    sentence,
  };
}
