import { dayIn, dayStart } from "../domain/club-time.ts";
import { rangeOf } from "../domain/demand-seasons.ts";
import { DomainError } from "../domain/errors.ts";
import { moneyText, wholeMeans } from "../domain/money.ts";
import { monthsOf, spendByMonth } from "../domain/season-spend.ts";
import { selectClub } from "../storage/clubs.ts";
import { allRecords } from "../storage/records.ts";
import { selectSpend } from "../storage/spend.ts";
import { type BoughtDemand, byBought } from "./bought-demand.ts";
import { lineDemands } from "./line-demand.ts";
import { carsInScope, type Scope } from "./pieces-in-scope.ts";
import { calendarEnd, daysFrom, lineToBuy, type Stock, stockInScope } from "./needs-ahead.ts";
import { stockDriver } from "./restock-list.ts";
import type { Work } from "./work.ts";

/** Standard error of a 10th percentile's place with so many seasons: 1 %. */
export const seasons = 1000;
const mostMonths = 36;

/**
 * What parts cost, month by month: what was spent so far, and what is likely to be spent ahead, where packs are bought
 * as what there is runs out. By line as well. Months and lines each add up to the total.
 */
export async function seasonCost(work: Work, asked: Scope & { from: string; through: string }) {
  const { clubId } = work.actor;
  const club = await selectClub(work.db, clubId);
  const dayOf = (at: string) => dayIn(club.timeZone, at);
  const today = dayOf(work.now());
  const months = monthsAsked(asked);
  const cars = await carsInScope(work, asked);
  const stock = await stockInScope(work, stockDriver(work, asked, cars));
  const [lines, kinds, calendarEndsOn, spent] = await Promise.all([
    allRecords(work.db, "lines", clubId),
    allRecords(work.db, "kinds", clubId),
    calendarEnd(work, today),
    selectSpend(work.db, clubId, stock.locationIds, ...spanOf(work, asked, club.timeZone)),
  ]);
  const byId = new Map(lines.map((line) => [line.id, line]));
  const kindCodes = new Map(kinds.map(({ id, code }) => [id, code]));
  const inCurrency = (line: { currency: string }) => line.currency === club.currency;
  const actual = spent.filter(inCurrency);
  const aheadMonths = months.filter(({ lastDay }) => lastDay >= today);
  const demands = await lineDemands(
    work,
    cars,
    aheadMonths.map(({ lastDay }) => lastDay),
  );
  const used = demands.filter(({ inUse }) => inUse > 0);
  const needed = byBought(used, (line) => lineToBuy(line, byId, today));
  const ahead = needed.filter(({ bought }) => inCurrency(bought)).map((line) => lineAhead(line, stock));
  const gone = [...new Set(actual.map(({ lineId }) => lineId))]
    .filter((id) => !ahead.some(({ bought }) => bought.id === id))
    .map((id) => ({ bought: byId.get(id)!, inUse: 0, expectedPieces: 0, byMonth: aheadMonths.map(noSpend) }));
  const all = [...ahead, ...gone];
  const monthTotals = aheadMonths.map((_, m) => summed(all.map(({ byMonth }) => byMonth[m]!)));
  const lineTotals = all.map(({ byMonth }) => summed(byMonth));
  const whole = summed(lineTotals);
  const expectedOf = (parts: readonly Float64Array[]) => wholeMeans(parts.map(totalOf), seasons);
  const [expectedByMonth, expectedByLine] = [expectedOf(monthTotals), expectedOf(lineTotals)];
  const total = {
    actualMinorUnits: sum(actual),
    expectedMinorUnits: expectedOf([whole])[0]!,
    rangeMinorUnits: rangeOf(whole),
  };
  const otherCurrency = [
    ...needed.map(({ bought }) => bought),
    ...spent.flatMap(({ lineId }) => byId.get(lineId) ?? []),
  ].filter((line) => !inCurrency(line));
  return {
    asOf: work.now(),
    from: asked.from,
    through: asked.through,
    currency: club.currency,
    cars: cars.length,
    calendarEndsOn,
    actualIsOf: asked.carId === undefined ? ("locations" as const) : ("driver" as const),
    months: months.map(({ month, lastDay }) => {
      const m = aheadMonths.findIndex((one) => one.month === month);
      return {
        month,
        lastDay,
        actualMinorUnits:
          month > today.slice(0, 7) ? null : sum(actual.filter(({ at }) => dayOf(at).slice(0, 7) === month)),
        ahead:
          m === -1
            ? null
            : { expectedMinorUnits: expectedByMonth[m]!, rangeMinorUnits: rangeOf(monthTotals[m]!) },
      };
    }),
    lines: all
      .map(({ bought, inUse, expectedPieces }, i) => ({
        lineId: bought.id,
        sku: bought.sku,
        name: bought.name,
        kindCode: kindCodes.get(bought.kindId)!,
        inUse,
        expectedPieces,
        actualMinorUnits: sum(actual.filter(({ lineId }) => lineId === bought.id)),
        expectedMinorUnits: expectedByLine[i]!,
        rangeMinorUnits: rangeOf(lineTotals[i]!),
      }))
      .sort((a, b) => b.expectedMinorUnits - a.expectedMinorUnits || b.actualMinorUnits - a.actualMinorUnits),
    total,
    otherCurrency: [...new Set(otherCurrency.map(({ sku }) => sku))],
    sentence: sentenceOf(asked, total, club.currency, aheadMonths.length > 0, today),
  };
}

function monthsAsked({ from, through }: { from: string; through: string }) {
  if (through < from)
    throw new DomainError("out_of_order", `The season goes through ${through}, before it begins on ${from}`, [
      { pointer: "#/through", detail: `must not be before from, which is ${from}` },
    ]);
  const months = monthsOf(from, through);
  if (months.length > mostMonths)
    throw new DomainError(
      "inconsistent",
      `A season of ${months.length} months is too long: at most ${mostMonths}`,
      [{ pointer: "#/through", detail: `must be at most ${mostMonths} months after from, which is ${from}` }],
    );
  return months;
}

/** From the beginning of the first day to the end of the last, and not beyond now: [from, to). */
function spanOf(work: Work, { from, through }: { from: string; through: string }, timeZone: string) {
  const end = Date.parse(dayStart(timeZone, daysFrom(through, 1)));
  const to = new Date(Math.min(end, Date.parse(work.now()))).toISOString();
  return [dayStart(timeZone, from), to] as const;
}

/** The pieces that lines bought as one need through each day in each season. */
export function piecesOfParts(parts: BoughtDemand["parts"]): Int32Array[] {
  const follows = parts.map((demand) => demand.seasons(seasons));
  return follows[0]!.map((day, d) =>
    day.map((_, season) => follows.reduce((total, follow) => total + follow[d]![season]!, 0)),
  );
}

/** What a line is likely to cost in each month of each season, once what there is of it is used. */
function lineAhead({ bought, parts, lineIds, inUse, spares }: BoughtDemand, stock: Stock) {
  const pieces = piecesOfParts(parts);
  const there = (levels: ReadonlyMap<string, number>) =>
    lineIds.reduce((total, id) => total + (levels.get(id) ?? 0), 0);
  const held = there(stock.onHand) + there(stock.onOrder) + spares;
  return {
    bought,
    inUse,
    expectedPieces: mean(pieces.at(-1)!),
    byMonth: spendByMonth(pieces, { ...bought, held }),
  };
}

function sentenceOf(
  { from, through }: { from: string; through: string },
  { actualMinorUnits, expectedMinorUnits, rangeMinorUnits: { p10, p90 } }: SeasonTotal,
  currency: string,
  isAhead: boolean,
  today: string,
): string {
  const money = (minorUnits: number) => moneyText({ minorUnits, currency });
  if (!isAhead) return `From ${from} through ${through} ${money(actualMinorUnits)} was spent.`;
  const likely =
    p90 === 0
      ? `nothing more is likely to be spent`
      : p10 === p90
        ? `another ${money(p10)} is likely`
        : `another ${money(p10)} to ${money(p90)} is likely`;
  const spent = from > today ? "Through" : `From ${from} on ${money(actualMinorUnits)} was spent; through`;
  return `${spent} ${through} ${likely} (expected ${money(expectedMinorUnits)}).`;
}

interface SeasonTotal {
  actualMinorUnits: number;
  expectedMinorUnits: number;
  rangeMinorUnits: { p10: number; p90: number };
}

const noSpend = () => new Float64Array(seasons);
export function summed(parts: readonly Float64Array[]): Float64Array {
  const total = noSpend();
  for (const part of parts) for (let season = 0; season < seasons; season++) total[season]! += part[season]!;
  return total;
}
const sum = (rows: readonly { minorUnits: number }[]) =>
  rows.reduce((total, row) => total + row.minorUnits, 0);
export const totalOf = (numbers: ArrayLike<number>) => {
  let total = 0;
  for (let i = 0; i < numbers.length; i++) total += numbers[i]!;
  return total;
};
export const mean = (numbers: ArrayLike<number>) => totalOf(numbers) / numbers.length;
