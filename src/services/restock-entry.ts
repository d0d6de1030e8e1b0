import { packsFor, reorderLevels, restockDecision } from "../domain/restock.ts";
import type { ServiceTarget } from "../stats/index.ts";
import { practiceOf, replacedSkus, sharedBy } from "./bought-demand.ts";
import { capitalised, count, likelyNeed, percent, percents } from "./in-words.ts";
import { neededWithin, shownLeadTime } from "./needs-ahead.ts";
import type { SuppliedDemand } from "./restock-list.ts";

/** What each line is ordered for, and what its reorder levels and its day to order are for. */
export interface LineTargets {
  order: ServiceTarget;
  levels: ServiceTarget;
}

/** What the entries of one list have in common. */
interface ListTerms {
  today: string;
  reviewDays: number;
  /** asked for a driver or a car, who may buy at a counter and need not take the supplier's multiple */
  forDriver: boolean;
}

/** One line of the restock list: what will be needed, what there is, what to order of it, and why. */
export function entryOf(one: SuppliedDemand, target: LineTargets, terms: ListTerms) {
  const { demand, needs, supplier, leadTime, onHand, onOrder, availableOn, ageing } = one;
  const { bought, parts } = demand;
  const { kind } = parts[0]!.model;
  const counts = parts.map(({ model }) => model.wear.counts);
  const { today, reviewDays } = terms;
  const practice = practiceOf(demand);
  const { packSize, orderMultiplePacks, priceMinorUnits } = bought;
  const decision = restockDecision(
    needs,
    availableOn,
    target.order,
    {
      ...{ packSize, orderMultiplePacks, priceMinorUnits, leadTime },
      ...(one.shelfLifeDays === undefined ? {} : { shelfLifeDays: one.shelfLifeDays }),
    },
    today,
    target.levels,
  );
  const levels = reorderLevels(
    neededWithin(demand.needs, today),
    leadTime,
    target.levels,
    reviewDays,
    demand.perChange,
  );
  const available = Math.max(0, availableOn(needs.at(-1)?.day ?? today));
  const leastPacks = packsFor(decision.stockWanted - available, { packSize, orderMultiplePacks: 1 });
  const told = { ...decision, onHand, onOrder, spares: demand.spares, ageing, leastPacks };
  return {
    ...decision,
    lineId: bought.id,
    sku: bought.sku,
    name: bought.name,
    insteadOf: replacedSkus(demand),
    kindCode: kind.code,
    supplierId: supplier?.id ?? null,
    packSize,
    orderMultiplePacks,
    leastPacks,
    priceMinorUnits,
    currency: bought.currency,
    inUse: demand.inUse,
    onHand,
    onOrder,
    spares: demand.spares,
    ageing,
    reorderPoint: levels.reorderPoint,
    orderUpTo: levels.orderUpTo,
    safetyStock: levels.safetyStock,
    leadTime: shownLeadTime(leadTime),
    cautions: kind.cautions,
    sentence:
      sentenceOf(told, needs.at(-1)!.day) +
      multipleOf(told, orderMultiplePacks, terms.forDriver) +
      sharedBy(demand) +
      keepsOf(decision) +
      (practice === null ? "" : ` ${practice.sentence}`),
    practice,
    restsOn: {
      pieces: counts.reduce((sum, { pieces }) => sum + pieces, 0),
      readings: counts.reduce((sum, { readings }) => sum + readings, 0),
      current: parts.every(({ model }) => model.current),
    },
  };
}

/** Said where what is bought today does not keep as long as the list looks ahead. */
const keepsOf = ({ keepsThrough }: { keepsThrough: string | null }): string =>
  keepsThrough === null
    ? ""
    : ` What is ordered today keeps until ${keepsThrough}: it is bought for that long, and more must be bought later.`;

interface Told extends ReturnType<typeof restockDecision> {
  onHand: number;
  onOrder: number;
  spares: number;
  ageing: number;
  leastPacks: number;
}

function sentenceOf(told: Told, day: string): string {
  const { need, packs, pieces, late, chanceWithout, chanceWith } = told;
  const aged = told.ageing > 0 ? ` (${told.ageing} of them past shelf life by then)` : "";
  const have = `${told.onHand} on hand, ${told.onOrder} on order, ${told.spares} part-worn${aged}`;
  if (packs === 0)
    return `${have} last through ${day} with a chance of ${percent(chanceWithout)}; ${likelyNeed(need)}.`;
  const [without, withIt] = percents(chanceWithout, chanceWith);
  return `${capitalised(likelyNeed(need))} and there are ${have} (chance of enough: ${without}); ${count(packs, "pack")} (${count(pieces, "piece")}) ${packs === 1 ? "makes" : "make"} it ${withIt}${late ? ", though the order may come too late" : ""}.`;
}

/** Said where the supplier's multiple makes an order larger than it need be. */
function multipleOf({ packs, leastPacks }: Told, orderMultiplePacks: number, forDriver: boolean): string {
  if (packs === leastPacks) return "";
  const atCounter = forDriver ? ", and at a counter no more need be bought" : "";
  return ` The supplier sells it in multiples of ${orderMultiplePacks} packs: ${count(leastPacks, "pack")} would be enough${atCounter}.`;
}
