import { type LeadTime, learnedLeadTime } from "../domain/restock.ts";
import { leadTimesOf } from "../storage/orders.ts";
import type { LineRow, SupplierRow } from "../storage/tables.ts";
import type { Work } from "./work.ts";

/** Lead times follow from a promise and what was seen alone; working one out takes longer than reading a line's demand. */
const known = new Map<string, LeadTime>();
const mostKnown = 1000;
/** Where neither line nor supplier says anything: two weeks, give or take one (common practice, no source). */
const unpromisedDays = 14;

/** What the suppliers promise and what they did. */
export class LeadTimes {
  readonly #work: Work;
  readonly #seen = new Map<string, number[]>();
  constructor(work: Work) {
    this.#work = work;
  }

  async of(line: LineRow, supplier: SupplierRow | undefined): Promise<LeadTime> {
    const days = line.leadTimeDays ?? supplier?.leadTimeDays ?? unpromisedDays;
    const sdDays =
      supplier === undefined
        ? days / 2
        : (supplier.leadTimeSdDays * days) / Math.max(1, supplier.leadTimeDays);
    return learned(days, sdDays, supplier === undefined ? [] : await this.#seenOf(supplier.id));
  }

  async #seenOf(supplierId: string): Promise<number[]> {
    let seen = this.#seen.get(supplierId);
    if (seen === undefined) {
      seen = (await leadTimesOf(this.#work.db, this.#work.actor.clubId, supplierId)).map((one) => one.days);
      this.#seen.set(supplierId, seen);
    }
    return seen;
  }
}

function learned(days: number, sdDays: number, seen: readonly number[]): LeadTime {
  const key = `${days} ${sdDays} ${seen.join(" ")}`;
  let leadTime = known.get(key);
  if (leadTime === undefined) {
    leadTime = learnedLeadTime({ days, sdDays }, seen);
    if (known.size >= mostKnown) known.clear();
    known.set(key, leadTime);
  }
  return leadTime;
}
