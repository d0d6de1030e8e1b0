import { isDue, reorderLevels } from "../domain/restock.ts";
import { allRecords, getRecord } from "../storage/records.ts";
import { clubDay } from "./calendar-ahead.ts";
import { LeadTimes } from "./lead-times-ahead.ts";
import { lineDemands } from "./line-demand.ts";
import { carsInScope, type Scope } from "./pieces-in-scope.ts";
import { count, oneDecimal } from "./in-words.ts";
import {
  type AskedTarget,
  checkpointsThrough,
  daysFrom,
  keepingOf,
  longestWait,
  neededWithin,
  shownLeadTime,
  stockInScope,
  targetOf,
} from "./needs-ahead.ts";
import { stockDriver } from "./restock-list.ts";
import type { Work } from "./work.ts";

/**
 * When to order a line again: its reorder point for a target, with what is on hand and on order, for the cars of a
 * driver or of the whole club. The need is that of the calendar ahead, until an order placed now would arrive.
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
  const suppliers = await allRecords(work.db, "suppliers", clubId);
  const leadTime = await new LeadTimes(work).of(
    line,
    suppliers.find((one) => one.id === line.supplierId),
  );
  const today = await clubDay(work);
  const days = await checkpointsThrough(work, daysFrom(today, longestWait(leadTime) + reviewDays));
  const cars = await carsInScope(work, asked);
  const [demand] = await lineDemands(work, cars, days, { lineId });
  const levels = reorderLevels(neededWithin(demand?.needs ?? [], today), leadTime, target, reviewDays);
  const stock = await stockInScope(work, stockDriver(work, asked, cars));
  const onHand = stock.onHand.get(lineId) ?? 0;
  const onOrder = stock.onOrder.get(lineId) ?? 0;
  const orderNow = isDue(levels, onHand + onOrder);
  return {
    lineId,
    sku: line.sku,
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
    sentence: `${oneDecimal(levels.expectedNeed)} expected to be needed in the ${oneDecimal(leadTime.meanDays)} days or so that a delivery takes${reviewDays > 0 ? ` and the ${count(reviewDays, "day")} until the next look` : ""}; ${keepingOf(levels)} (now ${onHand} on hand and ${onOrder} on order${orderNow ? ": order now" : ""}).`,
  };
}
