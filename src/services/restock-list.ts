import { type BudgetLine, targetPlan } from "../domain/budget.ts";
import { DomainError } from "../domain/errors.ts";
import { fillOrder } from "../domain/fill-order.ts";
import type { LeadTime } from "../domain/restock.ts";
import type { Batch } from "../domain/shelf-life.ts";
import { pmfCdf, type ServiceTarget } from "../stats/index.ts";
import { selectClub } from "../storage/clubs.ts";
import { allRecords } from "../storage/records.ts";
import { selectOrdered } from "../storage/restock.ts";
import type { LineRow, SupplierRow } from "../storage/tables.ts";
import { clubDay } from "./calendar-ahead.ts";
import { type BoughtDemand, byBought } from "./bought-demand.ts";
import { LeadTimes } from "./lead-times-ahead.ts";
import { type LineDemand, lineDemands } from "./line-demand.ts";
import { carsInScope, type Scope } from "./pieces-in-scope.ts";
import { count, risen } from "./in-words.ts";
import {
  type AskedTarget,
  beyondCalendar,
  calendarEnd,
  checkpointsThrough,
  daysFrom,
  lineToBuy,
  longestWait,
  requireInReach,
  type Stock,
  stockInScope,
  type TargetCovers,
  targetOf,
  totalsOf,
} from "./needs-ahead.ts";
import { entryOf, type LineTargets } from "./restock-entry.ts";
import { withShelves } from "./shop-shelves.ts";
import { type AgedStock, agedStock, shelfLives } from "./stock-by-age.ts";
import type { Work } from "./work.ts";

export interface AskedList extends Scope, AskedTarget {
  through: string;
  /** each line by itself, if not given */
  targetCovers?: TargetCovers | undefined;
  /** days from one look at the list to the next; 0 or nothing: it is looked at all the time */
  reviewPeriodDays?: number | undefined;
}

/** What is needed of a line, from whom it comes, how fast, and what there is of it. */
export interface SuppliedDemand {
  demand: BoughtDemand;
  /** only what is needed through the day asked for */
  needs: LineDemand["needs"];
  supplier: SupplierRow | undefined;
  leadTime: LeadTime;
  onHand: number;
  onOrder: number;
  availableOn: (day: string) => number;
  ageing: number;
  /** days that a new piece of what is bought keeps; not given where it keeps */
  shelfLifeDays?: number;
}

/** The driver whose stock a question is about, or null for that of the whole club. */
export const stockDriver = (work: Work, asked: Scope, cars: readonly { driverId: string }[]) =>
  work.reach === "own"
    ? work.actor.driverId
    : (asked.driverId ?? (asked.carId === undefined ? null : (cars[0]?.driverId ?? null)));

/**
 * The demand of all lines in some cars through a day, by the line that they are bought as, each with its supply.
 *
 * @param beyondDays how much longer than a delivery takes the needs are looked at (for reorder levels); null: not at all
 */
export async function suppliedDemands(
  work: Work,
  asked: Scope & { through: string },
  beyondDays: number | null = null,
) {
  const { clubId } = work.actor;
  const today = await clubDay(work);
  requireInReach("The answer", today, asked.through);
  const cars = await carsInScope(work, asked);
  const [days, calendarEndsOn, stock, lines, suppliers] = await Promise.all([
    checkpointsThrough(work, asked.through),
    calendarEnd(work, today),
    stockInScope(work, stockDriver(work, asked, cars)),
    allRecords(work.db, "lines", clubId),
    allRecords(work.db, "suppliers", clubId),
  ]);
  const lineById = new Map(lines.map((line) => [line.id, line]));
  const supplierById = new Map(suppliers.map((supplier) => [supplier.id, supplier]));
  const leadTimes = new LeadTimes(work);
  const boughtAs = (line: LineRow) => lineToBuy(line, lineById, today);
  const supplyOf = async (bought: LineRow) => {
    const supplier = bought.supplierId === null ? undefined : supplierById.get(bought.supplierId);
    return { supplier, leadTime: await leadTimes.of(bought, supplier) };
  };
  const further =
    beyondDays === null
      ? []
      : await daysBeyond(work, asked.through, lines.map(boughtAs), supplyOf, beyondDays);
  const demands = await lineDemands(work, cars, [...days, ...further]);
  const lives = await shelfLives(work, lines);
  const arriving = await arrivals(work, stock, lives, async (id) => supplyOf(lineById.get(id)!));
  const aged = await agedStock(work, stock, lives, arriving);
  const supplied: SuppliedDemand[] = [];
  for (const demand of byBought(demands, boughtAs)) {
    const { lineIds } = demand;
    const onHand = sum(lineIds.map((id) => stock.onHand.get(id) ?? 0));
    const onOrder = sum(lineIds.map((id) => stock.onOrder.get(id) ?? 0));
    const needs = demand.needs.filter((need) => need.day <= asked.through);
    const life = lives.get(demand.bought.id);
    const sparesOn = (day: string) => demand.spares - sparesPast(demand, lives, day);
    const goodOn = goodPieces(
      lineIds.map((id) => aged.get(id)),
      needs,
    );
    supplied.push({
      demand,
      needs,
      ...(await supplyOf(demand.bought)),
      onHand,
      onOrder,
      availableOn: (day) => sparesOn(day) + Math.max(0, onHand + onOrder - goodOn(day)),
      ageing: goodOn(asked.through) + sparesPast(demand, lives, asked.through),
      ...(life === undefined ? {} : { shelfLifeDays: life }),
    });
  }
  return { today, cars, stock, calendarEndsOn, supplied };
}

/** What is on order of the lines that do not keep for ever, with when it is expected: after the usual time, and not before today. */
async function arrivals(
  work: Work,
  stock: Stock,
  lives: ReadonlyMap<string, number>,
  supplyOf: (lineId: string) => Promise<{ leadTime: LeadTime }>,
): Promise<Map<string, Batch[]>> {
  const ordered = [...lives.keys()].filter((id) => (stock.onOrder.get(id) ?? 0) > 0);
  const found = new Map<string, Batch[]>();
  for (const { lineId, placedAt, pieces } of await selectOrdered(
    work.db,
    work.actor.clubId,
    stock.locationIds,
    ordered,
  )) {
    const { leadTime } = await supplyOf(lineId);
    const usual = Date.parse(placedAt) + leadTime.meanDays * 86_400_000;
    const at = new Date(Math.max(usual, Date.parse(work.now()))).toISOString();
    if (pieces > 0) found.set(lineId, [...(found.get(lineId) ?? []), { at, pieces }]);
  }
  return found;
}

/** How many part-worn pieces are past their shelf life on a day, counted from their purchase where it is known; whole sets of them. */
function sparesPast({ parts }: BoughtDemand, lives: ReadonlyMap<string, number>, day: string): number {
  return sum(
    parts.map(({ model, spares, sparesBoughtOn, perChange }) => {
      const life = lives.get(model.line.id);
      if (life === undefined) return 0;
      const past = sparesBoughtOn.filter((bought) => bought !== null && daysFrom(bought, life) < day).length;
      return Math.min(spares, Math.ceil(past / perChange) * perChange);
    }),
  );
}

/** The meetings beyond the last day that reorder levels must see: as far as the slowest delivery and a review take. */
async function daysBeyond(
  work: Work,
  through: string,
  lines: readonly LineRow[],
  supplyOf: (line: LineRow) => Promise<{ leadTime: LeadTime }>,
  beyondDays: number,
): Promise<string[]> {
  const today = await clubDay(work);
  let longest = 0;
  for (const line of lines) longest = Math.max(longest, longestWait((await supplyOf(line)).leadTime));
  const last = daysFrom(today, longest + beyondDays);
  return last <= through ? [] : (await checkpointsThrough(work, last)).filter((day) => day > through);
}

const sum = (numbers: readonly number[]) => numbers.reduce((total, one) => total + one, 0);

/** How many of the pieces on hand are past their shelf life on a day and will not have been used before it. */
function goodPieces(stocks: readonly (AgedStock | undefined)[], needs: LineDemand["needs"]) {
  return (day: string): number => sum(stocks.map((stock) => stock?.lostBy(day, needs) ?? 0));
}

/**
 * What to buy so that no car of the scope lacks a part through a day: by supplier, how many packs, by when, and for
 * how much; and what is enough as it is.
 */
export async function restockList(work: Work, asked: AskedList) {
  const target = targetOf(asked);
  const covers = asked.targetCovers ?? "line";
  if (covers === "list" && target.kind === "fill")
    throw new DomainError(
      "inconsistent",
      "A share of the need to be served (targetKind=fill) is for each line; ask for targetKind=cycle, or leave out targetCovers=list",
    );
  const reviewDays = asked.reviewPeriodDays ?? 0;
  const [{ today, cars, stock, calendarEndsOn, supplied }, club] = await Promise.all([
    suppliedDemands(work, asked, reviewDays),
    selectClub(work.db, work.actor.clubId),
  ]);
  const driverId = stockDriver(work, asked, cars);
  const targets =
    covers === "list"
      ? sharedTargets(supplied, target.value)
      : supplied.map(() => ({ order: target, levels: target }));
  const entries = await withShelves(
    work,
    supplied.map((one, i) => entryOf(one, targets[i]!, { today, reviewDays, forDriver: driverId !== null })),
    ({ leastPacks, packSize }, i) => ({
      pieces: leastPacks * packSize,
      lineIds: supplied[i]!.demand.lineIds,
    }),
    { driverId, locationIds: stock.locationIds },
  );
  const suppliers = new Map(supplied.map(({ supplier }) => [supplier?.id ?? null, supplier]));
  const groups = [...suppliers].map(([supplierId, supplier]) => {
    const own = entries.filter((entry) => entry.supplierId === supplierId);
    const ordered = own.filter((entry) => entry.packs > 0);
    const total = sum(
      ordered.filter((entry) => entry.currency === club.currency).map((entry) => entry.costMinorUnits),
    );
    const minimum = supplier?.minimumOrderMinorUnits ?? 0;
    const below = total > 0 ? Math.max(0, minimum - total) : 0;
    return {
      supplierId,
      supplierName: supplier?.name ?? null,
      orderBy: earliest(ordered.map((entry) => entry.orderBy)),
      totals: totalsOf(ordered),
      belowMinimumByMinorUnits: below,
      toReachMinimum: toReachMinimum(
        supplied.filter(
          (one) => (one.supplier?.id ?? null) === supplierId && one.demand.bought.currency === club.currency,
        ),
        entries,
        below,
      ),
      lines: ordered.sort((a, b) => ((a.orderBy ?? "9") < (b.orderBy ?? "9") ? -1 : 1)),
    };
  });
  const product = (of: (entry: (typeof entries)[number]) => number) =>
    entries.reduce((chance, entry) => chance * of(entry), 1);
  const chanceWithout = product((entry) => entry.chanceWithout);
  const chanceWith = product((entry) => entry.chanceWith);
  const buying = entries.filter((entry) => entry.packs > 0).length;
  return {
    asOf: work.now(),
    through: asked.through,
    target: target.value,
    targetKind: target.kind,
    targetCovers: covers,
    reviewPeriodDays: reviewDays,
    currency: club.currency,
    cars: cars.length,
    calendarEndsOn,
    totals: totalsOf(entries),
    suppliers: groups.filter((group) => group.lines.length > 0),
    enough: entries.filter((entry) => entry.packs === 0),
    chanceWithout,
    chanceWith,
    chanceWithAtMost: Math.min(1, ...entries.map((entry) => entry.chanceWith)),
    sentence: `${count(buying, "line")} of ${entries.length} must be bought for ${count(cars.length, "car")} to get through ${asked.through}; the chance that nothing at all runs out ${risen(chanceWithout, chanceWith)}${beyondCalendar(asked.through, calendarEndsOn)}.`,
  };
}

/** A target of 0 or of 1 would be none. */
const asTarget = (chance: number): ServiceTarget => ({
  kind: "cycle",
  value: Math.min(1 - 1e-9, Math.max(1e-9, chance)),
});

/**
 * The chance that each line is ordered for, so that nothing runs out with the target's chance, for little money. Levels of a stock that is
 * kept have no common day to get through: there, and for the day to order, each line has the same share of the target.
 */
function sharedTargets(supplied: readonly SuppliedDemand[], target: number): LineTargets[] {
  const lines = supplied.map(budgetLine);
  const { units } = targetPlan(lines, target);
  const levels = asTarget(target ** (1 / Math.max(1, lines.length)));
  return lines.map(({ needed, held, unitPieces }, i) => ({
    order: asTarget(pmfCdf(needed, held + units[i]! * unitPieces)),
    levels,
  }));
}

/** A line as the choice of packs for some money sees it. */
export const budgetLine = ({ needs, demand: { bought }, availableOn }: SuppliedDemand): BudgetLine => ({
  needed: needs.at(-1)?.needed ?? [1],
  held: Math.max(0, availableOn(needs.at(-1)?.day ?? "")),
  unitPieces: bought.packSize * bought.orderMultiplePacks,
  unitPrice: bought.priceMinorUnits * bought.orderMultiplePacks,
});

/** What to take as well where an order is below the supplier's minimum; null where nothing sensible reaches it. */
function toReachMinimum(
  supplied: readonly SuppliedDemand[],
  entries: readonly { lineId: string; pieces: number }[],
  missing: number,
) {
  if (missing === 0) return [];
  const lines = supplied.map(({ needs, demand: { bought }, availableOn }) => {
    const ordered = entries.find((entry) => entry.lineId === bought.id)?.pieces ?? 0;
    const last = needs.at(-1);
    return {
      needed: last?.needed ?? [1],
      stocked: Math.max(0, availableOn(last?.day ?? "")) + ordered,
      unitPieces: bought.packSize * bought.orderMultiplePacks,
      unitPrice: bought.priceMinorUnits * bought.orderMultiplePacks,
    };
  });
  const units = fillOrder(lines, missing);
  if (units === null) return null;
  return units.flatMap((count, i) => {
    const { id, sku, name, orderMultiplePacks } = supplied[i]!.demand.bought;
    const costMinorUnits = count * lines[i]!.unitPrice;
    return count === 0 ? [] : [{ lineId: id, sku, name, packs: count * orderMultiplePacks, costMinorUnits }];
  });
}

const earliest = (days: readonly (string | null)[]) => days.filter((day) => day !== null).sort()[0] ?? null;
