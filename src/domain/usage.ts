import type { Clock, Surface } from "./kind.ts";

/**
 * How used a piece is follows from the log alone: the runs of the car at whose positions it was fitted, while it was
 * fitted there, and the runs that name it as their pack. Nothing is counted up and stored, so that correcting,
 * deleting or adding a run or a fitting gives the right usage afterwards without any repair.
 */

/** A run as far as wear is concerned. */
export interface UsedRun {
  at: string;
  minutes: number;
  knocks: number;
  surface: Surface;
}

export interface Span {
  carId: string;
  fittedAt: string;
  removedAt: string | null;
}

/**
 * Does a run at `at` wear a piece fitted over this span? A run at the very moment of fitting counts, one at the moment
 * of removal does not, so that a swap between two runs counts each run once.
 */
export const covers = (span: Pick<Span, "fittedAt" | "removedAt">, at: string): boolean =>
  span.fittedAt <= at && (span.removedAt === null || at < span.removedAt);

/** What one run adds on a clock; nothing on the clock of days, which needs no runs. */
export function runUsage(clock: Clock, run: Pick<UsedRun, "minutes" | "knocks">): number {
  switch (clock) {
    case "minutes":
      return run.minutes;
    case "runs":
    case "cycles":
      return 1;
    case "knocks":
      return run.knocks;
    case "days":
      return 0;
  }
}

const msPerDay = 86_400_000;
/** Days from one moment to another, with fractions; 0 if the second is earlier. */
export const daysBetween = (from: string, to: string): number =>
  Math.max(0, (Date.parse(to) - Date.parse(from)) / msPerDay);

/** Usage at a moment, in total and on each surface. */
export interface UsageAt {
  usage: number;
  bySurface: Partial<Record<Surface, number>>;
}

export interface UsageHistory {
  clock: Clock;
  /** usage that the piece brought along, on its clock; 0 for a new one */
  priorUsage: number;
  /** from when days count: the day of purchase or the first fitting */
  since: string | null;
  /** every run that wore the piece, in the order of time */
  runs: readonly UsedRun[];
}

/**
 * The usage of a piece at each of several moments, in one pass over its runs. A run counts from its own moment on.
 *
 * @param moments in the order of time
 */
export function usageAtMoments(history: UsageHistory, moments: readonly string[]): UsageAt[] {
  const { clock, priorUsage, since, runs } = history;
  if (clock === "days")
    return moments.map((at) => ({
      usage: priorUsage + (since === null ? 0 : daysBetween(since, at)),
      bySurface: {},
    }));
  let usage = priorUsage;
  let next = 0;
  const bySurface: Partial<Record<Surface, number>> = {};
  return moments.map((at) => {
    for (let run = runs[next]; run !== undefined && run.at <= at; run = runs[++next]) {
      const more = runUsage(clock, run);
      usage += more;
      bySurface[run.surface] = (bySurface[run.surface] ?? 0) + more;
    }
    return { usage, bySurface: { ...bySurface } };
  });
}
