import { pmfMean, pmfQuantile } from "../stats/index.ts";
import { selectClub } from "../storage/clubs.ts";
import { allRecords } from "../storage/records.ts";
import type { LineDemand } from "./line-demand.ts";
import { count, oneDecimal, percent, rangeInWords } from "./in-words.ts";
import { keepingOf, shownLeadTime, stockAt, totalsOf } from "./needs-ahead.ts";
import {
  type AskedShelf,
  fewestDrivers,
  requireShelfKeeper,
  type ShelfNeed,
  shelfNeeds,
} from "./shelf-needs.ts";
import type { Work } from "./work.ts";

/**
 * What the shelf should hold: for each line the need of all drivers who share theirs, beyond what they hold themselves,
 * with when to order again, how far up, and what to order now. No number rests on fewer than three drivers.
 */
export async function shelfPlan(work: Work, asked: AskedShelf) {
  requireShelfKeeper(work, "The plan of the shelf");
  const { clubId } = work.actor;
  const [locations, club] = await Promise.all([
    allRecords(work.db, "locations", clubId),
    selectClub(work.db, clubId),
  ]);
  const shelves = locations.filter(({ sort }) => sort === "shelf").map(({ id }) => id);
  const found = await shelfNeeds(work, asked, await stockAt(work, shelves));
  const { target, withheld, driversSharing, drivers } = found;
  const entries = found.needs.map((need) => entryOf(need, asked.through));
  entries.sort(
    (a, b) => Number(b.orderNow) - Number(a.orderNow) || ((a.orderBy ?? "9") < (b.orderBy ?? "9") ? -1 : 1),
  );
  const due = entries.filter(({ orderNow }) => orderNow).length;
  return {
    asOf: work.now(),
    through: asked.through,
    target: target.value,
    targetKind: target.kind,
    reviewPeriodDays: found.reviewDays,
    currency: club.currency,
    driversSharing,
    drivers,
    totals: totalsOf(entries),
    lines: entries,
    withheld,
    sentence: `${driversSharing} of ${drivers} drivers share what they will need: ${due} of ${entries.length} lines are to be ordered now; ${count(withheld.length, "line")} with fewer than ${fewestDrivers} drivers behind it not shown.`,
  };
}

function entryOf(need: ShelfNeed, through: string) {
  const { bought, supplier, leadTime, drivers, inUse, onHand, onOrder, levels, decision, orderNow } = need;
  const peak = peakOf(need.needs);
  return {
    ...decision,
    lineId: bought.id,
    sku: bought.sku,
    name: bought.name,
    supplierId: supplier?.id ?? null,
    supplierName: supplier?.name ?? null,
    drivers,
    inUse,
    packSize: bought.packSize,
    priceMinorUnits: bought.priceMinorUnits,
    currency: bought.currency,
    onHand,
    onOrder,
    ageing: need.lostBy(through),
    reorderPoint: levels.reorderPoint,
    orderUpTo: levels.orderUpTo,
    safetyStock: levels.safetyStock,
    expectedUntilDelivery: levels.expectedNeed,
    orderNow,
    peak,
    leadTime: shownLeadTime(leadTime),
    sentence: `${drivers} drivers are likely to need ${rangeInWords(decision.need)} from the shelf through ${through}${peak === null ? "" : `, most around ${peak.day} (${oneDecimal(peak.expected)})`}; ${keepingOf(levels)} (now ${onHand} and ${onOrder}${orderNow ? ": order now" : ""})${decision.packs > 0 ? `; ${count(decision.packs, "pack")} in all make it last with a chance of ${percent(decision.chanceWith)}` : ""}.`,
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
