import { formatMoney } from "../domain/money.ts";
import { selectClub } from "../storage/clubs.ts";
import { lastChanged } from "../storage/changes.ts";
import { selectMeetingsFrom } from "../storage/meetings-ahead.ts";
import { allRecords } from "../storage/records.ts";
import { clubDay } from "./calendar-ahead.ts";
import { count } from "./in-words.ts";
import { daysFrom } from "./needs-ahead.ts";
import { restockList } from "./restock-list.ts";
import type { Work } from "./work.ts";

/** Something that takes whole days. */
export interface DayEvent {
  /** the same each time that the calendar is read, so that a moved event is moved and not doubled */
  uid: string;
  /** first day, YYYY-MM-DD */
  startsOn: string;
  days: number;
  summary: string;
  description: string;
  location: string | null;
  category: "meeting" | "order";
  /** counts the changes of what it shows, from 0 */
  sequence: number;
  /** when what it shows was last changed; an order is worked out anew each time */
  changedAt: string;
}

export interface ClubCalendar {
  name: string;
  events: DayEvent[];
}

/** Meetings stay in the calendar for a season after they were held. */
const daysBehind = 180;
export const usualDaysAhead = 120;

/**
 * The calendar of the club as somebody may see it: every meeting, and for each supplier the day by which to order what
 * is needed to get through the days ahead (of a driver's own cars, for a driver).
 *
 * @param daysAhead how far ahead parts are to last
 */
export async function clubCalendar(work: Work, daysAhead = usualDaysAhead): Promise<ClubCalendar> {
  const [club, today] = await Promise.all([selectClub(work.db, work.actor.clubId), clubDay(work)]);
  return {
    name: club.name,
    events: [...(await meetingEvents(work, today)), ...(await orderEvents(work, today, daysAhead))],
  };
}

async function meetingEvents(work: Work, today: string): Promise<DayEvent[]> {
  const { clubId } = work.actor;
  const [meetings, venues, changed] = await Promise.all([
    selectMeetingsFrom(work.db, clubId, daysFrom(today, -daysBehind), null),
    allRecords(work.db, "venues", clubId),
    lastChanged(work.db, clubId, ["meeting.added", "meeting.changed"]),
  ]);
  const venueName = new Map(venues.map(({ id, name }) => [id, name]));
  return meetings.map(
    ({
      id,
      name,
      startsOn,
      days,
      venueId,
      surface,
      plannedRuns,
      minutesPerRun,
      notes,
      version,
      createdAt,
    }) => ({
      uid: `meeting-${id}`,
      startsOn,
      days,
      summary: name,
      description: `${count(plannedRuns, "run")} of ${minutesPerRun} minutes on ${surface}.${notes === null ? "" : `\n${notes}`}`,
      location: venueId === null ? null : (venueName.get(venueId) ?? null),
      category: "meeting",
      sequence: version - 1,
      changedAt: changed.get(id) ?? createdAt,
    }),
  );
}

async function orderEvents(work: Work, today: string, daysAhead: number): Promise<DayEvent[]> {
  const list = await restockList(work, { through: daysFrom(today, daysAhead) });
  return list.suppliers.map(
    ({ supplierId, supplierName, orderBy, totals, belowMinimumByMinorUnits, lines }) => {
      const late = lines.some((line) => line.late);
      const costs = totals.map((money) => `${formatMoney(money)} ${money.currency}`).join(" and ");
      const minimum =
        belowMinimumByMinorUnits === 0
          ? ""
          : `\n${formatMoney({ minorUnits: belowMinimumByMinorUnits, currency: list.currency })} ${list.currency} below the minimum order.`;
      const each = lines.map(
        ({ sku, name, packs, orderBy: day }) =>
          `${count(packs, "pack")} of ${name} (${sku}), by ${day ?? "now"}`,
      );
      return {
        uid: `order-by-${supplierId ?? `nobody-${work.actor.clubId}`}`,
        // A day that is past cannot be kept any more: it is today then.
        startsOn: orderBy === null || orderBy < today ? today : orderBy,
        days: 1,
        summary: `${late ? "Order now" : "Order by today"}: ${supplierName ?? "no supplier named"}, ${count(lines.length, "line")}, ${costs}`,
        description: `To get through ${list.through}:\n${each.join("\n")}${minimum}${late ? "\nThe day to order some of it is past: it may come too late." : ""}`,
        location: null,
        category: "order",
        sequence: 0,
        changedAt: work.now(),
      };
    },
  );
}
