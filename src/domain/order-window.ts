import { pmfQuantile, type ServiceTarget } from "../stats/index.ts";
import { dayAfter } from "./calendar.ts";
import { arrivesWith, type LeadTime, meets, type NeedThrough } from "./restock.ts";

/** When to order something: not later than it takes to come in time, and not earlier than that makes it any surer. */
export interface OrderWindow {
  /** the first day that what there is does not last through as the target asks; null where only the reorder point is reached */
  shortOn: string | null;
  /** earliest sensible day: before it money is bound, and hardly any certainty gained */
  from: string;
  /** latest day: ordered then, it is there the day before `shortOn` with the target's chance */
  by: string;
  /** that day is past: what is ordered today may come too late */
  late: boolean;
}

/** Ordered on the earliest day it comes too late this many times more seldom than on the latest. */
const surer = 10;

const daysFrom = (day: string, days: number) => dayAfter(`${day}T00:00:00.000Z`, days);
const later = (a: string, b: string) => (a > b ? a : b);
const sooner = (a: string, b: string) => (a < b ? a : b);

/**
 * The window of a line. On its latest day the order comes in time with the target's chance t; on its earliest with
 * 1 - (1 - t) / 10, so 0.99 for 0.9. Neither is before today.
 *
 * @param needs by day, in order
 * @param availableOn pieces on hand and on order that are still good on a day
 * @param orderNow the reorder point is reached, so that the window closes today
 * @param lastDay the day on which the line ends: nothing of it is ordered from then on; null where it does not
 * @returns null where what there is lasts through the last day and the reorder point is not reached
 */
export function orderWindow(
  needs: readonly NeedThrough[],
  availableOn: (day: string) => number,
  target: ServiceTarget,
  leadTime: LeadTime,
  { today, orderNow, lastDay = null }: { today: string; orderNow: boolean; lastDay?: string | null },
): OrderWindow | null {
  const shortOn = needs.find(({ day, needed }) => !meets(needed, availableOn(day), target))?.day ?? null;
  if (shortOn === null) return orderNow ? { shortOn, from: today, by: today, late: false } : null;
  // What is needed at a meeting is there the day before it.
  const before = (chance: number) => daysFrom(shortOn, -1 - pmfQuantile(leadTime.byDay, chance));
  const wanted = arrivesWith(target);
  const inTime = before(wanted);
  const atLast = lastDay === null ? inTime : sooner(inTime, daysFrom(lastDay, -1));
  const by = orderNow ? today : later(atLast, today);
  const from = sooner(by, later(before(1 - (1 - wanted) / surer), today));
  return { shortOn, from, by, late: inTime < today };
}

/** Days on which something ordered on a day is there with a chance of 10, 50 and 90 %. */
export const arrivalOf = (orderedOn: string, { byDay }: LeadTime) => ({
  p10: daysFrom(orderedOn, pmfQuantile(byDay, 0.1)),
  median: daysFrom(orderedOn, pmfQuantile(byDay, 0.5)),
  p90: daysFrom(orderedOn, pmfQuantile(byDay, 0.9)),
});

/** The last day on which what comes early after an order on a day is still good; null where it keeps. */
export const keepsUntil = (
  orderedOn: string,
  leadTime: LeadTime,
  shelfLifeDays: number | null,
): string | null =>
  shelfLifeDays === null ? null : daysFrom(arrivalOf(orderedOn, leadTime).p10, shelfLifeDays);
