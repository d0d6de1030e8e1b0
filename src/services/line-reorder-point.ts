import { isDue, reorderLevels } from "../domain/restock.ts";
import { allRecords, getRecord } from "../storage/records.ts";
import { clubDay } from "./calendar-ahead.ts";
import { LeadTimes } from "./lead-times-ahead.ts";
import { byBought, replacedSkus, sharedBy } from "./bought-demand.ts";
import { lineDemands } from "./line-demand.ts";
import { carsInScope, type Scope } from "./pieces-in-scope.ts";
import { count, oneDecimal } from "./in-words.ts";
import {
  type AskedTarget,
  checkpointsThrough,
  daysFrom,
  keepingOf,
  lineToBuy,
  longestWait,
  neededWithin,
  shownLeadTime,
  stockInScope,
  targetOf,
} from "./needs-ahead.ts";
import { stockDriver } from "./restock-list.ts";
import type { LineRow } from "../storage/tables.ts";
import type { Work } from "./work.ts";

/**
 * When to order a line again: its reorder point for a target, with what is on hand and on order, for the cars of a
 * driver or of the whole club. Lines that have ended and are bought as this one count with it, as on the restock list.
 * The need is that of the calendar ahead, until an order placed now would arrive.
 */
export async function lineReorderPoint(
  work: Work,
  lineId: string,
  asked: Scope & AskedTarget & { reviewPeriodDays?: number | undefined },
) {
  const { clubId } = work.actor;
  const target = targetOf(asked);
  const reviewDays = asked.reviewPeriodDays ?? 0;
  const line = await getRecord(work.db, "lines", clubId, lineId, "line");
  const [suppliers, lines, today] = await Promise.all([
    allRecords(work.db, "suppliers", clubId),
    allRecords(work.db, "lines", clubId),
    clubDay(work),
  ]);
  const byId = new Map(lines.map((one) => [one.id, one]));
  const boughtAs = (one: LineRow) => lineToBuy(one, byId, today);
  const bought = boughtAs(line);
  const lineIds = lines.filter((one) => boughtAs(one).id === bought.id).map(({ id }) => id);
  const leadTime = await new LeadTimes(work).of(
    bought,
    suppliers.find((one) => one.id === bought.supplierId),
  );
  const days = await checkpointsThrough(work, daysFrom(today, longestWait(leadTime) + reviewDays));
  const cars = await carsInScope(work, asked);
  const demands = await lineDemands(work, cars, days, { lineIds: new Set(lineIds) });
  const [demand] = byBought(demands, boughtAs);
  const within = neededWithin(demand?.needs ?? [], today);
  const levels = reorderLevels(within, leadTime, target, reviewDays, demand?.perChange);
  const stock = await stockInScope(work, stockDriver(work, asked, cars));
  const sum = (of: ReadonlyMap<string, number>) => lineIds.reduce((all, id) => all + (of.get(id) ?? 0), 0);
  const [onHand, onOrder] = [sum(stock.onHand), sum(stock.onOrder)];
  const orderNow = isDue(levels, onHand + onOrder);
  return {
    lineId,
    sku: line.sku,
    boughtAs: bought.sku,
    insteadOf: demand === undefined ? null : replacedSkus(demand),
    asOf: work.now(),
    target: target.value,
    targetKind: target.kind,
    reviewPeriodDays: reviewDays,
    inUse: demand?.inUse ?? 0,
    ...levels,
    onHand,
    onOrder,
    orderNow,
    leadTime: shownLeadTime(leadTime),
    sentence: `${oneDecimal(levels.expectedNeed)} expected to be needed in the ${oneDecimal(leadTime.meanDays)} days or so that a delivery takes${reviewDays > 0 ? ` and the ${count(reviewDays, "day")} until the next look` : ""}; ${keepingOf(levels)} (now ${onHand} on hand and ${onOrder} on order${orderNow ? ": order now" : ""}).${bought.id === line.id ? "" : ` It has ended and is bought as ${bought.sku}.`}${demand === undefined ? "" : sharedBy(demand)}`,
  };
}
