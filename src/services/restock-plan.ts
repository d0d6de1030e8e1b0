import { moneyText } from "../domain/money.ts";
import { selectClub } from "../storage/clubs.ts";
import type { Scope } from "./pieces-in-scope.ts";
import { budgetAnswer } from "./budget-answer.ts";
import { count, risen } from "./in-words.ts";
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
  const money = (minorUnits: number) => moneyText({ minorUnits, currency: club.currency });
  const { members, afterwards } = budgetAnswer(
    inCurrency.map((one) => ({
      bought: one.demand.bought,
      line: budgetLine(one),
      cautions: kindOf(one.demand).cautions,
      note: sharedBy(one.demand),
    })),
    asked.budgetMinorUnits,
    money,
  );
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
    ...members,
    otherCurrency: meant.filter((one) => !inCurrency.includes(one)).map(({ demand }) => demand.bought.sku),
    sentence: `For ${money(members.spentMinorUnits)} of ${money(asked.budgetMinorUnits)} the chance of no lost run through ${asked.through} ${risen(members.chanceWithout, members.chanceWith)}${afterwards}${beyondCalendar(asked.through, calendarEndsOn)}.${leftOut}`,
  };
}

const kindOf = ({ parts }: BoughtDemand) => parts[0]!.model.kind;
