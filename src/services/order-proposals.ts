import { fillOrder } from "../domain/fill-order.ts";
import { formatMoney } from "../domain/money.ts";
import { orderAdvice } from "../domain/order-advice.ts";
import { arrivalOf, keepsUntil, orderWindow, type OrderWindow } from "../domain/order-window.ts";
import { packsFor, restockDecision } from "../domain/restock.ts";
import { pmfCdf, type ServiceTarget } from "../stats/index.ts";
import { selectClub } from "../storage/clubs.ts";
import { allRecords } from "../storage/records.ts";
import type { LineRow } from "../storage/tables.ts";
import { count, percent, rangeInWords } from "./in-words.ts";
import { clubDay } from "./calendar-ahead.ts";
import { daysFrom, shownLeadTime, totalsOf } from "./needs-ahead.ts";
import {
  type AskedShelf,
  fewestDrivers,
  requireShelfKeeper,
  type ShelfNeed,
  shelfNeeds,
} from "./shelf-needs.ts";
import { orderSentence } from "./order-words.ts";
import { endingOf } from "./shop-shelves.ts";
import { shelfLives } from "./stock-by-age.ts";
import { shopStock, type ShopStock } from "./shop-stock.ts";
import type { Work } from "./work.ts";

/** What fills an order up is to be sold within a year, more likely than not. */
const topUpDays = 365;
const leastUse = 0.5;

interface Asked {
  today: string;
  through: string;
  target: ServiceTarget;
  currency: string;
  shelfLives: ReadonlyMap<string, number>;
  byId: ReadonlyMap<string, LineRow>;
  stock: ShopStock;
}

/**
 * What a shop should order for its own shelf, supplier by supplier: the plan of the shelf as purchase orders, each with
 * the days on which to place it, its supplier's minimum, and when it is likely to be there.
 *
 * @param request.carried only lines that the shop carries; all that drivers need if not given
 * @throws {DomainError} `not_found`, `not_allowed` for a driver, `out_of_order` where the last day is past
 */
export async function orderProposals(
  work: Work,
  shopId: string,
  request: AskedShelf & { carried?: boolean | undefined },
) {
  requireShelfKeeper(work, "What a shop should order");
  const stock = await shopStock(work, shopId);
  const { currency } = await selectClub(work.db, work.actor.clubId);
  const yearOn = daysFrom(await clubDay(work), topUpDays);
  const found = await shelfNeeds(work, request, stock, yearOn);
  const { today, target, reviewDays, driversSharing, drivers } = found;
  const isMeant = (lineIds: readonly string[]) =>
    request.carried !== true || lineIds.some((id) => stock.carried.has(id));
  const needs = found.needs.filter(({ lineIds }) => isMeant(lineIds));
  const lives = await shelfLives(
    work,
    needs.map(({ bought }) => bought),
  );
  const lines = await allRecords(work.db, "lines", work.actor.clubId);
  const byId = new Map(lines.map((line) => [line.id, line]));
  const idOf = new Map(lines.map(({ sku, id }) => [sku, id]));
  const withheld = found.withheld.filter((sku) => isMeant([idOf.get(sku)!]));
  const asked = { today, through: request.through, target, currency, shelfLives: lives, byId, stock };
  const toBuy = needs.map((need) => proposed(need, asked)).filter((one) => one !== null);
  const nextLook = daysFrom(today, reviewDays);
  const suppliers = [...new Set(toBuy.map(({ need }) => need.supplier?.id ?? null))].map((id) =>
    supplierProposal(
      toBuy.filter(({ need }) => (need.supplier?.id ?? null) === id),
      needs.filter((need) => (need.supplier?.id ?? null) === id),
      { ...asked, nextLook },
    ),
  );
  suppliers.sort((a, b) => (a.orderOn < b.orderOn ? -1 : a.orderOn > b.orderOn ? 1 : 0));
  const due = suppliers.filter(({ advice }) => urgent.has(advice)).length;
  const { list, shop } = stock;
  return {
    shopId,
    shopName: shop.name,
    locationId: shop.locationId,
    asOf: work.now(),
    through: request.through,
    target: target.value,
    targetKind: target.kind,
    reviewPeriodDays: reviewDays,
    currency,
    driversSharing,
    drivers,
    listedAt: list?.listedAt ?? null,
    totals: totalsOf(suppliers.flatMap(({ lines }) => lines)),
    suppliers,
    withheld,
    uncounted: stock.uncounted,
    sentence: `${count(suppliers.length, "order")} for what ${driversSharing} of ${drivers} drivers will need through ${request.through}, ${due} of them to be placed before the next look on ${nextLook}${withheld.length === 0 ? "" : `; ${count(withheld.length, "line")} with fewer than ${fewestDrivers} drivers behind it not shown`}.`,
  };
}

const urgent: ReadonlySet<string> = new Set(["order-now", "top-up", "below-minimum"]);

interface Proposed {
  need: ShelfNeed;
  window: OrderWindow;
  boughtThrough: string;
  packs: number;
  decision: ShelfNeed["decision"];
}

/**
 * What to buy of a line, or null. It is bought for the last day asked for, or for the last on which what comes is still
 * good; and up to the order-up-to level where the reorder point is reached.
 */
function proposed(need: ShelfNeed, { today, through, target, shelfLives }: Asked): Proposed | null {
  const { bought, needs, leadTime, levels, orderNow, availableOn } = need;
  // What nothing replaces has to be ordered before it ends.
  const lastDay = bought.supersededById === null ? bought.endedOn : null;
  const window = orderWindow(needs, availableOn, target, leadTime, { today, orderNow, lastDay });
  if (window === null) return null;
  const keeps = keepsUntil(window.from, leadTime, shelfLives.get(bought.id) ?? null);
  const boughtThrough = keeps !== null && keeps < through ? keeps : through;
  const { packSize, orderMultiplePacks, priceMinorUnits } = bought;
  const terms = { packSize, orderMultiplePacks, priceMinorUnits, leadTime };
  const decision = restockDecision(
    needs.filter(({ day }) => day <= boughtThrough),
    availableOn,
    target,
    terms,
    today,
  );
  const upTo = orderNow ? packsFor(levels.orderUpTo - Math.max(0, availableOn(today)), terms) : 0;
  const packs = Math.max(decision.packs, upTo);
  return packs === 0 ? null : { need, window, boughtThrough, packs, decision };
}

type AskedOfSupplier = Asked & { nextLook: string };

function supplierProposal(toBuy: readonly Proposed[], sold: readonly ShelfNeed[], asked: AskedOfSupplier) {
  const { today, currency, nextLook } = asked;
  const { supplier } = toBuy[0]!.need;
  const minimum = supplier?.minimumOrderMinorUnits ?? 0;
  const costOf = ({ need: { bought }, packs }: Proposed) =>
    bought.currency === currency ? packs * bought.priceMinorUnits : 0;
  const fill = (chosen: readonly number[], missing: number) => {
    const ordered = new Map(
      chosen.map((i) => {
        const { need, packs } = toBuy[i]!;
        return [need.bought.id, packs * need.bought.packSize];
      }),
    );
    return filledUp(sold, ordered, missing, asked);
  };
  const plan = orderAdvice(
    toBuy.map((one) => ({ from: one.window.from, by: one.window.by, cost: costOf(one) })),
    minimum,
    { today, nextLook },
    (chosen, missing) => fill(chosen, missing) !== null,
  );
  const below = plan.reached ? 0 : minimum - plan.cost;
  const topUp = plan.reached ? [] : fill(plan.now, below);
  const shown = (i: number, orderedOn: string) =>
    entryOf(toBuy[i]!, { orderedOn, broughtForward: plan.broughtForward.includes(i) }, asked);
  const lines = plan.now.map((i) => shown(i, plan.orderOn));
  const { arrival, leadTime } = lines.reduce((a, b) => (a.arrival.p90 >= b.arrival.p90 ? a : b));
  const late = lines.some((line) => line.late);
  const totals = totalsOf(lines);
  const money = (minorUnits: number, of = currency) => `${of} ${formatMoney({ minorUnits, currency: of })}`;
  const said = {
    supplier: supplier?.name ?? "an unnamed supplier",
    lines: `${count(lines.length, "line")} for ${totals.map((one) => money(one.minorUnits, one.currency)).join(" and ") || "nothing"}`,
    below: money(below),
    minimum: money(minimum),
    fill: (topUp ?? []).map(({ packs, sku }) => `${count(packs, "pack")} of ${sku}`).join(", "),
  };
  return {
    supplierId: supplier?.id ?? null,
    supplierName: supplier?.name ?? null,
    supplierNotes: supplier?.notes ?? null,
    advice: plan.advice,
    orderOn: plan.orderOn,
    orderFrom: plan.from,
    orderBy: plan.by,
    late,
    arrival,
    leadTime,
    totals,
    minimumOrderMinorUnits: minimum,
    minimumReached: plan.reached,
    belowMinimumByMinorUnits: below,
    lines,
    topUp,
    later: plan.later.map((i) => shown(i, toBuy[i]!.window.by)),
    sentence: orderSentence(plan, said, { arrival, late }),
  };
}

/** What the supplier sells and the shelf will most likely sell within a year anyway; null where that does not reach it. */
function filledUp(
  sold: readonly ShelfNeed[],
  ordered: ReadonlyMap<string, number>,
  missing: number,
  { today, currency, shelfLives }: Asked,
) {
  const able = sold.filter(
    ({ bought }) => bought.currency === currency && (bought.endedOn === null || bought.endedOn > today),
  );
  const lines = able.map(({ bought, further, leadTime, availableOn }) => {
    const yearOn = daysFrom(today, topUpDays);
    const keeps = keepsUntil(today, leadTime, shelfLives.get(bought.id) ?? null);
    const day = keeps !== null && keeps < yearOn ? keeps : yearOn;
    return {
      needed: further.findLast((need) => need.day <= day)?.needed ?? [1],
      stocked: Math.max(0, availableOn(day)) + (ordered.get(bought.id) ?? 0),
      unitPieces: bought.packSize * bought.orderMultiplePacks,
      unitPrice: bought.priceMinorUnits * bought.orderMultiplePacks,
    };
  });
  const units = fillOrder(lines, missing, leastUse);
  if (units === null) return null;
  return units.flatMap((unit, i) => {
    const packs = unit * able[i]!.bought.orderMultiplePacks;
    return unit === 0 ? [] : [asOrdered(able[i]!, packs)];
  });
}

/** A line as the supplier needs it. */
const asOrdered = ({ bought }: ShelfNeed, packs: number) => ({
  lineId: bought.id,
  sku: bought.sku,
  name: bought.name,
  makersPartNumber: bought.makersPartNumber,
  gtin: bought.gtin,
  packs,
  packSize: bought.packSize,
  pieces: packs * bought.packSize,
  priceMinorUnits: bought.priceMinorUnits,
  currency: bought.currency,
  costMinorUnits: packs * bought.priceMinorUnits,
});

function entryOf(
  { need, window, boughtThrough, packs, decision }: Proposed,
  { orderedOn, broughtForward }: { orderedOn: string; broughtForward: boolean },
  { today, through, stock, byId }: Asked,
) {
  const { bought, leadTime, drivers, onHand, onOrder, levels, orderNow, needs, availableOn } = need;
  const ordered = asOrdered(need, packs);
  const taken = stock.takenPastYear === null ? null : (stock.takenPastYear.get(bought.id) ?? 0);
  const ageing = need.lostBy(through);
  const held = need.lineIds.reduce((sum, id) => sum + (stock.lines.get(id)?.held ?? 0), 0);
  const ended = endingOf(bought, byId, today);
  const last = needs.findLast(({ day }) => day <= boughtThrough)?.needed ?? [1];
  const chanceWith = pmfCdf(last, Math.max(0, availableOn(boughtThrough)) + ordered.pieces);
  const { need: range } = decision;
  const there = `${onHand} on hand${held > 0 ? ` beside ${held} held for drivers` : ""}`;
  const why =
    window.shortOn === null
      ? `${there} and ${onOrder} on order are no more than the reorder point of ${levels.reorderPoint}`
      : `${there}${ageing > 0 ? ` (${ageing} of them past shelf life by ${through})` : ""} and ${onOrder} on order may not last through ${window.shortOn}`;
  return {
    ...ordered,
    orderFrom: window.from,
    orderBy: window.by,
    late: window.late,
    shortOn: window.shortOn,
    broughtForward,
    ended,
    boughtThrough,
    arrival: arrivalOf(orderedOn, leadTime),
    leadTime: shownLeadTime(leadTime),
    drivers,
    need: range,
    onHand,
    heldPieces: held,
    onOrder,
    ageing,
    takenPastYear: taken,
    reorderPoint: levels.reorderPoint,
    orderUpTo: levels.orderUpTo,
    orderNow,
    chanceWithout: decision.chanceWithout,
    chanceWith,
    sentence: `${why}; ${drivers} drivers are likely to need ${rangeInWords(range)} through ${boughtThrough}${boughtThrough < through ? ", for what comes keeps no longer" : ""}${taken === null ? "" : ` (${taken} left the shelf in the past year)`}, and ${count(packs, "pack")} (${count(ordered.pieces, "piece")}) ${packs === 1 ? "makes" : "make"} it last with a chance of ${percent(chanceWith)}${window.late ? ", though the order may come too late" : ""}${ended === null ? "" : `; this line ${ended}`}.`,
  };
}
