import type { Queries } from "./database.ts";
import type { EntryRow, MeetingRow } from "./tables.ts";

/** Meetings of a club that begin on or after a day, in order; with an end, those that begin on or before it. */
export const selectMeetingsFrom = (
  q: Queries,
  clubId: string,
  fromDay: string,
  throughDay: string | null,
): Promise<MeetingRow[]> =>
  q
    .selectFrom("meetings")
    .selectAll()
    .where("clubId", "=", clubId)
    .where("startsOn", ">=", fromDay)
    .$if(throughDay !== null, (s) => s.where("startsOn", "<=", throughDay!))
    .orderBy("startsOn")
    .orderBy("id")
    .execute();

/** What has been said of some cars at some meetings. */
export const selectEntries = (
  q: Queries,
  meetingIds: readonly string[],
  carIds: readonly string[],
): Promise<EntryRow[]> =>
  meetingIds.length === 0 || carIds.length === 0
    ? Promise.resolve([])
    : q
        .selectFrom("entries")
        .selectAll()
        .where("meetingId", "in", meetingIds)
        .where("carId", "in", carIds)
        .execute();

/** How many runs each car has logged at some meetings. */
export async function selectRunsAtMeetings(
  q: Queries,
  meetingIds: readonly string[],
  carIds: readonly string[],
): Promise<Map<string, number>> {
  if (meetingIds.length === 0 || carIds.length === 0) return new Map();
  const rows = await q
    .selectFrom("runs")
    .select((e) => ["meetingId", "carId", e.fn.countAll<number>().as("runs")])
    .where("carId", "in", carIds)
    .where("meetingId", "in", meetingIds)
    .groupBy(["meetingId", "carId"])
    .execute();
  return new Map(rows.map((row) => [`${row.meetingId} ${row.carId}`, Number(row.runs)]));
}

/** The last day on which a meeting of the club begins, or null. */
export async function selectLastMeetingDay(q: Queries, clubId: string): Promise<string | null> {
  const row = await q
    .selectFrom("meetings")
    .select((e) => e.fn.max<string | null>("startsOn").as("day"))
    .where("clubId", "=", clubId)
    .executeTakeFirst();
  return row?.day ?? null;
}
