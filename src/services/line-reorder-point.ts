import { reorderPoint } from "../domain/restock.ts";
import { allRecords, getRecord } from "../storage/records.ts";
import { clubDay } from "./calendar-ahead.ts";
import { carsInScope, lineDemands, type Scope } from "./line-demand.ts";
import { checkpointsThrough, LeadTimes, stockInScope } from "./restock-list.ts";
import { dayAfter } from "../domain/calendar.ts";
import type { Work } from "./work.ts";

/**
 * When to order a line again: its reorder point for a target chance, with what is on hand and on order, for the cars of
 * a driver or of the whole club. The need is that of the calendar ahead, until an order placed now would arrive.
 */
export async function lineReorderPoint(work: Work, lineId: string, asked: Scope & { target: number }) {
  const { clubId } = work.actor;
  const line = await getRecord(work.db, "lines", clubId, lineId, "line");
  const suppliers = await allRecords(work.db, "suppliers", clubId);
  const supplier = suppliers.find((one) => one.id === line.supplierId);
  const leadTime = await new LeadTimes(work).of(line, supplier);
  const today = await clubDay(work);
  const days = await checkpointsThrough(work, dayAfter(`${today}T00:00:00.000Z`, leadTime.byDay.length));
  const cars = await carsInScope(work, asked);
  const [demand] = await lineDemands(work, cars, days, lineId);
  const neededWithin = (within: number) => {
    const lastDay = dayAfter(`${today}T00:00:00.000Z`, within);
    return demand?.needs.findLast((need) => need.day <= lastDay)?.needed ?? [1];
  };
  const point = reorderPoint(neededWithin, leadTime, asked.target);
  const driverId = work.reach === "own" ? work.actor.driverId : (asked.driverId ?? null);
  const stock = await stockInScope(work, driverId);
  const onHand = stock.onHand.get(lineId) ?? 0;
  const onOrder = stock.onOrder.get(lineId) ?? 0;
  const order = onHand + onOrder <= point.reorderPoint && point.expectedNeed > 0;
  const { meanDays, sdDays, deliveries } = leadTime;
  return {
    lineId,
    sku: line.sku,
    asOf: work.now(),
    target: asked.target,
    inUse: demand?.inUse ?? 0,
    ...point,
    onHand,
    onOrder,
    orderNow: order,
    leadTime: { meanDays, sdDays, deliveries },
    sentence: `${round(point.expectedNeed)} expected to be needed in the ${round(meanDays)} days or so that a delivery takes; order when ${point.reorderPoint} or fewer are on hand and on order (now ${onHand} and ${onOrder}${order ? ": order now" : ""}).`,
  };
}

const round = (x: number) => Math.round(x * 10) / 10;
