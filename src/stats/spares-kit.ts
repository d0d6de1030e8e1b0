/** Which spares to take for a given sum of money. */
import { expectedShort, pmfCdf, requireLaw, requireWhole } from "./discrete.ts";

/** One line that can be bought. */
export type KitLine = {
  /** whole number of the smallest money units for one pack, above 0 */
  price: number;
  /** law of the demand, in pieces */
  demand: readonly number[];
  /** pieces in a pack, default 1 */
  packSize?: number;
  /** pieces already held, default 0 */
  held?: number;
  /** harm of one piece short relative to other lines, default 1; not used for the joint chance */
  weight?: number;
};

/** `shortage`: least weighted number of pieces short. `joint`: greatest chance that no line runs short. */
export type KitAim = "shortage" | "joint";

/** A choice of packs with what it costs and gives. */
export type Kit = {
  packs: number[];
  cost: number;
  /** Σ weight × expected pieces short */
  expectedShort: number;
  /** chance that no line runs short, lines independent */
  jointChance: number;
};

type Problem = { lines: readonly KitLine[]; aim: KitAim };

/** Values closer than this are taken as equal, so that rounding does not lengthen the list of kits. */
const SAME_VALUE = 1e-13;
const MOST_KITS = 400_000;
/** What is left to gain in a line is ignored below this chance of needing another piece. */
const LEAST_CHANCE = 1e-12;

/**
 * Every kit that no other kit of at most the same cost beats, by rising cost up to the budget: the curve of service
 * against money. Exact: line by line, each kept choice is extended by every number of packs, and beaten ones are
 * dropped (Nemhauser & Ullmann 1969).
 *
 * @param input.budget whole number of the smallest money units, of at least 0
 * @param input.mostKits give up beyond so many unbeaten kits, default 400,000
 * @returns the first kit costs 0; the last is the best within the budget
 * @throws {RangeError} if a value is out of range, or there are more than `mostKits` unbeaten kits
 */
export function kitCurve(input: Problem & { budget: number; mostKits?: number }): Kit[] {
  const { lines, aim, budget, mostKits = MOST_KITS } = input;
  requireLines("kitCurve", lines);
  requireWhole("kitCurve", "budget", budget, 0);
  type State = { cost: number; value: number; packs: number; before: State | undefined };
  let states: State[] = [{ cost: 0, value: 0, packs: 0, before: undefined }];
  for (const line of lines) {
    const values = packValues(line, aim, Math.floor(budget / line.price));
    const extended: State[] = [];
    for (const before of states) {
      for (let packs = 0; packs < values.length; packs++) {
        const cost = before.cost + packs * line.price;
        if (cost > budget) break;
        extended.push({ cost, value: before.value + values[packs]!, packs, before });
      }
    }
    extended.sort((a, b) => a.cost - b.cost || b.value - a.value);
    states = [];
    let best = -Infinity;
    for (const state of extended) {
      if (!(state.value > best + SAME_VALUE)) continue;
      states.push(state);
      best = state.value;
    }
    if (states.length > mostKits) {
      throw new RangeError(`kitCurve requires a problem of at most ${mostKits} unbeaten kits`);
    }
  }
  return states.map((state) => {
    const packs: number[] = [];
    for (let at: State | undefined = state; at?.before !== undefined; at = at.before) packs.unshift(at.packs);
    return kitOf(lines, packs);
  });
}

/**
 * The best kit within a budget. Exact.
 *
 * @throws {RangeError} as `kitCurve`
 */
export function bestKit(input: Problem & { budget: number }): Kit {
  const curve = kitCurve(input);
  return curve[curve.length - 1]!;
}

/**
 * The cheapest kit with which no line runs short with at least the given chance. Exact.
 *
 * @param input.chance in (0, 1)
 * @returns undefined if even the largest sensible kit falls short of it
 * @throws {RangeError} if a value is out of range
 */
export function cheapestKit(input: { lines: readonly KitLine[]; chance: number }): Kit | undefined {
  const { lines, chance } = input;
  requireLines("cheapestKit", lines);
  if (!(chance > 0 && chance < 1)) throw new RangeError("cheapestKit requires a chance in (0, 1)");
  const steps = marginalKits({ lines, aim: "joint", budget: Number.MAX_SAFE_INTEGER });
  const enough = steps.find((kit) => kit.jointChance >= chance);
  if (enough === undefined) return undefined;
  return kitCurve({ lines, aim: "joint", budget: enough.cost }).find(
    (kit) => kit.jointChance >= chance - SAME_VALUE,
  );
}

/**
 * Marginal analysis (Fox 1966): from nothing, always the pack that gains most for its price. Where the gains of each line fall
 * from pack to pack every kit on the way is the best for its own cost; between two of them another may be better, which
 * `kitCurve` finds.
 *
 * @param input.budget whole number of the smallest money units, of at least 0
 * @param input.skip true: a line whose next pack does not fit is left out and the others go on; false (default): the
 *   way ends there
 * @returns one kit per pack, after the empty one
 * @throws {RangeError} if a value is out of range
 */
export function marginalKits(input: Problem & { budget: number; skip?: boolean }): Kit[] {
  const { lines, aim, budget, skip = false } = input;
  requireLines("marginalKits", lines);
  requireWhole("marginalKits", "budget", budget, 0);
  const values = lines.map((line) => packValues(line, aim, Math.floor(budget / line.price)));
  const packs = lines.map(() => 0);
  const kits = [kitOf(lines, packs)];
  for (let cost = 0; ; ) {
    let next = -1;
    let best = 0;
    for (let i = 0; i < lines.length; i++) {
      const worth = values[i]![packs[i]! + 1];
      if (worth === undefined || (skip && cost + lines[i]!.price > budget)) continue;
      const rate = (worth - values[i]![packs[i]!]!) / lines[i]!.price;
      if (rate > best) {
        best = rate;
        next = i;
      }
    }
    if (next === -1 || cost + lines[next]!.price > budget) return kits;
    packs[next]!++;
    cost += lines[next]!.price;
    kits.push(kitOf(lines, packs));
  }
}

/**
 * What a choice of packs costs and gives, lines independent.
 *
 * @throws {RangeError} if a value is out of range or there is not one number of packs per line
 */
export function evaluateKit(lines: readonly KitLine[], packs: readonly number[]): Kit {
  requireLines("evaluateKit", lines);
  if (packs.length !== lines.length)
    throw new RangeError("evaluateKit requires one number of packs per line");
  for (const count of packs) requireWhole("evaluateKit", "packs", count, 0);
  return kitOf(lines, packs);
}

/**
 * Chance that no line runs short when the lines share causes: given the cause they are independent, so the product is
 * taken inside and the average outside. The product of the averages would be too low.
 *
 * @param scenarios weight of each cause (divided by their sum), and the law of each line's demand under it
 * @param stock pieces per line
 * @throws {RangeError} if a value is out of range
 */
export function jointChance(
  scenarios: readonly { weight: number; demands: readonly (readonly number[])[] }[],
  stock: readonly number[],
): number {
  let total = 0;
  let sum = 0;
  for (const { weight, demands } of scenarios) {
    if (!(weight >= 0 && weight < Infinity))
      throw new RangeError("jointChance requires weights of at least 0");
    if (demands.length !== stock.length) throw new RangeError("jointChance requires one demand per line");
    total += weight;
    sum += weight * demands.reduce((product, demand, i) => product * pmfCdf(demand, stock[i]!), 1);
  }
  if (!(total > 0)) throw new RangeError("jointChance requires a scenario of weight above 0");
  return Math.min(1, sum / total);
}

function kitOf(lines: readonly KitLine[], packs: readonly number[]): Kit {
  const kit = { packs: [...packs], cost: 0, expectedShort: 0, jointChance: 1 };
  for (let i = 0; i < lines.length; i++) {
    const { price, demand, packSize = 1, held = 0, weight = 1 } = lines[i]!;
    const pieces = held + packs[i]! * packSize;
    kit.cost += packs[i]! * price;
    kit.expectedShort += weight * expectedShort(demand, pieces);
    kit.jointChance *= pmfCdf(demand, pieces);
  }
  return kit;
}

/**
 * Value of 0, 1, 2, … packs, up to the affordable number or until another piece is practically never needed. For the
 * joint chance, the gain in its logarithm; a line that surely runs short has -1e6, far below any other loss, so that
 * such lines are served first and nothing turns infinite, and 100 less for each piece that is missing to a chance, so
 * that marginal analysis finds its way there.
 */
function packValues(line: KitLine, aim: KitAim, affordable: number): number[] {
  const { demand, packSize = 1, held = 0, weight = 1 } = line;
  const firstPossible = demand.findIndex((chance) => chance > 0);
  const worth = (packs: number) => {
    const pieces = held + packs * packSize;
    if (aim === "shortage") return -weight * expectedShort(demand, pieces);
    const chance = pmfCdf(demand, pieces);
    return chance > 0 ? Math.log(chance) : -1e6 - 100 * (firstPossible - pieces);
  };
  const none = worth(0);
  const values = [0];
  for (let packs = 1; packs <= affordable; packs++) {
    if (1 - pmfCdf(demand, held + (packs - 1) * packSize) < LEAST_CHANCE) break;
    values.push(worth(packs) - none);
  }
  return values;
}

function requireLines(caller: string, lines: readonly KitLine[]): void {
  for (const { price, demand, packSize = 1, held = 0, weight = 1 } of lines) {
    requireWhole(caller, "price", price, 1);
    requireWhole(caller, "packSize", packSize, 1);
    requireWhole(caller, "held", held, 0);
    requireLaw(caller, demand);
    if (!(weight >= 0 && weight < Infinity)) throw new RangeError(`${caller} requires weights of at least 0`);
  }
}
