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

/** Chances below this are passed over. */
const NO_CHANCE = 1e-18;
const MOST_CYCLES = 5000;

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
  const { highest, chances } = netStock(positions, leadTimeDemand);
  const someone = 1 - batch[0]!;
  const served = batchServed(batch);
  const measures = { readyRate: 0, fillRate: 0, completeOrderFillRate: 0, backorders: 0, onHand: 0 };
  chances.forEach((chance, below) => {
    const net = highest - below;
    if (net <= 0) {
      measures.backorders -= chance * net;
      return;
    }
    const { units, whole } = served(net);
    measures.readyRate += chance;
    measures.onHand += chance * net;
    measures.fillRate += (chance * units) / meanBatch;
    measures.completeOrderFillRate += (chance * whole) / someone;
  });
  // Sums of chances may pass 1 by rounding.
  for (const share of ["readyRate", "fillRate", "completeOrderFillRate"] as const) {
    measures[share] = Math.min(1, measures[share]);
  }
  return measures;
}

/** Law of on hand - owed: element i is the chance of `highest` - i. */
export function netStock(
  positions: readonly PositionPoint[],
  leadTimeDemand: readonly number[],
): { highest: number; chances: Float64Array } {
  const highest = positions.reduce((most, { position }) => Math.max(most, position), -Infinity);
  const lowest = positions.reduce((least, { position }) => Math.min(least, position), Infinity);
  const chances = new Float64Array(highest - lowest + leadTimeDemand.length);
  for (const { position, probability } of positions) {
    const start = highest - position;
    for (let k = 0; k < leadTimeDemand.length; k++) chances[start + k]! += probability * leadTimeDemand[k]!;
  }
  return { highest, chances };
}

/** Expected units served and chance of a whole batch served, from `stock` units on hand. */
export function batchServed(batch: readonly number[]) {
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
  requireLaw("orderPositions", batch);
  const least = leastOrder("orderPositions", packSize, minimumOrder);
  const single = batch.every((chance, size) => chance === 0 || size <= 1);
  // A walk round the pack that can step by one visits every remainder equally often, whatever else it does.
  const even = single || (least === packSize && (batch[1] ?? 0) > 0);
  const law = even ? new Array<number>(least).fill(1 / least) : chainLaw({ packSize, least, batch });
  return law.flatMap((probability, offset) =>
    probability > 1e-14 ? [{ position: reorderPoint + 1 + offset, probability }] : [],
  );
}

/** Units of the smallest order: whole packs. @throws {RangeError} if a value is not whole or too small */
export function leastOrder(caller: string, packSize: number, minimumOrder: number): number {
  requireWhole(caller, "packSize", packSize, 1);
  requireWhole(caller, "minimumOrder", minimumOrder, 0);
  return Math.max(1, Math.ceil(minimumOrder / packSize)) * packSize;
}

/**
 * Long-run law of the offset above the reorder point, over cycles from order to order. From the law just after an order,
 * renewal of the batches downwards gives the expected visits to each offset, and the undershoot gives the law after the next
 * order: a chain whose long-run law is the solution of its balance equations.
 */
function chainLaw(order: { packSize: number; least: number; batch: readonly number[] }): number[] {
  const { packSize, least, batch } = order;
  const moving = 1 - batch[0]!;
  const taken = batch.map((chance, size) => (size === 0 ? 0 : chance / moving));
  const passing = renewalMass(taken, least);
  const lifted = liftedFrom(taken, { packSize, least });
  const next = (start: number) => {
    const after = new Array<number>(least).fill(0);
    for (let down = 0; down <= start; down++) {
      const visits = passing[down]!;
      if (visits < NO_CHANCE) continue;
      const row = lifted[start - down]!;
      for (let offset = 0; offset < least; offset++) after[offset]! += visits * row[offset]!;
    }
    return after;
  };
  const entered = new Array<number>(least).fill(0);
  for (const [offset, chance] of longRunLaw(next, least - 1)) entered[offset] = chance;
  const visits = visitsFrom(entered, passing);
  const sum = visits.reduce((total, value) => total + value, 0);
  return visits.map((value) => value / sum);
}

/**
 * The long-run law of a chain that starts in one state, over the states that it can come to, by elimination without
 * subtraction (Grassmann, Taksar & Heyman 1985, from memory). Where it can end in one of several parts that it never
 * leaves, laws are followed instead; half of each new one is mixed with the old, so that such as alternate settle.
 */
function longRunLaw(next: (state: number) => number[], start: number): [state: number, chance: number][] {
  const rows = new Map<number, number[]>();
  const open = [start];
  for (let state = open.pop(); state !== undefined; state = open.pop()) {
    if (rows.has(state)) continue;
    const row = next(state);
    rows.set(state, row);
    row.forEach((chance, other) => {
      if (chance > NO_CHANCE && !rows.has(other)) open.push(other);
    });
  }
  const states = [...rows.keys()];
  const matrix = states.map((from) => Float64Array.from(states, (to) => rows.get(from)![to]!));
  return (
    eliminated(matrix)?.map((chance, i) => [states[i]!, chance]) ??
    followed(matrix).map((p, i) => [states[i]!, p])
  );
}

/** Null where the states that are left cannot be come to from one of those taken out. */
function eliminated(matrix: readonly Float64Array[]): number[] | null {
  const left = matrix.map((row) => Float64Array.from(row));
  for (let n = left.length - 1; n > 0; n--) {
    let leaves = 0;
    for (let j = 0; j < n; j++) leaves += left[n]![j]!;
    if (!(leaves > NO_CHANCE)) return null;
    for (let i = 0; i < n; i++) {
      const share = left[i]![n]! / leaves;
      left[i]![n] = share;
      if (share > 0) for (let j = 0; j < n; j++) left[i]![j]! += share * left[n]![j]!;
    }
  }
  const law = [1];
  for (let n = 1; n < left.length; n++) {
    let sum = 0;
    for (let i = 0; i < n; i++) sum += law[i]! * left[i]![n]!;
    law.push(sum);
  }
  const total = law.reduce((sum, chance) => sum + chance, 0);
  return law.map((chance) => chance / total);
}

function followed(matrix: readonly Float64Array[]): number[] {
  let law = matrix.map((_, i): number => (i === 0 ? 1 : 0));
  for (let round = 0; round < MOST_CYCLES; round++) {
    const again = law.map((_, to) => law.reduce((sum, chance, from) => sum + chance * matrix[from]![to]!, 0));
    const change = law.reduce((sum, chance, i) => sum + Math.abs(again[i]! - chance), 0);
    law = law.map((chance, i) => (chance + again[i]!) / 2);
    if (change < 1e-13) break;
  }
  return law;
}

/** Chance that batches, added up, come to exactly 0, 1, 2, … units on the way. */
function renewalMass(taken: readonly number[], length: number): number[] {
  const mass = [1];
  for (let units = 1; units < length; units++) {
    let sum = 0;
    for (let size = 1; size <= units && size < taken.length; size++)
      sum += taken[size]! * mass[units - size]!;
    mass.push(sum);
  }
  return mass;
}

function visitsFrom(entered: readonly number[], passing: readonly number[]): number[] {
  const visits = new Array<number>(entered.length).fill(0);
  for (let start = 0; start < entered.length; start++) {
    if (entered[start]! < NO_CHANCE) continue;
    for (let down = 0; down <= start; down++) visits[start - down]! += entered[start]! * passing[down]!;
  }
  return visits;
}

/**
 * For each offset, the chance to place an order from it, by the offset that the order lifts to: the smallest number of
 * packs, at least the minimum, that lifts the position above the reorder point.
 */
function liftedFrom(taken: readonly number[], order: { packSize: number; least: number }): Float64Array[] {
  const { packSize, least } = order;
  return Array.from({ length: least }, (_, offset) => {
    const row = new Float64Array(least);
    for (let size = offset + 1; size < taken.length; size++) {
      const under = size - offset;
      const offsetAfter = Math.max(least, Math.ceil(under / packSize) * packSize) - under;
      row[offsetAfter]! += taken[size]!;
    }
    return row;
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
  if (orderUpTo < 0) return pmfMean(protectionDemand) - pmfMean(leadTimeDemand) > 1e-12 ? 0 : 1;
  const fill = periodicFillByStock(leadTimeDemand, protectionDemand);
  return fill[Math.min(orderUpTo, fill.length - 1)]!;
}

/**
 * The same for every order-up-to level from 0 to the largest demand. The sums run over survival functions from the far end, so
 * that no difference of near-equal numbers is taken.
 */
export function periodicFillByStock(
  leadTimeDemand: readonly number[],
  protectionDemand: readonly number[],
): Float64Array {
  const length = Math.max(leadTimeDemand.length, protectionDemand.length);
  const unmet = new Float64Array(length);
  let later = 0;
  let earlier = 0;
  for (let k = length - 1; k >= 1; k--) {
    later += protectionDemand[k] ?? 0;
    earlier += leadTimeDemand[k] ?? 0;
    unmet[k - 1] = unmet[k]! + later - earlier;
  }
  const total = unmet[0]!;
  if (!(total > 1e-12)) return unmet.fill(1);
  return unmet.map((value) => Math.min(1, Math.max(0, 1 - value / total)));
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
