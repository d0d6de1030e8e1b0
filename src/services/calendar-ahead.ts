import type { PlannedMeeting } from "../domain/calendar.ts";
import { dayIn } from "../domain/club-time.ts";
import type { Surface } from "../domain/kind.ts";
import { DomainError } from "../domain/errors.ts";
import { plannedRuns, practiceLeft } from "../domain/meeting.ts";
import { selectClub } from "../storage/clubs.ts";
import { selectEntries, selectMeetingsFrom, selectRunsAtMeetings } from "../storage/meetings-ahead.ts";
import { allRecords, getRecord } from "../storage/records.ts";
import type { CarRow } from "../storage/tables.ts";
import type { Work } from "./work.ts";

/** The day that it is at the club, YYYY-MM-DD. */
export const clubDay = async (work: Work): Promise<string> => dayIn(await clubTimeZone(work), work.now());

/** The time zone whose days the club lives by. */
export const clubTimeZone = async (work: Work): Promise<string> =>
  (await selectClub(work.db, work.actor.clubId)).timeZone;

const daysMs = 86_400_000;
const earlier = (day: string, days: number) =>
  new Date(Date.parse(day) - days * daysMs).toISOString().slice(0, 10);
/** Meetings are a day or two; one that began longer ago than this is over. */
const longestMeetingDays = 7;

/**
 * The meetings ahead as each car means to drive them. A meeting of today is over for a car that has logged a run at
 * it; one of several days has the runs left that were planned and not logged.
 *
 * @param throughDay last day that counts; null for all that is in the calendar
 */
export async function meetingsAhead(
  work: Work,
  cars: readonly CarRow[],
  throughDay: string | null = null,
): Promise<Map<string, PlannedMeeting[]>> {
  const today = await clubDay(work);
  const { clubId } = work.actor;
  const meetings = (
    await selectMeetingsFrom(work.db, clubId, earlier(today, longestMeetingDays), throughDay)
  ).filter((meeting) => earlier(today, meeting.days - 1) <= meeting.startsOn);
  const meetingIds = meetings.map((meeting) => meeting.id);
  const carIds = cars.map((car) => car.id);
  const begun = meetings.filter((meeting) => meeting.startsOn <= today).map((meeting) => meeting.id);
  const [models, entries, logged] = await Promise.all([
    allRecords(work.db, "carModels", clubId),
    selectEntries(work.db, meetingIds, carIds),
    selectRunsAtMeetings(work.db, begun, carIds),
  ]);
  const disciplineOf = new Map(models.map((model) => [model.id, model.discipline]));
  const entryOf = new Map(entries.map((entry) => [`${entry.meetingId} ${entry.carId}`, entry]));
  return new Map(
    cars.map((car) => {
      const discipline = car.carModelId === null ? null : (disciplineOf.get(car.carModelId) ?? null);
      const ahead = meetings.map((meeting): PlannedMeeting => {
        const pair = `${meeting.id} ${car.id}`;
        const entry = entryOf.get(pair);
        const stated = entry && { attends: entry.attends === 1, plannedRuns: entry.plannedRuns };
        const planned = plannedRuns(meeting, discipline, stated);
        const done = logged.get(pair) ?? 0;
        const runs = done > 0 && meeting.days === 1 ? 0 : Math.max(0, planned - done);
        return {
          meetingId: meeting.id,
          name: meeting.name,
          startsOn: meeting.startsOn,
          surface: meeting.surface as Surface,
          runs,
          practiceRuns: Math.min(runs, practiceLeft(meeting, planned, done)),
          minutesPerRun: meeting.minutesPerRun,
        };
      });
      return [car.id, ahead.filter((meeting) => meeting.runs > 0)];
    }),
  );
}

/**
 * The calendar ahead through a meeting that was asked for, those before it included.
 *
 * @param whose calendar it is, in words: a car with its name, or a piece
 * @throws {DomainError} `not_found`, or `nothing_to_forecast` for a meeting that is over or at which nothing is to be driven
 */
export async function aheadThrough(
  work: Work,
  ahead: readonly PlannedMeeting[],
  meetingId: string,
  whose: string,
): Promise<PlannedMeeting[]> {
  const at = ahead.findIndex((meeting) => meeting.meetingId === meetingId);
  if (at !== -1) return ahead.slice(0, at + 1);
  const { name, startsOn, days } = await getRecord(
    work.db,
    "meetings",
    work.actor.clubId,
    meetingId,
    "meeting",
  );
  const over = startsOn < earlier(await clubDay(work), days - 1);
  const detail = over
    ? `was on ${startsOn} (${name}); name one that is ahead`
    : `is ${name} on ${startsOn}, where ${whose} has nothing ahead to drive; enter the car there first, or name another one`;
  throw new DomainError("nothing_to_forecast", `The meeting ${detail}`, [{ pointer: "#/meetingId", detail }]);
}
