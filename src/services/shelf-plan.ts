import { setImmediate } from "node:timers/promises";
import { DomainError } from "../domain/errors.ts";
import { pmfMean, pmfQuantile } from "../stats/index.ts";
import { selectClub } from "../storage/clubs.ts";
import { allRecords, getRecord } from "../storage/records.ts";
import { clubDay } from "./calendar-ahead.ts";
import type { LineDemand } from "./line-demand.ts";
import type { MonthOfNeed } from "./need-by-month.ts";
import { count, oneDecimal, percent, rangeInWords, risen } from "./in-words.ts";
import { calendarEnd, keepingOf, lineToBuy, shownLeadTime, stockAt, totalsOf } from "./needs-ahead.ts";
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
  const club = await selectClub(work.db, work.actor.clubId);
  const found = await shelfNeeds(work, asked, await stockOnShelves(work));
  const { target, withheld, driversSharing, drivers } = found;
  const entries: ReturnType<typeof entryOf>[] = [];
  for (const need of found.needs) {
    entries.push(entryOf(need, asked.through));
    // Seasons are followed for each line: others are answered in between.
    await setImmediate();
  }
  entries.sort(
    (a, b) => Number(b.orderNow) - Number(a.orderNow) || ((a.orderBy ?? "9") < (b.orderBy ?? "9") ? -1 : 1),
  );
  const joint = jointChances(entries);
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
    ...joint,
    lines: entries,
    withheld,
    sentence: `${driversSharing} of ${drivers} drivers share what they will need: ${due} of ${entries.length} lines are to be ordered now; the chance that none of them runs out through ${asked.through} ${risen(joint.chanceWithout, joint.chanceWith)} with what is to be bought by then; ${count(withheld.length, "line")} with fewer than ${fewestDrivers} drivers behind it not shown.`,
  };
}

/** The chance that nothing shown runs out, taken as independent from line to line; more that lines share can only raise it. */
function jointChances(entries: readonly { chanceWithout: number; chanceWith: number }[]) {
  const product = (of: (one: (typeof entries)[number]) => number) =>
    entries.reduce((chance, one) => chance * of(one), 1);
  return {
    chanceWithout: product((one) => one.chanceWithout),
    chanceWith: product((one) => one.chanceWith),
    chanceWithAtMost: Math.min(1, ...entries.map((one) => one.chanceWith)),
  };
}

export async function stockOnShelves(work: Work) {
  const locations = await allRecords(work.db, "locations", work.actor.clubId);
  return stockAt(
    work,
    locations.filter(({ sort }) => sort === "shelf").map(({ id }) => id),
  );
}

/**
 * One line of that plan, month by month: what the shop may see of a line's outlook. A line that was replaced is shown as the
 * one that is bought for it, as in the plan.
 *
 * @throws {DomainError} `withheld` where fewer than three drivers stand behind the line
 */
export async function shelfLineOutlook(work: Work, lineId: string, asked: { through: string }) {
  requireShelfKeeper(work, "The outlook of the shelf");
  const { clubId } = work.actor;
  const line = await getRecord(work.db, "lines", clubId, lineId, "line");
  const [today, lines] = await Promise.all([clubDay(work), allRecords(work.db, "lines", clubId)]);
  const byId = new Map(lines.map((one) => [one.id, one]));
  const bought = lineToBuy(line, byId, today);
  const lineIds = lines.filter((one) => lineToBuy(one, byId, today).id === bought.id).map(({ id }) => id);
  const found = await shelfNeeds(work, { ...asked, lineIds: new Set(lineIds) }, await stockOnShelves(work));
  const need = found.needs[0];
  if (need === undefined)
    throw new DomainError(
      "withheld",
      `Fewer than ${fewestDrivers} drivers who share what they will need use ${line.sku}: nothing is shown of it, so that no driver's need can be told from it`,
    );
  return {
    ...entryOf(need, asked.through),
    through: asked.through,
    driversSharing: found.driversSharing,
    calendarEndsOn: await calendarEnd(work, today),
  };
}

function entryOf(need: ShelfNeed, through: string) {
  const { bought, supplier, leadTime, drivers, inUse, onHand, onOrder, levels, decision, orderNow } = need;
  const months = need.months();
  const peak = peakOf(need.needs, months);
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
    months,
    peak,
    leadTime: shownLeadTime(leadTime),
    sentence: `${drivers} drivers are likely to need ${rangeInWords(decision.need)} from the shelf through ${through}${peak === null ? "" : `, most in ${peak.month}, around ${peak.day} (${oneDecimal(peak.expected)})`}; ${keepingOf(levels)} (now ${onHand} and ${onOrder}${orderNow ? ": order now" : ""})${decision.packs > 0 ? `; ${count(decision.packs, "pack")} in all make it last with a chance of ${percent(decision.chanceWith)}` : ""}.`,
  };
}

/** The month that needs most, and the stretch in it that does: where a season opens, that is its opening. */
function peakOf(
  needs: LineDemand["needs"],
  months: readonly MonthOfNeed[],
): { month: string; day: string; expected: number } | null {
  if (pmfQuantile(needs.at(-1)!.needed, 0.9) === 0) return null;
  const { month } = months.reduce((most, one) => (one.expected > most.expected ? one : most));
  let peak: { month: string; day: string; expected: number } | null = null;
  let before = 0;
  for (const { day, needed } of needs) {
    const through = pmfMean(needed);
    const expected = Math.max(0, through - before);
    if (day.startsWith(month) && expected > (peak?.expected ?? 0)) peak = { month, day, expected };
    before = through;
  }
  return peak;
}
