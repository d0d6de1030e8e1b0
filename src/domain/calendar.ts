import type { Clock, Surface } from "./kind.ts";
import { runUsage } from "./usage.ts";

/** A meeting ahead, as one car means to drive it. */
export interface PlannedMeeting {
  meetingId: string;
  name: string;
  /** first day, YYYY-MM-DD */
  startsOn: string;
  surface: Surface;
  runs: number;
  /** how many of them are practice, not always whole; none if not given */
  practiceRuns?: number;
  minutesPerRun: number;
}

/** What a meeting asks of a piece. */
export interface MeetingDemand extends PlannedMeeting {
  /** usage on the piece's clock */
  usage: number;
  /** the same, with every surface turned into usage on the surface of multiplier 1 */
  wearingUsage: number;
  /** `wearingUsage` of this and every meeting before it */
  throughHere: number;
}

/** A car is taken to be knocked once in two runs where its own log says nothing (common practice, no source). */
const usualKnocksPerRun = 0.5;

/**
 * Turns the calendar ahead into usage of a piece, meeting by meeting: no meeting, no wear. Pieces that age by days do
 * not need this; they wear on the calendar itself.
 */
export function demandOfMeetings(
  clock: Clock,
  meetings: readonly PlannedMeeting[],
  multiplierOn: (surface: Surface) => number,
): MeetingDemand[] {
  let throughHere = 0;
  return meetings.map((meeting) => {
    const one = { minutes: meeting.minutesPerRun, knocks: usualKnocksPerRun };
    const usage = meeting.runs * runUsage(clock, one);
    const wearingUsage = usage * multiplierOn(meeting.surface);
    throughHere += wearingUsage;
    return { ...meeting, usage, wearingUsage, throughHere };
  });
}

/** The practice runs of the calendar alone. */
export const practiceOnly = (meetings: readonly PlannedMeeting[]): PlannedMeeting[] =>
  meetings.map((meeting) => ({ ...meeting, runs: meeting.practiceRuns ?? 0 }));

/**
 * The calendar of a piece that races while a set kept for practice takes the practice runs, as whole runs, as long as it
 * bears them.
 *
 * @param bears further usage that the set kept for practice bears, on the surface of multiplier 1
 */
export function withoutPractice(demand: readonly MeetingDemand[], bears: number): PlannedMeeting[] {
  let left = bears;
  return demand.flatMap(({ usage: _, wearingUsage, throughHere: __, ...meeting }) => {
    const perRun = meeting.runs > 0 ? wearingUsage / meeting.runs : 0;
    const served = perRun > 0 ? Math.min(meeting.practiceRuns ?? 0, left / perRun) : 0;
    left -= served * perRun;
    const runs = meeting.runs - Math.round(served);
    return runs > 0 ? [{ ...meeting, runs, practiceRuns: 0 }] : [];
  });
}

/** Where in the calendar a piece that can bear `wearingUsage` more is finished. */
export interface CalendarPoint {
  /** runs driven by then, counted as whole runs it can start and finish */
  runs: number | null;
  /** meetings it gets through whole; null beyond the calendar's end, where nobody knows of any */
  meetings: number | null;
  /** the day of the meeting at which it is finished; null beyond the calendar's end */
  date: string | null;
}

/**
 * Reads a bearable usage off the calendar ahead. Beyond the last meeting, runs go on at the average of the
 * calendar, but no date is made up.
 *
 * @param bearable further usage on the surface of multiplier 1; null for never finished
 */
export function calendarPoint(bearable: number | null, demand: readonly MeetingDemand[]): CalendarPoint {
  const end = demand.at(-1);
  if (bearable === null) return { runs: null, meetings: null, date: null };
  let runs = 0;
  for (const [i, meeting] of demand.entries()) {
    if (meeting.throughHere > bearable) {
      const before = meeting.throughHere - meeting.wearingUsage;
      const share = (bearable - before) / meeting.wearingUsage;
      return { runs: Math.floor(runs + share * meeting.runs), meetings: i, date: meeting.startsOn };
    }
    runs += meeting.runs;
  }
  const perRun = end === undefined || runs === 0 ? null : end.throughHere / runs;
  return {
    runs: perRun === null || perRun === 0 ? null : Math.floor(bearable / perRun),
    meetings: null,
    date: null,
  };
}

const msPerDay = 86_400_000;
/** The day that lies a number of days after a moment, YYYY-MM-DD. */
export const dayAfter = (at: string, days: number): string =>
  new Date(Date.parse(at) + days * msPerDay).toISOString().slice(0, 10);
