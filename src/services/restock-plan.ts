import { budgetPlan } from "../domain/budget.ts";
import { moneyText } from "../domain/money.ts";
import { pmfCdf } from "../stats/index.ts";
import { selectClub } from "../storage/clubs.ts";
import type { Scope } from "./pieces-in-scope.ts";
import { count, percents, risen } from "./in-words.ts";
import { type BoughtDemand, sharedBy } from "./bought-demand.ts";
import { beyondCalendar } from "./needs-ahead.ts";
import { budgetLine, suppliedDemands } from "./restock-list.ts";
import type { Work } from "./work.ts";

export interface AskedPlan extends Scope {
  through: string;
  budgetMinorUnits: number;
  parts?: "car-stoppers" | "all" | undefined;
}

/**
 * The best packs for a sum of money: those that raise the chance of no lost run through a day most. A run is lost where
 * a car-stopper is missing; the same may be asked of all parts. Lines priced in another currency are left out and named.
 */
export async function restockPlan(work: Work, asked: AskedPlan) {
  const parts = asked.parts ?? "car-stoppers";
  const [{ cars, calendarEndsOn, supplied }, club] = await Promise.all([
    suppliedDemands(work, asked),
    selectClub(work.db, work.actor.clubId),
  ]);
  const meant = supplied.filter(({ demand }) => parts === "all" || kindOf(demand).carStopper);
  const inCurrency = meant.filter(({ demand }) => demand.bought.currency === club.currency);
  const lines = inCurrency.map(budgetLine);
  const { units, spent, chance, chanceAtMost, curve, next } = budgetPlan(lines, asked.budgetMinorUnits);
  const named = (i: number) => {
    const { id, sku, name } = inCurrency[i]!.demand.bought;
    return { lineId: id, sku, name };
  };
  const chanceWithout = lines.reduce((product, line) => product * pmfCdf(line.needed, line.held), 1);
  const buy = units.flatMap((bought, i) => {
    if (bought === 0) return [];
    const { needed, held, unitPieces, unitPrice } = lines[i]!;
    const { demand } = inCurrency[i]!;
    const { packSize, orderMultiplePacks } = demand.bought;
    const packs = bought * orderMultiplePacks;
    const without = pmfCdf(needed, held);
    const withIt = pmfCdf(needed, held + bought * unitPieces);
    return [
      {
        ...named(i),
        packs,
        pieces: packs * packSize,
        costMinorUnits: bought * unitPrice,
        chanceWithout: without,
        chanceWith: withIt,
        orderMultiplePacks,
        cautions: kindOf(demand).cautions,
        sentence: `With ${count(packs, "pack")} (${count(packs * packSize, "piece")}) the chance that it lasts ${risen(without, withIt)}${orderMultiplePacks === 1 ? "" : `; the supplier sells it in multiples of ${orderMultiplePacks} packs`}.${sharedBy(demand)}`,
      },
    ];
  });
  const nextBuy =
    next === null
      ? null
      : {
          ...named(next.line),
          packs: next.units * inCurrency[next.line]!.demand.bought.orderMultiplePacks,
          costMinorUnits: next.cost,
          chance: next.chance,
          costPerPointMinorUnits: perPoint(next.cost, next.chance - chance),
        };
  const money = (minorUnits: number) => moneyText({ minorUnits, currency: club.currency });
  const afterwards =
    nextBuy === null
      ? "; more money would gain nothing"
      : `; the next ${money(nextBuy.costMinorUnits)}, for ${nextBuy.name}, would make it ${percents(chance, nextBuy.chance)[1]}`;
  const others = supplied.length - meant.length;
  const leftOut =
    others === 0
      ? ""
      : ` ${count(others, "line")} of parts that do not stop a car when they are worn out ${others === 1 ? "is" : "are"} left out; parts=all asks for ${others === 1 ? "it" : "them"} too.`;
  return {
    asOf: work.now(),
    through: asked.through,
    budgetMinorUnits: asked.budgetMinorUnits,
    currency: club.currency,
    parts,
    cars: cars.length,
    calendarEndsOn,
    lines: lines.length,
    spentMinorUnits: spent,
    chanceWithout,
    chanceWith: chance,
    chanceAtMost,
    buy,
    next: nextBuy,
    curve: [
      { spentMinorUnits: 0, chance: chanceWithout, step: null },
      ...curve.map((step, i) => {
        const before = i === 0 ? chanceWithout : curve[i - 1]!.chance;
        return {
          spentMinorUnits: step.spent,
          chance: step.chance,
          step: {
            ...named(step.line),
            packs: step.units * inCurrency[step.line]!.demand.bought.orderMultiplePacks,
            costMinorUnits: step.cost,
            costPerPointMinorUnits: perPoint(step.cost, step.chance - before),
          },
        };
      }),
    ],
    otherCurrency: meant.filter((one) => !inCurrency.includes(one)).map(({ demand }) => demand.bought.sku),
    sentence: `For ${money(spent)} of ${money(asked.budgetMinorUnits)} the chance of no lost run through ${asked.through} ${risen(chanceWithout, chance)}${afterwards}${beyondCalendar(asked.through, calendarEndsOn)}.${leftOut}`,
  };
}

const kindOf = ({ parts }: BoughtDemand) => parts[0]!.model.kind;

/** Money for each hundredth of chance gained; null where hardly anything is gained. */
const perPoint = (cost: number, gain: number): number | null =>
  gain < 1e-9 ? null : Math.round(cost / (100 * gain));
