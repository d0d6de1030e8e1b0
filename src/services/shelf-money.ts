import { setImmediate } from "node:timers/promises";
import { rangeOf } from "../domain/demand-seasons.ts";
import { moneyText, wholeMeans } from "../domain/money.ts";
import { monthsOf, spendByMonth } from "../domain/season-spend.ts";
import { selectClub } from "../storage/clubs.ts";
import { budgetAnswer } from "./budget-answer.ts";
import { count, risen } from "./in-words.ts";
import { calendarEnd } from "./needs-ahead.ts";
import { mean, piecesOfParts, seasons, summed, totalOf } from "./season-cost.ts";
import {
  type AskedShelf,
  fewestDrivers,
  requireShelfKeeper,
  type ShelfNeed,
  shelfNeeds,
} from "./shelf-needs.ts";
import { stockOnShelves } from "./shelf-plan.ts";
import type { Work } from "./work.ts";

/** What the shelf is worth spending on: the same questions as a driver's, from the pooled need. Three drivers or nothing. */

type Asked = Pick<AskedShelf, "through">;

async function shelfInCurrency(work: Work, asked: Asked) {
  const club = await selectClub(work.db, work.actor.clubId);
  const found = await shelfNeeds(work, asked, await stockOnShelves(work));
  const inCurrency = found.needs.filter(({ bought }) => bought.currency === club.currency);
  const others = found.needs.filter((need) => !inCurrency.includes(need));
  const { today, withheld, driversSharing, drivers } = found;
  return {
    today,
    needs: inCurrency,
    shared: {
      asOf: work.now(),
      through: asked.through,
      currency: club.currency,
      calendarEndsOn: await calendarEnd(work, today),
      driversSharing,
      drivers,
      withheld,
      otherCurrency: others.map(({ bought }) => bought.sku),
    },
    money: (minorUnits: number) => moneyText({ minorUnits, currency: club.currency }),
  };
}

const notShown = (withheld: readonly string[]) =>
  withheld.length === 0
    ? ""
    : ` ${count(withheld.length, "line")} with fewer than ${fewestDrivers} drivers behind ${withheld.length === 1 ? "it is" : "them are"} left out.`;

/** The best packs for the shelf with a sum of money: those that raise the chance that nothing on it runs out most. */
export async function shelfBudget(work: Work, asked: Asked & { budgetMinorUnits: number }) {
  requireShelfKeeper(work, "The plan of the shelf for a budget");
  const { needs, shared, money } = await shelfInCurrency(work, asked);
  const weighed = needs.map((need) => ({
    bought: need.bought,
    line: {
      needed: need.needs.at(-1)?.needed ?? [1],
      held: Math.max(0, need.availableOn(asked.through)),
      unitPieces: need.bought.packSize * need.bought.orderMultiplePacks,
      unitPrice: need.bought.priceMinorUnits * need.bought.orderMultiplePacks,
    },
    cautions: need.parts[0]!.model.kind.cautions,
    note: "",
  }));
  const { members, afterwards } = budgetAnswer(weighed, asked.budgetMinorUnits, money);
  const { spentMinorUnits, chanceWithout, chanceWith } = members;
  return {
    ...shared,
    budgetMinorUnits: asked.budgetMinorUnits,
    ...members,
    sentence: `For ${money(spentMinorUnits)} of ${money(asked.budgetMinorUnits)} the chance that nothing shown runs out on the shelf through ${asked.through} ${risen(chanceWithout, chanceWith)}${afterwards}.${notShown(shared.withheld)}`,
  };
}

/** What a line is likely to cost the shelf in each month of each season, once what lies there and is on order is used. */
function costOf(need: ShelfNeed, lastDays: readonly string[]) {
  const followed = piecesOfParts(need.parts);
  const pieces = lastDays.map((last) => followed[need.further.findIndex(({ day }) => day === last)]!);
  const held = need.onHand + need.onOrder;
  return { expectedPieces: mean(pieces.at(-1)!), byMonth: spendByMonth(pieces, { ...need.bought, held }) };
}

/** What the shelf is likely to cost month by month from today, where packs are bought as what lies there runs out. */
export async function shelfCost(work: Work, asked: Asked) {
  requireShelfKeeper(work, "The cost of the shelf");
  const { today, needs, shared, money } = await shelfInCurrency(work, asked);
  const months = monthsOf(today, asked.through);
  const costs: (ReturnType<typeof costOf> & { need: ShelfNeed })[] = [];
  for (const need of needs) {
    costs.push({
      need,
      ...costOf(
        need,
        months.map(({ lastDay }) => lastDay),
      ),
    });
    // Seasons are followed for each line: others are answered in between.
    await setImmediate();
  }
  const monthTotals = months.map((_, m) => summed(costs.map(({ byMonth }) => byMonth[m]!)));
  const lineTotals = costs.map(({ byMonth }) => summed(byMonth));
  const whole = summed(lineTotals);
  const expectedOf = (parts: readonly Float64Array[]) => wholeMeans(parts.map(totalOf), seasons);
  const [byMonth, byLine] = [expectedOf(monthTotals), expectedOf(lineTotals)];
  const total = { expectedMinorUnits: expectedOf([whole])[0]!, rangeMinorUnits: rangeOf(whole) };
  const { p10, p90 } = total.rangeMinorUnits;
  return {
    ...shared,
    months: months.map(({ month, lastDay }, m) => ({
      ...{ month, lastDay, expectedMinorUnits: byMonth[m]!, rangeMinorUnits: rangeOf(monthTotals[m]!) },
    })),
    lines: costs
      .map(({ need, expectedPieces }, i) => ({
        ...{ lineId: need.bought.id, sku: need.bought.sku, name: need.bought.name, drivers: need.drivers },
        expectedPieces,
        ...{ expectedMinorUnits: byLine[i]!, rangeMinorUnits: rangeOf(lineTotals[i]!) },
      }))
      .sort((a, b) => b.expectedMinorUnits - a.expectedMinorUnits),
    total,
    sentence: `Through ${asked.through} ${p90 === 0 ? "nothing is likely to be spent on the shelf" : `${money(p10)} to ${money(p90)} ${p10 === p90 ? "is" : "are"} likely to be spent on the shelf`} (expected ${money(total.expectedMinorUnits)}).${notShown(shared.withheld)}`,
  };
}
