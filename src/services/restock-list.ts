import { DomainError } from "../domain/errors.ts";
import { learnedLeadTime, type LeadTime, restockDecision } from "../domain/restock.ts";
import { selectClub } from "../storage/clubs.ts";
import { selectMeetingsFrom } from "../storage/meetings-ahead.ts";
import { leadTimesOf } from "../storage/orders.ts";
import { allRecords } from "../storage/records.ts";
import { selectOnOrder } from "../storage/restock.ts";
import { levelsOf } from "../storage/stock-ledger.ts";
import type { LineRow, SupplierRow } from "../storage/tables.ts";
import { clubDay } from "./calendar-ahead.ts";
import { carsInScope, type LineDemand, lineDemands, type Scope } from "./line-demand.ts";
import type { Work } from "./work.ts";

/** More checkpoints than this would only place the order-by day more finely than a delivery can be promised. */
const mostCheckpoints = 24;

/** The days at which demand is looked at: those of the meetings through the last day, and that day itself. */
export async function checkpointsThrough(work: Work, through: string): Promise<string[]> {
  const today = await clubDay(work);
  if (through < today)
    throw new DomainError("out_of_order", `The list goes through ${through}, but today is ${today}`);
  const meetings = await selectMeetingsFrom(work.db, work.actor.clubId, today, through);
  const days = [...new Set([...meetings.map((meeting) => meeting.startsOn), through])].sort();
  const step = Math.ceil(days.length / mostCheckpoints);
  return days.filter((_, i) => (days.length - 1 - i) % step === 0);
}

/** Pieces of each line on hand and on order, at the locations of a driver or of the whole club. */
export async function stockInScope(work: Work, driverId: string | null) {
  const { clubId } = work.actor;
  const locations = await allRecords(work.db, "locations", clubId, driverId === null ? {} : { driverId });
  const locationIds = locations.map((location) => location.id);
  const onHand = new Map<string, number>();
  for (const { lineId, pieces } of await levelsOf(work.db, clubId, { locationIds }))
    onHand.set(lineId, (onHand.get(lineId) ?? 0) + pieces);
  return { onHand, onOrder: await selectOnOrder(work.db, clubId, locationIds) };
}

/** What the suppliers promise and what they did. */
export class LeadTimes {
  readonly #work: Work;
  readonly #seen = new Map<string, number[]>();
  constructor(work: Work) {
    this.#work = work;
  }
  async of(line: LineRow, supplier: SupplierRow | undefined): Promise<LeadTime> {
    const days = line.leadTimeDays ?? supplier?.leadTimeDays ?? 14;
    const sdDays =
      supplier === undefined
        ? days / 2
        : (supplier.leadTimeSdDays * days) / Math.max(1, supplier.leadTimeDays);
    if (supplier === undefined) return learnedLeadTime({ days, sdDays }, []);
    let seen = this.#seen.get(supplier.id);
    if (seen === undefined) {
      seen = (await leadTimesOf(this.#work.db, this.#work.actor.clubId, supplier.id)).map((one) => one.days);
      this.#seen.set(supplier.id, seen);
    }
    return learnedLeadTime({ days, sdDays }, seen);
  }
}

/** The line to buy in place of one that has ended: what superseded it, and so on. */
export function lineToBuy(line: LineRow, byId: ReadonlyMap<string, LineRow>, today: string): LineRow {
  let current = line;
  for (let hops = 0; hops < 20; hops++) {
    const ended = current.endedOn !== null && current.endedOn <= today;
    const next = current.supersededById === null ? undefined : byId.get(current.supersededById);
    if (!ended || next === undefined) return current;
    current = next;
  }
  return current;
}

/**
 * What to buy so that no car of the scope lacks a part through a day: by supplier, how many packs, by when, and for
 * how much; and what is enough as it is.
 */
export async function restockList(work: Work, asked: Scope & { through: string; target: number }) {
  const today = await clubDay(work);
  const days = await checkpointsThrough(work, asked.through);
  const cars = await carsInScope(work, asked);
  const driverId =
    work.reach === "own"
      ? work.actor.driverId
      : (asked.driverId ?? (asked.carId === undefined ? null : (cars[0]?.driverId ?? null)));
  const [demands, stock, club, lines, suppliers] = await Promise.all([
    lineDemands(work, cars, days),
    stockInScope(work, driverId),
    selectClub(work.db, work.actor.clubId),
    allRecords(work.db, "lines", work.actor.clubId),
    allRecords(work.db, "suppliers", work.actor.clubId),
  ]);
  const lineById = new Map(lines.map((line) => [line.id, line]));
  const supplierById = new Map(suppliers.map((supplier) => [supplier.id, supplier]));
  const leadTimes = new LeadTimes(work);
  const entries: ReturnType<typeof entryOf>[] = [];
  for (const demand of demands) {
    const bought = lineToBuy(demand.model.line, lineById, today);
    const supplier = bought.supplierId === null ? undefined : supplierById.get(bought.supplierId);
    const leadTime = await leadTimes.of(bought, supplier);
    entries.push(entryOf(demand, bought, supplier, leadTime, stock, asked.target, today));
  }
  const groups = [...new Set(entries.map((entry) => entry.supplierId))].map((supplierId) => {
    const own = entries.filter((entry) => entry.supplierId === supplierId);
    const supplier = supplierId === null ? undefined : supplierById.get(supplierId);
    const ordered = own.filter((entry) => entry.packs > 0);
    const total = ordered
      .filter((entry) => entry.currency === club.currency)
      .reduce((sum, entry) => sum + entry.costMinorUnits, 0);
    const minimum = supplier?.minimumOrderMinorUnits ?? 0;
    return {
      supplierId,
      supplierName: supplier?.name ?? null,
      orderBy: earliest(ordered.map((entry) => entry.orderBy)),
      totals: totalsOf(ordered),
      belowMinimumByMinorUnits: total > 0 ? Math.max(0, minimum - total) : 0,
      lines: ordered.sort((a, b) => ((a.orderBy ?? "9") < (b.orderBy ?? "9") ? -1 : 1)),
    };
  });
  return {
    asOf: work.now(),
    through: asked.through,
    target: asked.target,
    currency: club.currency,
    cars: cars.length,
    totals: totalsOf(entries),
    suppliers: groups.filter((group) => group.lines.length > 0),
    enough: entries.filter((entry) => entry.packs === 0),
    chanceWithout: entries.reduce((product, entry) => product * entry.chanceWithout, 1),
    chanceWith: entries.reduce((product, entry) => product * entry.chanceWith, 1),
  };
}

/** Money is added up within each currency, never across. */
function totalsOf(entries: readonly { currency: string; costMinorUnits: number }[]) {
  const byCurrency = new Map<string, number>();
  for (const { currency, costMinorUnits } of entries)
    if (costMinorUnits > 0) byCurrency.set(currency, (byCurrency.get(currency) ?? 0) + costMinorUnits);
  return [...byCurrency].map(([currency, minorUnits]) => ({ currency, minorUnits }));
}

const earliest = (days: readonly (string | null)[]) => days.filter((day) => day !== null).sort()[0] ?? null;

function entryOf(
  demand: LineDemand,
  bought: LineRow,
  supplier: SupplierRow | undefined,
  leadTime: LeadTime,
  stock: { onHand: ReadonlyMap<string, number>; onOrder: ReadonlyMap<string, number> },
  target: number,
  today: string,
) {
  const { line, kind, wear, current } = demand.model;
  const both = (levels: ReadonlyMap<string, number>) =>
    (levels.get(line.id) ?? 0) + (bought.id === line.id ? 0 : (levels.get(bought.id) ?? 0));
  const onHand = both(stock.onHand);
  const onOrder = both(stock.onOrder);
  const { packSize, orderMultiplePacks, priceMinorUnits } = bought;
  const terms = { packSize, orderMultiplePacks, priceMinorUnits, leadTime };
  const decision = restockDecision(demand.needs, onHand + onOrder + demand.spares, target, terms, today);
  const { need, packs, pieces, orderBy, late, chanceWithout, chanceWith } = decision;
  const percent = (p: number) => `${Math.round(p * 100)} %`;
  const have = `${onHand} on hand, ${onOrder} on order, ${demand.spares} part-worn`;
  const sentence =
    packs === 0
      ? `${have} last through ${demand.needs.at(-1)!.day} with a chance of ${percent(chanceWithout)}; ${need.p10} to ${need.p90} are likely to be needed.`
      : `${need.p10} to ${need.p90} are likely to be needed and there are ${have} (chance of enough: ${percent(chanceWithout)}); ${packs} pack${packs === 1 ? "" : "s"} (${pieces} piece${pieces === 1 ? "" : "s"}) make it ${percent(chanceWith)}${late ? ", though the order may come too late" : ""}.`;
  return {
    ...decision,
    lineId: bought.id,
    sku: bought.sku,
    name: bought.name,
    insteadOf: bought.id === line.id ? null : line.sku,
    kindCode: kind.code,
    supplierId: supplier?.id ?? null,
    packSize,
    priceMinorUnits,
    currency: bought.currency,
    inUse: demand.inUse,
    onHand,
    onOrder,
    spares: demand.spares,
    orderBy,
    leadTime: { meanDays: leadTime.meanDays, sdDays: leadTime.sdDays, deliveries: leadTime.deliveries },
    sentence,
    restsOn: { pieces: wear.counts.pieces, readings: wear.counts.readings, current },
  };
}
