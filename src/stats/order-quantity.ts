/** How much to order: packs, economic lots, one buy for a season, and lot and reorder level together. */
import { expectedLeft, expectedShort, pmfQuantile, requireWhole } from "./discrete.ts";
import { normalPdf, normalQuantile } from "./normal.ts";
import { normalLossInverse } from "./normal-loss.ts";

/**
 * Units to order now: the fewest whole packs that lift the position above the reorder point, and not less than the
 * minimum order; 0 while the position is above it.
 *
 * @param input.position on hand + on order - owed, a whole number
 * @param input.packSize units per pack, default 1
 * @param input.minimumOrder units, default one pack; rounded up to whole packs
 * @throws {RangeError} if a value is not whole or too small
 * @example
 * ```ts
 * orderQuantity({ position: 2, reorderPoint: 5, packSize: 3 }); // => 6
 * ```
 */
export function orderQuantity(input: {
  position: number;
  reorderPoint: number;
  packSize?: number;
  minimumOrder?: number;
}): number {
  const { position, reorderPoint, packSize = 1, minimumOrder = 1 } = input;
  requireWhole("orderQuantity", "position", position, -Number.MAX_SAFE_INTEGER);
  requireWhole("orderQuantity", "reorderPoint", reorderPoint, -Number.MAX_SAFE_INTEGER);
  requireWhole("orderQuantity", "packSize", packSize, 1);
  requireWhole("orderQuantity", "minimumOrder", minimumOrder, 0);
  if (position > reorderPoint) return 0;
  const packs = Math.max(
    Math.ceil((reorderPoint + 1 - position) / packSize),
    Math.ceil(minimumOrder / packSize),
  );
  return packs * packSize;
}

type LotCosts = { demandRate: number; orderCost: number; holdingCost: number };

/**
 * Economic order quantity sqrt(2 demandRate orderCost / holdingCost) (Harris 1913).
 *
 * @param input.demandRate units per period, of at least 0
 * @param input.orderCost money per order, of at least 0
 * @param input.holdingCost money per unit and period, above 0
 * @returns units, not rounded
 * @throws {RangeError} if a value is out of range
 * @example
 * ```ts
 * economicOrderQuantity({ demandRate: 200, orderCost: 50, holdingCost: 2 }); // => 100
 * ```
 */
export function economicOrderQuantity(input: LotCosts): number {
  const { demandRate, orderCost, holdingCost } = input;
  if (!(demandRate >= 0 && demandRate < Infinity && orderCost >= 0 && orderCost < Infinity)) {
    throw new RangeError("economicOrderQuantity requires a finite demand rate and order cost of at least 0");
  }
  if (!(holdingCost > 0 && holdingCost < Infinity)) {
    throw new RangeError("economicOrderQuantity requires a finite holding cost above 0");
  }
  return Math.sqrt((2 * demandRate * orderCost) / holdingCost);
}

/**
 * The cheaper of the two whole numbers of packs beside the economic order quantity, never below the minimum order.
 *
 * @returns units to order, and ordering plus holding cost per period
 * @throws {RangeError} as `economicOrderQuantity`, or if packSize or minimumOrder is not a whole number of at least 1
 */
export function economicPacks(input: LotCosts & { packSize?: number; minimumOrder?: number }) {
  const { demandRate, orderCost, holdingCost, packSize = 1, minimumOrder = 1 } = input;
  requireWhole("economicPacks", "packSize", packSize, 1);
  requireWhole("economicPacks", "minimumOrder", minimumOrder, 1);
  const best = economicOrderQuantity(input);
  const least = Math.ceil(minimumOrder / packSize);
  const costOf = (quantity: number) => (orderCost * demandRate) / quantity + (holdingCost * quantity) / 2;
  const [below, above] = [Math.floor(best / packSize), Math.floor(best / packSize) + 1].map(
    (packs) => Math.max(least, packs) * packSize,
  );
  const quantity = costOf(below!) <= costOf(above!) ? below! : above!;
  return { quantity, costRate: costOf(quantity) };
}

type NewsvendorCosts = { under: number; over: number };

/** Share of seasons that a single buy should cover: under / (under + over). @throws {RangeError} if a cost is not above 0 */
export function criticalRatio({ under, over }: NewsvendorCosts): number {
  if (!(under > 0 && under < Infinity && over > 0 && over < Infinity)) {
    throw new RangeError("criticalRatio requires finite costs above 0");
  }
  return under / (under + over);
}

/**
 * Cheapest single buy for one horizon: the smallest quantity whose cumulative chance reaches the critical ratio.
 *
 * @param input.demand law of the demand in the horizon
 * @param input.under loss per unit short
 * @param input.over loss per unit left over
 * @returns units, and the expected cost
 * @throws {RangeError} if `demand` is not a law or a cost is not above 0
 */
export function newsvendor(input: { demand: readonly number[] } & NewsvendorCosts) {
  const quantity = pmfQuantile(input.demand, criticalRatio(input));
  return { quantity, cost: newsvendorCost({ ...input, quantity }) };
}

/** Expected cost of a single buy of `quantity` units. @throws {RangeError} as `newsvendor`, or if it is not whole */
export function newsvendorCost(
  input: { demand: readonly number[]; quantity: number } & NewsvendorCosts,
): number {
  const { demand, quantity, under, over } = input;
  return over * expectedLeft(demand, quantity) + under * expectedShort(demand, quantity);
}

/**
 * Cheapest single buy for a normal demand: mean + sd z, at cost (under + over) φ(z) sd.
 *
 * @returns units, not rounded, and the expected cost
 * @throws {RangeError} if sd is below 0 or a cost is not above 0
 */
export function newsvendorNormal(input: { mean: number; sd: number } & NewsvendorCosts) {
  const { mean, sd, under, over } = input;
  if (!(sd >= 0 && Number.isFinite(mean + sd))) {
    throw new RangeError("newsvendorNormal requires a finite mean, and a standard deviation of at least 0");
  }
  const z = normalQuantile(criticalRatio(input));
  return { quantity: mean + sd * z, cost: (under + over) * normalPdf(z) * sd };
}

/**
 * Reorder level for normal demand over the lead time, not rounded: mean + sd z, with Φ(z) = target for cycle service,
 * and sd G(z) = (1 - target) lot for fill (Silver, Pyke & Thomas 2017, from memory).
 *
 * @param input.sd above 0
 * @param input.lot units per order; needed for fill
 * @throws {RangeError} if a value is out of range, or the lot is missing for a fill target
 */
export function normalReorderLevel(input: {
  mean: number;
  sd: number;
  target: { kind: "cycle" | "fill"; value: number };
  lot?: number;
}): number {
  const { mean, sd, target, lot } = input;
  if (!(sd > 0 && Number.isFinite(mean + sd))) {
    throw new RangeError("normalReorderLevel requires a finite mean, and a standard deviation above 0");
  }
  if (!(target.value > 0 && target.value < 1)) {
    throw new RangeError("normalReorderLevel requires a target in (0, 1)");
  }
  if (target.kind === "cycle") return mean + sd * normalQuantile(target.value);
  if (!(lot !== undefined && lot > 0))
    throw new RangeError("normalReorderLevel requires a lot for a fill target");
  return mean + sd * normalLossInverse(((1 - target.value) * lot) / sd);
}

/**
 * Lot and reorder level together, by the alternating conditions of Hadley & Whitin (1963): the chance of a shortage in
 * a cycle is lot holdingCost / (shortageCost demandRate), and
 * lot = sqrt(2 demandRate (orderCost + shortageCost E short) / holdingCost).
 *
 * @param input.shortageCost money per unit short
 * @param input.levelAt reorder level at which the lead-time demand exceeds it with the given chance
 * @param input.shortAt expected units short per cycle with the given reorder level
 * @param input.rounds most rounds, default 500; each one narrows the gap
 * @returns lot and reorder level, not rounded, and expected units short per cycle
 * @throws {RangeError} if a cost is out of range, or shortages are so cheap that no reorder level exists
 */
export function lotAndReorderLevel(
  input: LotCosts & {
    shortageCost: number;
    levelAt: (shortageChance: number) => number;
    shortAt: (level: number) => number;
    rounds?: number;
  },
) {
  const { demandRate, orderCost, holdingCost, shortageCost, levelAt, shortAt, rounds = 500 } = input;
  let lot = economicOrderQuantity(input);
  let level = 0;
  let short = 0;
  for (let round = 0; round < rounds; round++) {
    const chance = (lot * holdingCost) / (shortageCost * demandRate);
    if (!(chance > 0 && chance < 1)) {
      throw new RangeError("lotAndReorderLevel requires shortages that cost more than holding a lot");
    }
    level = levelAt(chance);
    short = shortAt(level);
    const next = Math.sqrt((2 * demandRate * (orderCost + shortageCost * short)) / holdingCost);
    const settled = Math.abs(next - lot) <= 1e-13 * next;
    lot = next;
    if (settled) break;
  }
  return { lot, reorderLevel: level, expectedShort: short };
}
