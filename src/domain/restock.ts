import {
  demandOverLeadTime,
  expectedShort,
  fillInHorizon,
  leadTimePosterior,
  pmfCdf,
  pmfMean,
  pmfQuantile,
  type ServiceTarget,
  smallestStock,
} from "../stats/index.ts";
import { dayAfter } from "./calendar.ts";

/** From what will be needed to what to order, how much of it, and by when. */

export interface NeedThrough {
  /** a meeting's day, YYYY-MM-DD */
  day: string;
  /** probability of needing 0, 1, 2, … pieces through that day */
  needed: readonly number[];
}

export interface Terms {
  packSize: number;
  orderMultiplePacks: number;
  /** price of one pack */
  priceMinorUnits: number;
  leadTime: LeadTime;
  /** days that a piece keeps from its arrival; not given where it keeps */
  shelfLifeDays?: number;
}

/** How long a supplier takes: mean and spread in days, and the chance of each whole number of days. */
export interface LeadTime {
  meanDays: number;
  sdDays: number;
  byDay: readonly number[];
  /** deliveries it was learned from */
  deliveries: number;
}

/** A lead time from what was promised and what was seen: with no delivery yet it is the promise, and not trusted too far. */
export function learnedLeadTime(
  promised: { days: number; sdDays: number },
  seenDays: readonly number[],
): LeadTime {
  // Delivered within the hour counts as a quarter of a day: a gamma law has no mass at 0.
  const leastDays = 0.25;
  const { mean, sd, byPeriod } = leadTimePosterior({
    promised: { mean: Math.max(leastDays, promised.days), sd: promised.sdDays },
    observed: seenDays.map((days) => Math.max(leastDays, days)),
  });
  return { meanDays: mean, sdDays: sd, byDay: byPeriod, deliveries: seenDays.length };
}

export interface RestockDecision {
  /** pieces needed through the last day: expected, and 10th percentile, median, 90th percentile */
  need: { expected: number; p10: number; median: number; p90: number };
  /** the smallest stock that meets the target through the last day */
  stockWanted: number;
  packs: number;
  pieces: number;
  costMinorUnits: number;
  /** latest day to order, so that it is there the day before the meeting at which the chance of running out passes the target; null if nothing is to be ordered */
  orderBy: string | null;
  /** that day is past: what is ordered today may come too late */
  late: boolean;
  /** chance of getting through the last day with what there is, and with the order as well */
  chanceWithout: number;
  chanceWith: number;
  /** pieces expected to be missing through the last day without the order */
  expectedShort: number;
  /** what is ordered today keeps no longer than this day, which is before the last: more must be bought later; else null */
  keepsThrough: string | null;
}

/** Packs, in whole multiples of what the supplier sells, that hold at least so many pieces. */
export function packsFor(
  pieces: number,
  { packSize, orderMultiplePacks }: Pick<Terms, "packSize" | "orderMultiplePacks">,
): number {
  if (pieces <= 0) return 0;
  const packs = Math.ceil(pieces / packSize);
  return Math.ceil(packs / orderMultiplePacks) * orderMultiplePacks;
}

/** Does a stock serve a need as well as the target asks: by the chance of no shortage, or by the share served? */
export const meets = (needed: readonly number[], stock: number, target: ServiceTarget): boolean =>
  target.kind === "cycle"
    ? pmfCdf(needed, Math.max(0, stock)) >= target.value - 1e-12
    : fillInHorizon(needed, Math.max(0, stock)) >= target.value - 1e-12;

/**
 * What to order of one line.
 *
 * @param needs by day, in order; the last is the horizon
 * @param availableOn pieces on hand, on order and usable as spares that are still good on a day
 * @param target chance of not running out, or share of the need that is served, in (0, 1)
 * @param inTime the target by which the day to order is found, where it is not that of the stock: packs may reach far
 *   more than was asked, and no supplier delivers with such a chance
 */
export function restockDecision(
  needs: readonly NeedThrough[],
  availableOn: (day: string) => number,
  target: ServiceTarget,
  terms: Terms,
  today: string,
  inTime: ServiceTarget = target,
): RestockDecision {
  const last = needs.at(-1)?.needed ?? [1];
  const lastDay = needs.at(-1)?.day ?? today;
  const available = Math.max(0, availableOn(lastDay));
  // What would be bought for later than it keeps is bought later: today's order is for as long as it keeps.
  const keeps = keptThrough(terms, today);
  const keepsThrough = keeps !== null && keeps < lastDay ? keeps : null;
  const served =
    keepsThrough === null ? needs.at(-1) : (needs.findLast(({ day }) => day <= keepsThrough) ?? needs[0]);
  const stockWanted = smallestStock(served?.needed ?? last, target);
  const packs = packsFor(stockWanted - Math.max(0, availableOn(served?.day ?? lastDay)), terms);
  const pieces = packs * terms.packSize;
  /** Of pieces that do not keep, those count that are surely used before: at the 10th percentile of the need by then. */
  const lastingOf = (bought: number) =>
    keepsThrough === null
      ? bought
      : Math.min(bought, Math.max(0, pmfQuantile(served?.needed ?? [1], 0.1) - available));
  // What is bought at all runs short of the stock's own target by the last day at the latest.
  const firstShort =
    needs.find(({ day, needed }) => !meets(needed, availableOn(day), inTime)) ?? needs.at(-1);
  const orderBy =
    packs === 0 || firstShort === undefined
      ? null
      : dayBefore(firstShort.day, 1 + pmfQuantile(terms.leadTime.byDay, arrivesWith(inTime)));
  return {
    need: {
      expected: pmfMean(last),
      p10: pmfQuantile(last, 0.1),
      median: pmfQuantile(last, 0.5),
      p90: pmfQuantile(last, 0.9),
    },
    stockWanted,
    packs,
    pieces,
    costMinorUnits: packs * terms.priceMinorUnits,
    orderBy: orderBy !== null && orderBy < today ? today : orderBy,
    late: orderBy !== null && orderBy < today,
    chanceWithout: pmfCdf(last, available),
    chanceWith: pmfCdf(last, available + lastingOf(pieces)),
    expectedShort: expectedShort(last, available),
    keepsThrough,
  };
}

/** The last day on which a piece ordered today is good, or null where it keeps. */
function keptThrough({ shelfLifeDays, leadTime }: Terms, today: string): string | null {
  if (shelfLifeDays === undefined) return null;
  return dayAfter(`${today}T00:00:00.000Z`, Math.round(leadTime.meanDays) + shelfLifeDays);
}

/** The chance that an order comes in time: that of no shortage, where that is the target; a share served says nothing of days. */
export const arrivesWith = ({ kind, value }: ServiceTarget): number => (kind === "cycle" ? value : 0.9);

const dayBefore = (day: string, days: number) => dayAfter(`${day}T00:00:00.000Z`, -days);

/** When to order again and how far up, and what that rests on. */
export interface StockLevels {
  /** order when no more than this many pieces are on hand and on order, and fewer than `orderUpTo` */
  reorderPoint: number;
  /** pieces expected to be needed before an order of the next look arrives; where it is watched all the time, one placed now */
  expectedNeed: number;
  /** order-up-to level less expected need */
  safetyStock: number;
  /** chance that as many as `orderUpTo` last until that delivery */
  chance: number;
  /** order up to this many pieces on hand and on order */
  orderUpTo: number;
}

/**
 * Is it time to order? Where there is as much as an order would lift to, the next look is early enough; above all where
 * nothing is likely to be needed, and none has to be kept.
 *
 * @param there pieces on hand and on order
 */
export const isDue = ({ reorderPoint, orderUpTo }: StockLevels, there: number): boolean =>
  there <= reorderPoint && there < orderUpTo;

/**
 * The order-up-to level is the smallest stock that lasts until an order of the next look arrives: what is not ordered now
 * is ordered then at the earliest. So less than that is ordered on, and the reorder point is one piece below it. Where
 * the stock is watched all the time, both are the smallest stock that lasts until an order placed now arrives. The needs
 * are averaged over how long the supplier may take.
 *
 * Pieces that are changed in sets take the stock past the reorder point, by up to a set less one piece. Where it is watched
 * all the time, what is left below the point when an order goes out has to last until the delivery: the point lies a set
 * less one piece above the stock that does, and the level to order up to one piece above the point, so that each set that
 * is taken is ordered at once. Where it is looked at now and then, every look lifts it to the same level, and what is
 * taken in between is in the need already.
 *
 * @param neededWithin needs of the days ahead: what is needed from now through so many days
 * @param reviewDays days from one look at the stock to the next; 0: it is watched all the time
 * @param perChange pieces that one change takes, at least 1
 */
export function reorderLevels(
  neededWithin: (days: number) => readonly number[],
  leadTime: LeadTime,
  target: ServiceTarget,
  reviewDays = 0,
  perChange = 1,
): StockLevels {
  const leadTimes = leadTime.byDay
    .map((probability, duration) => ({ duration, probability }))
    .filter(({ probability }) => probability > 0);
  const untilDelivery = demandOverLeadTime({
    demandDuring: (days) => neededWithin(days + reviewDays),
    leadTimes,
  });
  const lasting = smallestStock(untilDelivery, target);
  const expectedNeed = pmfMean(untilDelivery);
  const inSets = reviewDays === 0 && perChange > 1 && lasting > 0;
  const orderUpTo = inSets ? lasting + perChange : lasting;
  return {
    reorderPoint: inSets || reviewDays > 0 ? Math.max(0, orderUpTo - 1) : orderUpTo,
    expectedNeed,
    safetyStock: orderUpTo - expectedNeed,
    chance: pmfCdf(untilDelivery, orderUpTo),
    orderUpTo,
  };
}
