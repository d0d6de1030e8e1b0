/** What service a stocking rule gives when demand comes in batches and orders go out in packs. */
import { pmfMean, requireLaw, requireWhole } from "./discrete.ts";

/** One value that the inventory position (on hand + on order - owed) takes just after ordering. */
export type PositionPoint = { position: number; probability: number };

/** Long-run measures; shares in [0, 1], the others in units. */
export type ServiceMeasures = {
  /** share of time with stock on hand */
  readyRate: number;
  /** share of the units demanded that are met from stock at once */
  fillRate: number;
  /** share of the customers whose whole batch is met at once */
  completeOrderFillRate: number;
  /** mean number of units owed */
  backorders: number;
  /** mean number of units on hand */
  onHand: number;
};

/**
 * Service under continuous review: stock net of what is owed at a time is the position one lead time earlier minus
 * the lead-time demand (Hadley & Whitin 1963; Axsäter 2015, chapter 5).
 *
 * @param input.leadTimeDemand law of the demand over the lead time
 * @param input.positions law of the inventory position, see `orderPositions`
 * @param input.batch element j is the chance that a customer takes j units, default always one
 * @throws {RangeError} if a law is none, or no batch takes a unit
 */
export function serviceMeasures(input: {
  leadTimeDemand: readonly number[];
  positions: readonly PositionPoint[];
  batch?: readonly number[];
}): ServiceMeasures {
  const { leadTimeDemand, positions, batch = [0, 1] } = input;
  requireLaw("serviceMeasures", leadTimeDemand);
  requirePositions("serviceMeasures", positions);
  const meanBatch = pmfMean(batch);
  if (!(meanBatch > 0)) throw new RangeError("serviceMeasures requires batches of at least one unit");
  const measures = { readyRate: 0, fillRate: 0, completeOrderFillRate: 0, backorders: 0, onHand: 0 };
  const someone = 1 - batch[0]!;
  const served = batchServed(batch);
  for (const { position, probability } of positions) {
    for (let demand = 0; demand < leadTimeDemand.length; demand++) {
      const weight = probability * leadTimeDemand[demand]!;
      const net = position - demand;
      if (net <= 0) {
        measures.backorders -= weight * net;
        continue;
      }
      const { units, whole } = served(net);
      measures.readyRate += weight;
      measures.onHand += weight * net;
      measures.fillRate += (weight * units) / meanBatch;
      measures.completeOrderFillRate += (weight * whole) / someone;
    }
  }
  return measures;
}

/** Expected units served and chance of a whole batch served, from `stock` units on hand. */
function batchServed(batch: readonly number[]) {
  const units = [0];
  const whole = [0];
  let above = 1 - batch[0]!;
  for (let stock = 1; stock < batch.length; stock++) {
    units.push(units[stock - 1]! + above);
    whole.push(whole[stock - 1]! + batch[stock]!);
    above -= batch[stock]!;
  }
  const last = units.length - 1;
  return (stock: number) => ({
    units: units[Math.min(stock, last)]!,
    whole: whole[Math.min(stock, last)]!,
  });
}

/**
 * Law of the inventory position just after ordering: whenever it is at or below the reorder point, the smallest
 * number of packs is ordered that lifts it above, and not less than the minimum order.
 *
 * With single units, or with packs and batches that reach every remainder, it is uniform on the pack size values
 * above the reorder point (Hadley & Whitin 1963). A minimum order of several packs breaks that; the law is then the
 * long-run law of the chain that starts at the highest position.
 *
 * @param input.reorderPoint whole number; below 0 means that so many units may be owed before ordering
 * @param input.packSize units per pack, default 1
 * @param input.minimumOrder units, default one pack; rounded up to whole packs
 * @param input.batch law of the units taken between two looks at the position, default always one
 * @returns positions with a chance above 0, ascending
 * @throws {RangeError} if a value is not whole or too small, or `batch` is not a law
 */
export function orderPositions(input: {
  reorderPoint: number;
  packSize?: number;
  minimumOrder?: number;
  batch?: readonly number[];
}): PositionPoint[] {
  const { reorderPoint, packSize = 1, minimumOrder = 1, batch = [0, 1] } = input;
  requireWhole("orderPositions", "reorderPoint", reorderPoint, -Number.MAX_SAFE_INTEGER);
  requireWhole("orderPositions", "packSize", packSize, 1);
  requireWhole("orderPositions", "minimumOrder", minimumOrder, 0);
  requireLaw("orderPositions", batch);
  const least = Math.max(1, Math.ceil(minimumOrder / packSize)) * packSize;
  const single = batch.every((chance, size) => chance === 0 || size <= 1);
  const law = single ? new Array<number>(least).fill(1 / least) : chainLaw({ packSize, least, batch });
  return law.flatMap((probability, offset) =>
    probability > 1e-14 ? [{ position: reorderPoint + 1 + offset, probability }] : [],
  );
}

/** Long-run law of the offset above the reorder point, by powers of the lazy chain, which cannot cycle. */
function chainLaw(order: { packSize: number; least: number; batch: readonly number[] }): number[] {
  const { packSize, least, batch } = order;
  const moves = folded(order);
  let law = new Array<number>(least).fill(0);
  law[least - 1] = 1;
  const stay = batch[0]!;
  for (let round = 0; round < 200_000; round++) {
    const next = law.map((probability) => probability * (0.5 + 0.5 * stay));
    for (let from = 0; from < least; from++) {
      if (law[from] === 0) continue;
      for (const { offset, chance } of moves[from]!) next[offset]! += 0.5 * law[from]! * chance;
    }
    const change = next.reduce((sum, probability, i) => sum + Math.abs(probability - law[i]!), 0);
    law = next;
    if (change < 1e-14 * packSize) break;
  }
  const sum = law.reduce((total, probability) => total + probability, 0);
  return law.map((probability) => probability / sum);
}

/** Where each batch leads from each offset, with the batches that lead to the same offset added up. */
function folded(order: { packSize: number; least: number; batch: readonly number[] }) {
  const { packSize, least, batch } = order;
  return Array.from({ length: least }, (_, from) => {
    const chances = new Map<number, number>();
    for (let size = 1; size < batch.length; size++) {
      if (batch[size] === 0) continue;
      let offset = from - size;
      if (offset < 0) offset += Math.max(least, Math.ceil(-offset / packSize) * packSize);
      chances.set(offset, (chances.get(offset) ?? 0) + batch[size]!);
    }
    return [...chances].map(([offset, chance]) => ({ offset, chance }));
  });
}

/**
 * Share of the demand met from stock when the position is lifted to `orderUpTo` at every review:
 * 1 - [B(L + R) - B(L)] / E D(R), with B the expected number short over the lead time L and over L plus the review
 * period R. Leaving out B(L), as textbooks do, counts old shortages twice.
 *
 * @param input.leadTimeDemand law of the demand over the lead time
 * @param input.protectionDemand law of the demand over lead time plus review period
 * @param input.orderUpTo whole units
 * @returns in [0, 1]; 1 where no demand is expected in a review period
 * @throws {RangeError} if a law is none or orderUpTo is not whole
 */
export function periodicFillRate(input: {
  leadTimeDemand: readonly number[];
  protectionDemand: readonly number[];
  orderUpTo: number;
}): number {
  const { leadTimeDemand, protectionDemand, orderUpTo } = input;
  requireLaw("periodicFillRate", leadTimeDemand);
  requireLaw("periodicFillRate", protectionDemand);
  requireWhole("periodicFillRate", "orderUpTo", orderUpTo, -Number.MAX_SAFE_INTEGER);
  const length = Math.max(leadTimeDemand.length, protectionDemand.length);
  // Both sums run over the survival functions, from the far end: no difference of near-equal numbers.
  let later = 0;
  let earlier = 0;
  let unmet = 0;
  let total = 0;
  for (let k = length - 1; k >= 1; k--) {
    later += protectionDemand[k] ?? 0;
    earlier += leadTimeDemand[k] ?? 0;
    total += later - earlier;
    if (k > orderUpTo) unmet += later - earlier;
  }
  if (!(total > 1e-12)) return 1;
  // Below 0 every unit waits: what is owed at the start of the interval is not demand of the interval.
  return Math.min(1, Math.max(0, 1 - unmet / total));
}

function requirePositions(caller: string, positions: readonly PositionPoint[]): void {
  let sum = 0;
  for (const { position, probability } of positions) {
    requireWhole(caller, "position", position, -Number.MAX_SAFE_INTEGER);
    if (!(probability >= 0)) throw new RangeError(`${caller} requires probabilities that are not below 0`);
    sum += probability;
  }
  if (!(Math.abs(sum - 1) <= 1e-9)) throw new RangeError(`${caller} requires position chances that sum to 1`);
}
