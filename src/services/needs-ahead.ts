import { dayAfter } from "../domain/calendar.ts";
import { DomainError } from "../domain/errors.ts";
import type { LeadTime, StockLevels } from "../domain/restock.ts";
import { monthsOf } from "../domain/season-spend.ts";
import { pmfQuantile, type ServiceTarget } from "../stats/index.ts";
import { selectLastMeetingDay, selectMeetingsFrom } from "../storage/meetings-ahead.ts";
import { allRecords } from "../storage/records.ts";
import { selectOnOrder } from "../storage/restock.ts";
import { levelsOf } from "../storage/stock-ledger.ts";
import type { LineRow } from "../storage/tables.ts";
import { clubDay } from "./calendar-ahead.ts";
import type { LineDemand } from "./line-demand.ts";
import type { Work } from "./work.ts";

/** What the answers about stock share: the days at which needs are looked at, the stock in reach, the line to buy. */

/** More checkpoints than this would only place the order-by day more finely than a delivery can be promised. */
const mostCheckpoints = 24;
const defaultTarget = 0.9;

export interface AskedTarget {
  target?: number | undefined;
  targetKind?: ServiceTarget["kind"] | undefined;
}
/** What a target is for: each line by itself, or that nothing on the list runs out. */
export type TargetCovers = "line" | "list";
export const targetOf = ({ target, targetKind }: AskedTarget): ServiceTarget => ({
  kind: targetKind ?? "cycle",
  value: target ?? defaultTarget,
});

export const daysFrom = (day: string, days: number): string => dayAfter(`${day}T00:00:00.000Z`, days);

/** The days at which demand is looked at: those of the meetings through the last day, and that day itself. */
export async function checkpointsThrough(work: Work, through: string): Promise<string[]> {
  const today = await clubDay(work);
  if (through < today)
    throw new DomainError("out_of_order", `The answer goes through ${through}, but today is ${today}`, [
      { pointer: "#/through", detail: `is past: today is ${today}` },
    ]);
  const meetings = await selectMeetingsFrom(work.db, work.actor.clubId, today, through);
  const days = [...new Set([...meetings.map((meeting) => meeting.startsOn), through])].sort();
  const step = Math.ceil(days.length / mostCheckpoints);
  return days.filter((_, i) => (days.length - 1 - i) % step === 0);
}

/** Nobody's calendar reaches further. */
const mostMonthsAhead = 36;

/** @throws {DomainError} `inconsistent` where an answer is asked for through a day too far ahead */
export function requireInReach(what: string, today: string, through: string): void {
  const months = monthsOf(today, through).length;
  if (months > mostMonthsAhead)
    throw new DomainError(
      "inconsistent",
      `${what} goes through ${through}, which is ${months} months: at most ${mostMonthsAhead}`,
      [{ pointer: "#/through", detail: `is too far ahead: at most ${mostMonthsAhead} months from today` }],
    );
}

/** The day of the last meeting ahead, or null where none is: no meeting, no wear. */
export async function calendarEnd(work: Work, today: string): Promise<string | null> {
  const day = await selectLastMeetingDay(work.db, work.actor.clubId);
  return day === null || day < today ? null : day;
}

/** The end of a sentence that says so where a day asked for lies beyond the calendar. */
export const beyondCalendar = (through: string, calendarEndsOn: string | null): string =>
  calendarEndsOn === null
    ? "; no meeting is ahead in the calendar, so that no wear to come is counted"
    : through > calendarEndsOn
      ? `; the calendar ends on ${calendarEndsOn}, and no wear after it is counted`
      : "";

/** Days until a delivery practically surely came: what reorder points look ahead to. */
export const longestWait = (leadTime: LeadTime): number => pmfQuantile(leadTime.byDay, 0.999);

/** A lead time as answers show it. */
export const shownLeadTime = ({ meanDays, sdDays, deliveries }: LeadTime) => ({
  meanDays,
  sdDays,
  deliveries,
});

/** What the levels of a line come to, in words. */
export const keepingOf = ({ reorderPoint, orderUpTo }: StockLevels): string =>
  orderUpTo === 0
    ? "none has to be kept"
    : reorderPoint === orderUpTo
      ? `keep ${orderUpTo}, and order again when fewer are on hand and on order`
      : `order up to ${orderUpTo} when ${reorderPoint} or fewer are on hand and on order`;

/** The need from now through so many days, read off a line's needs by day. */
export const neededWithin =
  (needs: LineDemand["needs"], today: string) =>
  (days: number): readonly number[] => {
    const lastDay = daysFrom(today, days);
    return needs.findLast((need) => need.day <= lastDay)?.needed ?? [1];
  };

/** Pieces of each line on hand and on order, at the locations of a driver or of the whole club. */
export async function stockInScope(work: Work, driverId: string | null) {
  const { clubId } = work.actor;
  const locations = await allRecords(work.db, "locations", clubId, driverId === null ? {} : { driverId });
  return stockAt(
    work,
    locations.map((location) => location.id),
  );
}

export async function stockAt(work: Work, locationIds: readonly string[]) {
  const onHand = new Map<string, number>();
  for (const { lineId, pieces } of await levelsOf(work.db, work.actor.clubId, { locationIds }))
    onHand.set(lineId, (onHand.get(lineId) ?? 0) + pieces);
  return { locationIds, onHand, onOrder: await selectOnOrder(work.db, work.actor.clubId, locationIds) };
}
export type Stock = Awaited<ReturnType<typeof stockAt>>;

/** The line to buy in place of one that has ended: what superseded it, and so on. */
export function lineToBuy(line: LineRow, byId: ReadonlyMap<string, LineRow>, today: string): LineRow {
  let current = line;
  for (let hops = 0; hops < 20; hops++) {
    const ended = current.endedOn !== null && current.endedOn <= today;
    const next = current.supersededById === null ? undefined : byId.get(current.supersededById);
    if (!ended || next === undefined) return current;
    current = next;
  }
  return current;
}

/** Money is added up within each currency, never across. */
export function totalsOf(entries: readonly { currency: string; costMinorUnits: number }[]) {
  const byCurrency = new Map<string, number>();
  for (const { currency, costMinorUnits } of entries)
    if (costMinorUnits > 0) byCurrency.set(currency, (byCurrency.get(currency) ?? 0) + costMinorUnits);
  return [...byCurrency].map(([currency, minorUnits]) => ({ currency, minorUnits }));
}
