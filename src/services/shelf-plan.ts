import { DomainError } from "../domain/errors.ts";
import { reorderLevels, restockDecision } from "../domain/restock.ts";
import { pmfMean, pmfQuantile } from "../stats/index.ts";
import { selectClub } from "../storage/clubs.ts";
import { allRecords } from "../storage/records.ts";
import { levelsOf } from "../storage/stock-ledger.ts";
import type { LineRow } from "../storage/tables.ts";
import { clubDay } from "./calendar-ahead.ts";
import { LeadTimes } from "./lead-times-ahead.ts";
import { type LineDemand, lineDemands } from "./line-demand.ts";
import {
  type AskedTarget,
  checkpointsThrough,
  count,
  daysFrom,
  lineToBuy,
  longestWait,
  neededWithin,
  oneDecimal,
  percent,
  stockAt,
  targetOf,
  totalsOf,
} from "./needs-ahead.ts";
import { agedStock } from "./stock-by-age.ts";
import type { Work } from "./work.ts";

/** Numbers over fewer drivers would say too much about one of them. */
const fewestDrivers = 3;
/** A shelf is looked at once a week unless said otherwise (common practice, no source). */
const usualReviewDays = 7;

/**
 * What the shelf should hold: for each line the need of all drivers who share theirs, beyond what they hold themselves,
 * with when to order again, how far up, and what to order now. No number rests on fewer than three drivers.
 */
export async function shelfPlan(
  work: Work,
  asked: AskedTarget & { through: string; reviewPeriodDays?: number | undefined },
) {
  if (work.reach === "own")
    throw new DomainError("not_allowed", "The plan of the shelf is for the shop and the owner");
  const target = targetOf(asked);
  const reviewDays = asked.reviewPeriodDays ?? usualReviewDays;
  const { clubId } = work.actor;
  const today = await clubDay(work);
  const [drivers, cars, lines, suppliers, locations, club] = await Promise.all([
    allRecords(work.db, "drivers", clubId),
    allRecords(work.db, "cars", clubId),
    allRecords(work.db, "lines", clubId),
    allRecords(work.db, "suppliers", clubId),
    allRecords(work.db, "locations", clubId),
    selectClub(work.db, clubId),
  ]);
  const sharing = new Set(drivers.filter((driver) => driver.sharesDemand === 1).map(({ id }) => id));
  const shelves = locations.filter(({ sort }) => sort === "shelf").map(({ id }) => id);
  const [stock, held] = [await stockAt(work, shelves), await heldByDrivers(work, locations, sharing)];
  const leadTimes = new LeadTimes(work);
  const supplyOf = async (line: LineRow) => {
    const bought = lineToBuy(line, new Map(lines.map((one) => [one.id, one])), today);
    const supplier = suppliers.find(({ id }) => id === bought.supplierId);
    return { bought, supplier, leadTime: await leadTimes.of(bought, supplier) };
  };
  const days = await checkpointsThrough(work, asked.through);
  let furthest = 0;
  for (const line of lines) furthest = Math.max(furthest, longestWait((await supplyOf(line)).leadTime));
  const last = daysFrom(today, furthest + reviewDays);
  const further = last <= asked.through ? [] : await checkpointsThrough(work, last);
  const demands = await lineDemands(
    work,
    cars.filter((car) => sharing.has(car.driverId)),
    [...days, ...further.filter((day) => day > asked.through)],
    { heldBy: (lineId) => held.get(lineId) ?? new Map() },
  );
  const aged = await agedStock(work, stock, lines);
  const entries = [];
  const withheld: string[] = [];
  for (const demand of demands) {
    if (demand.inUse === 0) continue;
    const { bought, supplier, leadTime } = await supplyOf(demand.model.line);
    if (demand.drivers < fewestDrivers) {
      withheld.push(bought.sku);
      continue;
    }
    const ids = [...new Set([demand.model.line.id, bought.id])];
    const onHand = ids.reduce((sum, id) => sum + (stock.onHand.get(id) ?? 0), 0);
    const onOrder = ids.reduce((sum, id) => sum + (stock.onOrder.get(id) ?? 0), 0);
    const needs = demand.needs.filter(({ day }) => day <= asked.through);
    const lost = (day: string) => ids.reduce((sum, id) => sum + (aged.get(id)?.lostBy(day, needs) ?? 0), 0);
    const levels = reorderLevels(neededWithin(demand.needs, today), leadTime, target, reviewDays);
    const { packSize, orderMultiplePacks, priceMinorUnits } = bought;
    const decision = restockDecision(
      needs,
      (day) => onOrder + Math.max(0, onHand - lost(day)),
      target,
      { packSize, orderMultiplePacks, priceMinorUnits, leadTime },
      today,
    );
    const orderNow = onHand + onOrder <= levels.reorderPoint && levels.expectedNeed > 0;
    const peak = peakOf(needs);
    entries.push({
      ...decision,
      lineId: bought.id,
      sku: bought.sku,
      name: bought.name,
      supplierId: supplier?.id ?? null,
      supplierName: supplier?.name ?? null,
      drivers: demand.drivers,
      inUse: demand.inUse,
      packSize,
      priceMinorUnits,
      currency: bought.currency,
      onHand,
      onOrder,
      ageing: lost(asked.through),
      reorderPoint: levels.reorderPoint,
      orderUpTo: levels.orderUpTo,
      safetyStock: levels.safetyStock,
      expectedUntilDelivery: levels.expectedNeed,
      orderNow,
      peak,
      leadTime: { meanDays: leadTime.meanDays, sdDays: leadTime.sdDays, deliveries: leadTime.deliveries },
      sentence: `${demand.drivers} drivers are likely to need ${decision.need.p10} to ${decision.need.p90} from the shelf through ${asked.through}${peak === null ? "" : `, most around ${peak.day} (${oneDecimal(peak.expected)})`}; order up to ${levels.orderUpTo} when ${levels.reorderPoint} or fewer are there or on order (now ${onHand} and ${onOrder}${orderNow ? ": order now" : ""})${decision.packs > 0 ? `; ${count(decision.packs, "pack")} in all make it last with a chance of ${percent(decision.chanceWith)}` : ""}.`,
    });
  }
  entries.sort(
    (a, b) => Number(b.orderNow) - Number(a.orderNow) || ((a.orderBy ?? "9") < (b.orderBy ?? "9") ? -1 : 1),
  );
  const due = entries.filter(({ orderNow }) => orderNow).length;
  return {
    asOf: work.now(),
    through: asked.through,
    target: target.value,
    targetKind: target.kind,
    reviewPeriodDays: reviewDays,
    currency: club.currency,
    driversSharing: sharing.size,
    drivers: drivers.length,
    totals: totalsOf(entries),
    lines: entries,
    withheld,
    sentence: `${sharing.size} of ${drivers.length} drivers share what they will need: ${due} of ${entries.length} lines are to be ordered now; ${count(withheld.length, "line")} with fewer than ${fewestDrivers} drivers behind it not shown.`,
  };
}

/** The stretch between two days looked at in which most is needed: where a season opens, that is its opening. */
function peakOf(needs: LineDemand["needs"]): { day: string; expected: number } | null {
  let peak: { day: string; expected: number } | null = null;
  let before = 0;
  for (const { day, needed } of needs) {
    const through = pmfMean(needed);
    const expected = Math.max(0, through - before);
    if (expected > (peak?.expected ?? 0)) peak = { day, expected };
    before = through;
  }
  return peak !== null && pmfQuantile(needs.at(-1)!.needed, 0.9) > 0 ? peak : null;
}

/** Pieces of each line that each sharing driver has at home and in the pit box. */
async function heldByDrivers(
  work: Work,
  locations: readonly { id: string; driverId: string | null }[],
  sharing: ReadonlySet<string>,
): Promise<Map<string, Map<string, number>>> {
  const ownerOf = new Map(
    locations.flatMap(({ id, driverId }) =>
      driverId !== null && sharing.has(driverId) ? [[id, driverId]] : [],
    ),
  );
  const held = new Map<string, Map<string, number>>();
  for (const { lineId, locationId, pieces } of await levelsOf(work.db, work.actor.clubId, {
    locationIds: [...ownerOf.keys()],
  })) {
    const owner = ownerOf.get(locationId)!;
    const ofLine = held.get(lineId) ?? new Map<string, number>();
    ofLine.set(owner, (ofLine.get(owner) ?? 0) + pieces);
    held.set(lineId, ofLine);
  }
  return held;
}
