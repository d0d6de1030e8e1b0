import { DomainError } from "../domain/errors.ts";
import {
  isDue,
  type LeadTime,
  reorderLevels,
  type RestockDecision,
  restockDecision,
  type StockLevels,
} from "../domain/restock.ts";
import { monthsOf } from "../domain/season-spend.ts";
import type { ServiceTarget } from "../stats/index.ts";
import { allRecords } from "../storage/records.ts";
import { levelsOf } from "../storage/stock-ledger.ts";
import type { LineRow, SupplierRow } from "../storage/tables.ts";
import { clubDay } from "./calendar-ahead.ts";
import { type BoughtDemand, byBought } from "./bought-demand.ts";
import { type MonthOfNeed, needByMonth } from "./need-by-month.ts";
import { LeadTimes } from "./lead-times-ahead.ts";
import { type LineDemand, lineDemands } from "./line-demand.ts";
import {
  type AskedTarget,
  checkpointsThrough,
  daysFrom,
  lineToBuy,
  longestWait,
  neededWithin,
  requireInReach,
  type Stock,
  targetOf,
} from "./needs-ahead.ts";
import { agedStock, shelfLives } from "./stock-by-age.ts";
import type { Work } from "./work.ts";

/** What a shelf is for: the pooled need of the drivers who share theirs, and what each line needs of it. */

/** Numbers over fewer drivers would say too much about one of them. */
export const fewestDrivers = 3;
/** A shelf is looked at once a week unless said otherwise (common practice, no source). */
const usualReviewDays = 7;

export interface AskedShelf extends AskedTarget {
  through: string;
  reviewPeriodDays?: number | undefined;
  /** only these lines */
  lineIds?: ReadonlySet<string> | undefined;
}

/** @throws {DomainError} `not_allowed` for a driver: shelves are planned by the shop and the owner */
export function requireShelfKeeper(work: Work, what: string): void {
  if (work.reach === "own") throw new DomainError("not_allowed", `${what} is for the shop and the owner`);
}

/** The need of all cars whose drivers share theirs, beyond what each of them holds already, by line in use. */
export async function pooledDemands(
  work: Work,
  days: readonly string[],
  lineIds: ReadonlySet<string> | undefined = undefined,
) {
  const { clubId } = work.actor;
  const [drivers, cars, locations] = await Promise.all([
    allRecords(work.db, "drivers", clubId),
    allRecords(work.db, "cars", clubId),
    allRecords(work.db, "locations", clubId),
  ]);
  const sharing = new Set(drivers.filter((driver) => driver.sharesDemand === 1).map(({ id }) => id));
  const held = await heldByDrivers(work, locations, sharing);
  const pooled = cars.filter((car) => sharing.has(car.driverId));
  const demands = await lineDemands(work, pooled, days, {
    lineIds,
    heldBy: (lineId) => held.get(lineId) ?? new Map(),
  });
  return { demands, cars: pooled, driversSharing: sharing.size, drivers: drivers.length };
}

/** A line to buy for a shelf, with the need that rests on three drivers or more, and what there is of it. */
export interface ShelfNeed {
  bought: LineRow;
  /** the needs of the lines in use that are bought as it */
  parts: BoughtDemand["parts"];
  /** the line itself, and those in use that it replaces */
  lineIds: readonly string[];
  supplier: SupplierRow | undefined;
  leadTime: LeadTime;
  drivers: number;
  inUse: number;
  /** through the day asked for; and further on, as far as deliveries and reviews take */
  needs: LineDemand["needs"];
  further: LineDemand["needs"];
  /** month by month through the day asked for */
  months: () => MonthOfNeed[];
  onHand: number;
  onOrder: number;
  /** past their shelf life by a day, and not used before it */
  lostBy: (day: string) => number;
  availableOn: (day: string) => number;
  levels: StockLevels;
  decision: RestockDecision;
  /** no more is on hand and on order than the reorder point, and less than one orders up to */
  orderNow: boolean;
}

/**
 * What a shelf needs of each line through a day. Lines that are bought as the same one, because it replaces them, are one need.
 *
 * @param stock what lies on the shelf, and is on order for it
 * @param lookThrough a further day that needs are looked at through, where more than deliveries take is wanted
 */
export async function shelfNeeds(
  work: Work,
  asked: AskedShelf,
  stock: Stock,
  lookThrough: string | null = null,
) {
  const target = targetOf(asked);
  const reviewDays = asked.reviewPeriodDays ?? usualReviewDays;
  const { clubId } = work.actor;
  const today = await clubDay(work);
  const [lines, suppliers] = await Promise.all([
    allRecords(work.db, "lines", clubId),
    allRecords(work.db, "suppliers", clubId),
  ]);
  const lineById = new Map(lines.map((one) => [one.id, one]));
  const leadTimes = new LeadTimes(work);
  const supplyOf = async (bought: LineRow) => {
    const supplier = suppliers.find(({ id }) => id === bought.supplierId);
    return { supplier, leadTime: await leadTimes.of(bought, supplier) };
  };
  requireInReach("The answer", today, asked.through);
  const monthEnds = monthsOf(today, asked.through).map(({ lastDay }) => lastDay);
  // No stretch between two days reaches from one month into the next.
  const days = [...new Set([...(await checkpointsThrough(work, asked.through)), ...monthEnds])].sort();
  let last = lookThrough ?? today;
  for (const line of lines) {
    const { leadTime } = await supplyOf(lineToBuy(line, lineById, today));
    const waited = daysFrom(today, longestWait(leadTime) + reviewDays);
    if (waited > last) last = waited;
  }
  const further = last <= asked.through ? [] : await checkpointsThrough(work, last);
  const pooled = await pooledDemands(
    work,
    [...days, ...further.filter((day) => day > asked.through)],
    asked.lineIds,
  );
  const aged = await agedStock(work, stock, await shelfLives(work, lines));
  const needs: ShelfNeed[] = [];
  const withheld: string[] = [];
  const inUse = pooled.demands.filter((demand) => demand.inUse > 0);
  for (const demand of byBought(inUse, (line) => lineToBuy(line, lineById, today))) {
    const { bought, drivers } = demand;
    if (drivers.size < fewestDrivers) {
      withheld.push(bought.sku);
      continue;
    }
    const supply = await supplyOf(bought);
    const terms = { ...asked, today, target, reviewDays };
    needs.push({ ...supply, ...needOf(demand, { stock, aged, ...supply }, terms) });
  }
  const { driversSharing, drivers } = pooled;
  return { today, target, reviewDays, needs, withheld, driversSharing, drivers };
}

function needOf(
  demand: BoughtDemand,
  supply: { stock: Stock; aged: Awaited<ReturnType<typeof agedStock>>; leadTime: LeadTime },
  asked: { today: string; target: ServiceTarget; reviewDays: number; through: string },
) {
  const { bought, lineIds, drivers, inUse, needs: further, parts } = demand;
  const { stock, aged, leadTime } = supply;
  const { today, target, reviewDays, through } = asked;
  const onHand = lineIds.reduce((sum, id) => sum + (stock.onHand.get(id) ?? 0), 0);
  const onOrder = lineIds.reduce((sum, id) => sum + (stock.onOrder.get(id) ?? 0), 0);
  const needs = further.filter(({ day }) => day <= through);
  const lostBy = (day: string) =>
    lineIds.reduce((sum, id) => sum + (aged.get(id)?.lostBy(day, further) ?? 0), 0);
  const availableOn = (day: string) => onOrder + Math.max(0, onHand - lostBy(day));
  const levels = reorderLevels(neededWithin(further, today), leadTime, target, reviewDays, demand.perChange);
  const { packSize, orderMultiplePacks, priceMinorUnits } = bought;
  const terms = { packSize, orderMultiplePacks, priceMinorUnits, leadTime };
  const decision = restockDecision(needs, availableOn, target, terms, today);
  const there = availableOn(today);
  const orderNow = isDue(levels, there);
  const stocked = { onHand, onOrder, lostBy, availableOn };
  return {
    bought,
    parts,
    lineIds,
    drivers: drivers.size,
    inUse,
    needs,
    further,
    months: () => needByMonth({ parts, needs: further }, today, through),
    ...stocked,
    levels,
    decision,
    orderNow,
  };
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
