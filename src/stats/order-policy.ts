/** Cheapest ordering rules when holding, owing and ordering have a price. */
import { expectedLeft, expectedShort, pmfQuantile, requireLaw, requireWhole } from "./discrete.ts";

type PolicyCosts = {
  /** money per unit on hand and period */
  holdingCost: number;
  /** money per unit owed and period */
  backorderCost: number;
  /** money per order */
  orderCost: number;
};

const MOST_STEPS = 100_000;

/**
 * Long-run cost per period of ordering a fixed lot when the position falls to the reorder point, single units:
 * [orderCost demandRate + Σ over y of (holdingCost E(y - D)+ + backorderCost E(D - y)+)] / lot, y over the lot positions
 * above the reorder point (Hadley & Whitin 1963).
 *
 * @param input.leadTimeDemand law of the demand over the lead time
 * @throws {RangeError} if a value is out of range
 */
export function lotReorderCost(
  input: PolicyCosts & {
    leadTimeDemand: readonly number[];
    demandRate: number;
    reorderPoint: number;
    lot: number;
  },
): number {
  requireCosts("lotReorderCost", input);
  const { leadTimeDemand, demandRate, reorderPoint, lot, orderCost } = input;
  requireWhole("lotReorderCost", "lot", lot, 1);
  let sum = orderCost * demandRate;
  for (let y = reorderPoint + 1; y <= reorderPoint + lot; y++) sum += positionCost(input, leadTimeDemand, y);
  return sum / lot;
}

/**
 * The cheapest lot and reorder point for single units (Federgruen & Zheng 1992): the cost of a position is convex, so
 * the best lot of one more unit takes the cheaper of the two neighbouring positions, as long as that lies below the
 * average.
 *
 * @throws {RangeError} if a value is out of range
 */
export function bestLotReorder(
  input: PolicyCosts & { leadTimeDemand: readonly number[]; demandRate: number },
): { reorderPoint: number; lot: number; costRate: number } {
  requireCosts("bestLotReorder", input);
  const { leadTimeDemand, demandRate, orderCost, backorderCost, holdingCost } = input;
  let low = pmfQuantile(leadTimeDemand, backorderCost / (backorderCost + holdingCost));
  let high = low;
  let sum = orderCost * demandRate + positionCost(input, leadTimeDemand, low);
  for (let step = 0; step < MOST_STEPS; step++) {
    const below = positionCost(input, leadTimeDemand, low - 1);
    const above = positionCost(input, leadTimeDemand, high + 1);
    const lot = high - low + 1;
    if (Math.min(below, above) >= sum / lot) break;
    sum += Math.min(below, above);
    if (below < above) low--;
    else high++;
  }
  const lot = high - low + 1;
  return { reorderPoint: low - 1, lot, costRate: sum / lot };
}

/**
 * Long-run cost per period of ordering up to `orderUpTo` at each review at which the position is at or below
 * `reorderPoint`; no lead time, unmet demand waits. By renewal of the demand from orderUpTo downwards.
 *
 * @param input.demand law of the demand per period, able to be above 0
 * @throws {RangeError} if a value is out of range or orderUpTo is not above reorderPoint
 */
export function orderUpToCost(
  input: PolicyCosts & { demand: readonly number[]; reorderPoint: number; orderUpTo: number },
): number {
  requireCosts("orderUpToCost", input);
  const { demand, reorderPoint, orderUpTo, orderCost } = input;
  requireWhole("orderUpToCost", "orderUpTo", orderUpTo, reorderPoint + 1);
  const visits = visitsPerCycle(demand);
  let cost = orderCost;
  let periods = 0;
  for (let below = 0; below < orderUpTo - reorderPoint; below++) {
    cost += visits(below) * positionCost(input, demand, orderUpTo - below);
    periods += visits(below);
  }
  return cost / periods;
}

/**
 * The cheapest reorder point and order-up-to level (Zheng & Federgruen 1991); no lead time, unmet demand waits. With a
 * lead time, give the demand over lead time plus review period as `coveredDemand`.
 *
 * @param input.demand law of the demand per period, able to be above 0
 * @param input.coveredDemand law of the demand that the position has to cover, default `demand`
 * @throws {RangeError} if a value is out of range
 */
export function bestOrderUpTo(
  input: PolicyCosts & { demand: readonly number[]; coveredDemand?: readonly number[] },
): { reorderPoint: number; orderUpTo: number; costRate: number } {
  requireCosts("bestOrderUpTo", input);
  const { demand, coveredDemand = demand, orderCost, holdingCost, backorderCost } = input;
  const visits = visitsPerCycle(demand);
  const known = new Map<number, number>();
  const costAt = (position: number) => {
    const found = known.get(position) ?? positionCost(input, coveredDemand, position);
    known.set(position, found);
    return found;
  };
  const costOf = (reorderPoint: number, orderUpTo: number) => {
    let cost = orderCost;
    let periods = 0;
    for (let below = 0; below < orderUpTo - reorderPoint; below++) {
      cost += visits(below) * costAt(orderUpTo - below);
      periods += visits(below);
    }
    return cost / periods;
  };
  const cheapest = pmfQuantile(coveredDemand, backorderCost / (backorderCost + holdingCost));
  let orderUpTo = cheapest;
  let reorderPoint = cheapest - 1;
  for (let i = 0; i < MOST_STEPS && costOf(reorderPoint, orderUpTo) > costAt(reorderPoint); i++)
    reorderPoint--;
  let best = costOf(reorderPoint, orderUpTo);
  for (let level = cheapest + 1; level < cheapest + MOST_STEPS && costAt(level) <= best; level++) {
    if (!(costOf(reorderPoint, level) < best)) continue;
    orderUpTo = level;
    while (reorderPoint + 1 < orderUpTo && costOf(reorderPoint, orderUpTo) <= costAt(reorderPoint + 1)) {
      reorderPoint++;
    }
    best = costOf(reorderPoint, orderUpTo);
  }
  return { reorderPoint, orderUpTo, costRate: best };
}

/** Expected periods per cycle in which the position is `below` units under the order-up-to level. */
function visitsPerCycle(demand: readonly number[]): (below: number) => number {
  requireLaw("orderUpToCost", demand);
  const moving = 1 - demand[0]!;
  if (!(moving > 1e-12)) throw new RangeError("orderUpToCost requires a demand that can be above 0");
  const visits = [1 / moving];
  return (below) => {
    while (visits.length <= below) {
      const n = visits.length;
      let sum = 0;
      for (let size = 1; size <= n && size < demand.length; size++) sum += demand[size]! * visits[n - size]!;
      visits.push(sum / moving);
    }
    return visits[below]!;
  };
}

function positionCost(costs: PolicyCosts, demand: readonly number[], position: number): number {
  return (
    costs.holdingCost * expectedLeft(demand, position) + costs.backorderCost * expectedShort(demand, position)
  );
}

function requireCosts(caller: string, costs: PolicyCosts): void {
  const { holdingCost, backorderCost, orderCost } = costs;
  if (!(holdingCost > 0 && holdingCost < Infinity && backorderCost > 0 && backorderCost < Infinity)) {
    throw new RangeError(`${caller} requires finite holding and backorder costs above 0`);
  }
  if (!(orderCost >= 0 && orderCost < Infinity)) {
    throw new RangeError(`${caller} requires a finite order cost of at least 0`);
  }
}
