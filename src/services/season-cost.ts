import { rangeOf } from "../domain/demand-seasons.ts";
import { DomainError } from "../domain/errors.ts";
import { monthsOf, spendByMonth } from "../domain/season-spend.ts";
import { selectClub } from "../storage/clubs.ts";
import { selectLastMeetingDay } from "../storage/meetings-ahead.ts";
import { allRecords } from "../storage/records.ts";
import { selectSpend } from "../storage/spend.ts";
import { clubDay } from "./calendar-ahead.ts";
import { lineDemands } from "./line-demand.ts";
import { carsInScope, type Scope } from "./pieces-in-scope.ts";
import { daysFrom, lineToBuy, stockInScope } from "./needs-ahead.ts";
import { stockDriver } from "./restock-list.ts";
import type { Work } from "./work.ts";

/** Standard error of a 10th percentile's place with so many seasons: 1 %. */
const seasons = 1000;
const mostMonths = 36;

/**
 * What parts cost, month by month: what was spent so far, and what is likely to be spent ahead, where packs are bought
 * as what there is runs out. By line as well.
 */
export async function seasonCost(work: Work, asked: Scope & { from: string; through: string }) {
  const today = await clubDay(work);
  if (asked.through < asked.from)
    throw new DomainError("out_of_order", `${asked.through} comes before ${asked.from}`);
  const months = monthsOf(asked.from, asked.through);
  if (months.length > mostMonths)
    throw new DomainError(
      "inconsistent",
      `A season of ${months.length} months is too long: at most ${mostMonths}`,
    );
  const cars = await carsInScope(work, asked);
  const stock = await stockInScope(work, stockDriver(work, asked, cars));
  const [club, lines, calendarEndsOn] = await Promise.all([
    selectClub(work.db, work.actor.clubId),
    allRecords(work.db, "lines", work.actor.clubId),
    selectLastMeetingDay(work.db, work.actor.clubId),
  ]);
  const byId = new Map(lines.map((line) => [line.id, line]));
  const actual = await actualSpend(work, asked, stock.locationIds, club.currency);
  const aheadMonths = months.filter(({ lastDay }) => lastDay >= today);
  const demands = await lineDemands(
    work,
    cars,
    aheadMonths.map(({ lastDay }) => lastDay),
  );
  const totals = aheadMonths.map(() => new Float64Array(seasons));
  const byLine = [];
  const otherCurrency = new Set<string>();
  for (const { model, spares, inUse, seasons: follow } of demands) {
    const bought = lineToBuy(model.line, byId, today);
    if (bought.currency !== club.currency) {
      otherCurrency.add(bought.sku);
      continue;
    }
    if (inUse === 0) continue;
    const needed = follow(seasons);
    const there = (levels: ReadonlyMap<string, number>) =>
      [...new Set([model.line.id, bought.id])].reduce((sum, id) => sum + (levels.get(id) ?? 0), 0);
    const spend = spendByMonth(needed, {
      ...bought,
      held: there(stock.onHand) + there(stock.onOrder) + spares,
    });
    const whole = new Float64Array(seasons);
    spend.forEach((month, m) => {
      month.forEach((minorUnits, season) => {
        totals[m]![season]! += minorUnits;
        whole[season]! += minorUnits;
      });
    });
    byLine.push({
      lineId: bought.id,
      sku: bought.sku,
      name: bought.name,
      kindCode: model.kind.code,
      expectedPieces: mean(needed.at(-1)!),
      actualMinorUnits: sum(actual.filter(({ lineId }) => lineId === bought.id)),
      ...money(whole),
    });
  }
  const all = new Float64Array(seasons);
  for (const month of totals) for (let season = 0; season < seasons; season++) all[season]! += month[season]!;
  const total = { actualMinorUnits: sum(actual), ...money(all) };
  const { p10, p90 } = total.rangeMinorUnits;
  return {
    asOf: work.now(),
    from: asked.from,
    through: asked.through,
    currency: club.currency,
    cars: cars.length,
    calendarEndsOn,
    actualIsOf: asked.carId === undefined ? ("locations" as const) : ("driver" as const),
    months: months.map(({ month, lastDay }) => {
      const ahead = aheadMonths.findIndex((one) => one.month === month);
      return {
        month,
        lastDay,
        actualMinorUnits:
          month > today.slice(0, 7) ? null : sum(actual.filter(({ at }) => at.startsWith(month))),
        ahead: ahead === -1 ? null : money(totals[ahead]!),
      };
    }),
    lines: byLine.sort((a, b) => b.expectedMinorUnits - a.expectedMinorUnits),
    total,
    otherCurrency: [...otherCurrency],
    sentence: `From ${asked.from} on ${total.actualMinorUnits} minor units (${club.currency}) were spent; through ${asked.through} another ${p10} to ${p90} are likely (expected ${total.expectedMinorUnits}).`,
  };
}

async function actualSpend(
  work: Work,
  { from, through }: { from: string; through: string },
  locationIds: readonly string[],
  currency: string,
) {
  const before = `${daysFrom(through, 1)}T00:00:00.000Z`;
  const rows = await selectSpend(
    work.db,
    work.actor.clubId,
    locationIds,
    `${from}T00:00:00.000Z`,
    before < work.now() ? before : work.now(),
  );
  return rows.filter((row) => row.currency === currency);
}

const sum = (rows: readonly { minorUnits: number }[]) =>
  rows.reduce((total, row) => total + row.minorUnits, 0);
const mean = (numbers: ArrayLike<number>) => {
  let total = 0;
  for (let i = 0; i < numbers.length; i++) total += numbers[i]!;
  return numbers.length === 0 ? 0 : total / numbers.length;
};
const money = (minorUnits: Float64Array) => ({
  expectedMinorUnits: Math.round(mean(minorUnits)),
  rangeMinorUnits: rangeOf(minorUnits),
});
