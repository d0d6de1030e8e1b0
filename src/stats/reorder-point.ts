/** Reorder point and order-up-to level for a wanted service, from the demand and the lead time. */
import { requireTarget, type ServiceTarget } from "./base-stock.ts";
import { type DemandRate, demandProcess } from "./demand-process.ts";
import { expectedShortByStock, LEVEL_GUARD, pmfMean, requireLaw } from "./discrete.ts";
import {
  demandOverLeadTime,
  leadTimeDemandMoments,
  leadTimePoints,
  wholePeriodLeadTimes,
} from "./lead-time.ts";
import { normalCdf } from "./normal.ts";
import { normalLoss } from "./normal-loss.ts";
import {
  batchServed,
  leastOrder,
  netStock,
  orderPositions,
  type PositionPoint,
  periodicFillByStock,
} from "./service-measures.ts";

/** When to order and how far up, and what that gives. Pieces are whole; rates are in [0, 1]. */
export type StockLevels = {
  /** order when on hand + on order - owed is at or below this; -1: order only what is owed */
  reorderPoint: number;
  /** highest level that an order lifts to */
  orderUpTo: number;
  /** what is held above the mean demand of the interval that the stock has to cover */
  safetyStock: number;
  /** chance of no shortage before the next receipt */
  cycleServiceLevel: number;
  /** share of the demand met from stock at once */
  fillRate: number;
  /** expected units short at the end of the interval that the stock has to cover */
  expectedShort: number;
};

type Packs = { packSize?: number; minimumOrder?: number };

/**
 * Smallest reorder point that meets the target, with the level to order up to.
 *
 * Continuous review (`reviewPeriod` 0): an order is placed as soon as the position is at or below the reorder point,
 * and has to cover the demand of the lead time. Periodic review: it is placed at the review at which that is so, and
 * has to cover lead time plus review period. Measures are averages over the positions that packs and a minimum
 * order lead to. A gamma lead time is mixed exactly for Poisson demand and by 32 Gauss nodes otherwise; orders do not
 * overtake one another. Normal demand is worked out with continuous formulas and rounded up to whole units.
 *
 * @param input.demand law of the demand per period, independent from period to period
 * @param input.leadTime mean and standard deviation (default 0), in periods
 * @param input.reviewPeriod in periods, default 0: continuous review
 * @param input.target service wanted, in (0, 1)
 * @param input.packSize units per pack, default 1
 * @param input.minimumOrder units, default one pack
 * @throws {RangeError} if a value is out of range
 */
export function stockLevels(
  input: {
    demand: DemandRate;
    leadTime: { mean: number; sd?: number };
    reviewPeriod?: number;
    target: ServiceTarget;
  } & Packs,
): StockLevels {
  const { demand, leadTime, reviewPeriod = 0, target, ...packs } = input;
  requireTarget("stockLevels", target);
  if (!(reviewPeriod >= 0 && reviewPeriod < Infinity)) {
    throw new RangeError("stockLevels requires a finite review period of at least 0");
  }
  if (demand.kind === "normal") {
    const moments = { demand: { mean: demand.mean, sd: demand.sd }, leadTime };
    return normalLevels({
      leadTime: leadTimeDemandMoments(moments),
      protection: leadTimeDemandMoments({ ...moments, reviewPeriod }),
      target,
      ...packs,
    });
  }
  const process = demandProcess(demand);
  const points = demand.kind === "table" ? wholePeriodLeadTimes(leadTime) : leadTimePoints(leadTime);
  const leadTimeDemand = demandOverLeadTime({ demandDuring: process.during, leadTimes: points });
  if (reviewPeriod === 0) {
    return levelsForDemand({ leadTimeDemand, batch: process.batch, target, ...packs });
  }
  const protectionDemand = demandOverLeadTime({
    demandDuring: (duration) => process.during(duration + reviewPeriod),
    leadTimes: points,
  });
  const reviewDemand = process.during(reviewPeriod);
  return levelsForDemand({ leadTimeDemand, protectionDemand, batch: reviewDemand, target, ...packs });
}

/**
 * The same from the demand laws themselves, wherever they come from; so also for replacements that fall due on a
 * worn population, whose demand is neither Poisson nor the same in every period.
 *
 * @param input.leadTimeDemand law of the demand over the lead time
 * @param input.protectionDemand law of the demand over lead time plus review period; left out under continuous review
 * @param input.batch continuous review: law of the units that one customer takes, default always one; periodic review:
 *   law of the demand of a review period, needed only for a minimum order of several packs
 * @throws {RangeError} if a value is out of range
 */
export function levelsForDemand(
  input: {
    leadTimeDemand: readonly number[];
    protectionDemand?: readonly number[];
    batch?: readonly number[];
    target: ServiceTarget;
  } & Packs,
): StockLevels {
  const { leadTimeDemand, protectionDemand, batch = [0, 1], target, packSize = 1, minimumOrder = 1 } = input;
  requireTarget("levelsForDemand", target);
  requireLaw("levelsForDemand", leadTimeDemand);
  if (protectionDemand !== undefined) requireLaw("levelsForDemand", protectionDemand);
  const positions = orderPositions({ reorderPoint: -1, packSize, minimumOrder, batch });
  const measure =
    protectionDemand === undefined
      ? continuousMeasures({ leadTimeDemand, batch, positions })
      : periodicMeasures({ leadTimeDemand, protectionDemand, positions });
  const covered = protectionDemand ?? leadTimeDemand;
  if (pmfMean(covered) === 0) return nothingNeeded(positions);
  const reorderPoint = smallestWhole(-1, covered.length + batch.length, (candidate) => {
    const { cycleServiceLevel, fillRate } = measure(candidate);
    return (target.kind === "cycle" ? cycleServiceLevel : fillRate) >= target.value - LEVEL_GUARD;
  });
  const highest = positions[positions.length - 1]!.position;
  const held = protectionDemand === undefined ? reorderPoint : reorderPoint + 1;
  return {
    reorderPoint,
    orderUpTo: reorderPoint + 1 + highest,
    safetyStock: held - pmfMean(covered),
    ...measure(reorderPoint),
  };
}

/** Without demand nothing is held, and nothing is short. */
function nothingNeeded(positions: readonly PositionPoint[]): StockLevels {
  const orderUpTo = positions[positions.length - 1]!.position;
  return { reorderPoint: -1, orderUpTo, safetyStock: 0, cycleServiceLevel: 1, fillRate: 1, expectedShort: 0 };
}

type Measures = Pick<StockLevels, "cycleServiceLevel" | "fillRate" | "expectedShort">;

/** Positions are given for the reorder point -1 and shift with it; so the law of the stock is worked out once. */
function continuousMeasures(input: {
  leadTimeDemand: readonly number[];
  batch: readonly number[];
  positions: readonly PositionPoint[];
}): (reorderPoint: number) => Measures {
  const { leadTimeDemand, batch, positions } = input;
  const { highest, chances } = netStock(positions, leadTimeDemand);
  const served = batchServed(batch);
  const meanBatch = pmfMean(batch);
  const atOrder = positionsAtOrder(positions, batch);
  const cumulative = cumulativeOf(leadTimeDemand);
  return (reorderPoint) => {
    const shift = reorderPoint + 1;
    const measures = { cycleServiceLevel: 0, fillRate: 0, expectedShort: 0 };
    chances.forEach((chance, below) => {
      const net = highest + shift - below;
      if (net > 0) measures.fillRate += (chance * served(net).units) / meanBatch;
      else measures.expectedShort -= chance * net;
    });
    for (const { position, probability } of atOrder) {
      measures.cycleServiceLevel += probability * cumulative(position + shift);
    }
    return capped(measures);
  };
}

/**
 * Where the position stands when an order is placed: exactly at the reorder point for single units, below it by the
 * undershoot where a batch jumps over it.
 */
function positionsAtOrder(positions: readonly PositionPoint[], batch: readonly number[]): PositionPoint[] {
  const reached = new Map<number, number>();
  let total = 0;
  for (const { position, probability } of positions) {
    for (let size = position + 1; size < batch.length; size++) {
      const chance = probability * batch[size]!;
      if (chance === 0) continue;
      reached.set(position - size, (reached.get(position - size) ?? 0) + chance);
      total += chance;
    }
  }
  return [...reached].map(([position, chance]) => ({ position, probability: chance / total }));
}

function periodicMeasures(input: {
  leadTimeDemand: readonly number[];
  protectionDemand: readonly number[];
  positions: readonly PositionPoint[];
}): (reorderPoint: number) => Measures {
  const { leadTimeDemand, protectionDemand, positions } = input;
  const cumulative = cumulativeOf(protectionDemand);
  const fill = periodicFillByStock(leadTimeDemand, protectionDemand);
  const short = expectedShortByStock(protectionDemand);
  return (reorderPoint) => {
    const measures = { cycleServiceLevel: 0, fillRate: 0, expectedShort: 0 };
    for (const { position, probability } of positions) {
      const stock = position + reorderPoint + 1;
      measures.cycleServiceLevel += probability * cumulative(stock);
      measures.fillRate += probability * (fill[Math.min(stock, fill.length - 1)] ?? 0);
      measures.expectedShort += probability * (stock < 0 ? short[0]! - stock : (short[stock] ?? 0));
    }
    return capped(measures);
  };
}

/** Chance of at most k, for any whole k. */
function cumulativeOf(law: readonly number[]): (k: number) => number {
  let sum = 0;
  const sums = law.map((chance) => {
    sum += chance;
    return Math.min(1, sum);
  });
  return (k) => (k < 0 ? 0 : sums[Math.min(k, sums.length - 1)]!);
}

/** Sums of chances may pass 1 by rounding. */
function capped(measures: Measures): Measures {
  const { cycleServiceLevel, fillRate, expectedShort } = measures;
  return {
    cycleServiceLevel: Math.min(1, cycleServiceLevel),
    fillRate: Math.min(1, fillRate),
    expectedShort,
  };
}

/** Smallest whole number from `low` for which a condition holds that stays true once true. */
function smallestWhole(low: number, high: number, holds: (candidate: number) => boolean): number {
  let failing = low - 1;
  let holding = high;
  while (holding - failing > 1) {
    const middle = Math.floor((failing + holding) / 2);
    if (holds(middle)) holding = middle;
    else failing = middle;
  }
  return holding;
}

type Moments = { mean: number; sd: number };

function normalLevels(
  input: { leadTime: Moments; protection: Moments; target: ServiceTarget } & Packs,
): StockLevels {
  const { leadTime, protection, target, packSize = 1, minimumOrder = 1 } = input;
  const lot = leastOrder("stockLevels", packSize, minimumOrder);
  const periodic = protection.mean > leadTime.mean;
  const measure = (reorderPoint: number): Measures => {
    const from = periodic ? reorderPoint + 1 : reorderPoint;
    const unmet = meanShort(protection, from, lot) - (periodic ? meanShort(leadTime, from, lot) : 0);
    const share = periodic
      ? unmet / (protection.mean - leadTime.mean)
      : (shortAt(protection, from) - shortAt(protection, from + lot)) / lot;
    return {
      cycleServiceLevel: belowAt(protection, from),
      fillRate: Math.min(1, Math.max(0, 1 - share)),
      expectedShort: meanShort(protection, from, lot),
    };
  };
  const ceiling = Math.ceil(protection.mean + 40 * protection.sd) + 1;
  const reorderPoint = smallestWhole(-1, ceiling, (candidate) => {
    const { cycleServiceLevel, fillRate } = measure(candidate);
    return (target.kind === "cycle" ? cycleServiceLevel : fillRate) >= target.value - LEVEL_GUARD;
  });
  const held = periodic ? reorderPoint + 1 : reorderPoint;
  return {
    reorderPoint,
    orderUpTo: reorderPoint + lot,
    safetyStock: held - protection.mean,
    ...measure(reorderPoint),
  };
}

function belowAt({ mean, sd }: Moments, stock: number): number {
  if (sd === 0) return stock >= mean ? 1 : 0;
  return normalCdf((stock - mean) / sd);
}

function shortAt({ mean, sd }: Moments, stock: number): number {
  if (sd === 0) return Math.max(0, mean - stock);
  return sd * normalLoss((stock - mean) / sd);
}

/** Average over the positions of one lot; a large lot is represented by 200 evenly spaced positions. */
function meanShort(moments: Moments, from: number, lot: number): number {
  const points = Math.min(lot, 200);
  const apart = lot / points;
  let sum = 0;
  for (let i = 0; i < points; i++) sum += shortAt(moments, from + apart * i + (apart - 1) / 2);
  return sum / points;
}
