import { type BudgetLine, budgetPlan } from "../domain/budget.ts";
import { pmfCdf } from "../stats/index.ts";
import type { LineRow } from "../storage/tables.ts";
import { count, percents, risen } from "./in-words.ts";

/** A line that some money may be spent on, as the answer names it. */
export interface ToWeigh {
  bought: LineRow;
  line: BudgetLine;
  cautions: readonly string[];
  /** said at the end of its sentence; may be empty */
  note: string;
}

/** The best packs for a sum of money among some lines, with the curve of cost against chance and what would come next. */
export function budgetAnswer(
  weighed: readonly ToWeigh[],
  budgetMinorUnits: number,
  money: (minorUnits: number) => string,
) {
  const lines = weighed.map(({ line }) => line);
  const { units, spent, chance, chanceAtMost, curve, next } = budgetPlan(lines, budgetMinorUnits);
  const named = (i: number) => {
    const { id, sku, name } = weighed[i]!.bought;
    return { lineId: id, sku, name };
  };
  const packsOf = (line: number, bought: number) => bought * weighed[line]!.bought.orderMultiplePacks;
  const chanceWithout = lines.reduce((product, line) => product * pmfCdf(line.needed, line.held), 1);
  const buy = units.flatMap((bought, i) => {
    if (bought === 0) return [];
    const { needed, held, unitPieces, unitPrice } = lines[i]!;
    const { orderMultiplePacks, packSize } = weighed[i]!.bought;
    const packs = packsOf(i, bought);
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
        cautions: [...weighed[i]!.cautions],
        sentence: `With ${count(packs, "pack")} (${count(packs * packSize, "piece")}) the chance that it lasts ${risen(without, withIt)}${orderMultiplePacks === 1 ? "" : `; the supplier sells it in multiples of ${orderMultiplePacks} packs`}.${weighed[i]!.note}`,
      },
    ];
  });
  const nextBuy =
    next === null
      ? null
      : {
          ...named(next.line),
          packs: packsOf(next.line, next.units),
          costMinorUnits: next.cost,
          chance: next.chance,
          costPerPointMinorUnits: perPoint(next.cost, next.chance - chance),
        };
  const afterwards =
    nextBuy === null
      ? "; more money would gain nothing"
      : `; the next ${money(nextBuy.costMinorUnits)}, for ${nextBuy.name}, would make it ${percents(chance, nextBuy.chance)[1]}`;
  return {
    afterwards,
    members: {
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
              packs: packsOf(step.line, step.units),
              costMinorUnits: step.cost,
              costPerPointMinorUnits: perPoint(step.cost, step.chance - before),
            },
          };
        }),
      ],
    },
  };
}

/** Money for each hundredth of chance gained; null where hardly anything is gained. */
const perPoint = (cost: number, gain: number): number | null =>
  gain < 1e-9 ? null : Math.round(cost / (100 * gain));
