/** Spares for lines that share causes: what helps one line in a hard season is worth more when the others last too. */
import { requireLaw, requireWhole } from "./discrete.ts";

/** A line that can be bought, without its demand, which depends on the scenario. */
export type CoupledLine = {
  /** whole number of the smallest money units for one pack, above 0 */
  price: number;
  /** pieces in a pack, default 1 */
  packSize?: number;
  /** pieces already held, default 0 */
  held?: number;
};

/** One state of what the lines share. */
export type Scenario = {
  /** how likely it is, relative to the others; of at least 0 */
  weight: number;
  /** law of the demand of each line in it */
  demands: readonly (readonly number[])[];
};

const MOST_ROUNDS = 200;

/** In the search a line that surely runs short has this chance per missing piece, so that the first packs gain something. */
const HARDLY = 1e-25;

/**
 * A good kit for the chance that no line runs short, averaged over scenarios in each of which the lines are independent.
 *
 * The average of products does not separate into lines, so that `bestKit` does not apply. Packs are taken one at a time, the
 * largest gain in the logarithm of the chance per money first; then, as long as it helps, one pack is given back and the
 * money spent anew, or one more is taken and others are given back for it. The kit is not proven best: on problems small enough to search it is within 1 % of the best chance.
 *
 * @param input.budget whole number of the smallest money units, of at least 0
 * @throws {RangeError} if a value is out of range, or a scenario has not one demand per line
 */
export function coupledKit(input: {
  lines: readonly CoupledLine[];
  scenarios: readonly Scenario[];
  budget: number;
}): { packs: number[]; cost: number; jointChance: number } {
  const { lines, budget } = input;
  const chanceOf = jointChanceOf(input);
  const costOf = (packs: readonly number[]) =>
    packs.reduce((sum, count, i) => sum + count * lines[i]!.price, 0);
  let best = filledUp(
    lines.map(() => 0),
    { lines, budget, chanceOf },
  );
  for (let round = 0; round < MOST_ROUNDS; round++) {
    const before = chanceOf(best);
    let improved = best;
    for (let given = 0; given < lines.length; given++) {
      if (best[given] === 0) continue;
      const fewer = best.map((count, i) => (i === given ? count - 1 : count));
      const again = filledUp(fewer, { lines, budget, chanceOf, without: given });
      if (chanceOf(again) > chanceOf(improved)) improved = again;
    }
    for (let taken = 0; taken < lines.length; taken++) {
      const again = madeRoom(best, taken, { lines, budget, chanceOf });
      if (again !== undefined && chanceOf(again) > chanceOf(improved)) improved = again;
    }
    if (!(chanceOf(improved) > before * (1 + 1e-12))) break;
    best = improved;
  }
  // What stands for no chance at all in the search is none in the answer.
  const found = chanceOf(best);
  return { packs: best, cost: costOf(best), jointChance: found < HARDLY ? 0 : Math.min(1, found) };
}

/** Takes one more pack of a line and gives back, of the others, what matters least for its price until the kit fits again. */
function madeRoom(
  start: readonly number[],
  taken: number,
  problem: { lines: readonly CoupledLine[]; budget: number; chanceOf: (packs: readonly number[]) => number },
): number[] | undefined {
  const { lines, budget, chanceOf } = problem;
  const packs = start.map((count, i) => (i === taken ? count + 1 : count));
  let cost = packs.reduce((sum, count, i) => sum + count * lines[i]!.price, 0);
  while (cost > budget) {
    let back = -1;
    let least = Infinity;
    const chance = chanceOf(packs);
    for (let i = 0; i < lines.length; i++) {
      if (i === taken || packs[i] === 0) continue;
      packs[i]!--;
      // What is saved beyond the need is worth nothing here.
      const loss = Math.log(chance / chanceOf(packs)) / Math.min(lines[i]!.price, cost - budget);
      packs[i]!++;
      if (loss < least) [back, least] = [i, loss];
    }
    if (back === -1) return undefined;
    packs[back]!--;
    cost -= lines[back]!.price;
  }
  return filledUp(packs, problem);
}

/** Spends what is left of the budget; the line `without` is left out at first, lest the pack given back is bought again. */
function filledUp(
  start: readonly number[],
  problem: {
    lines: readonly CoupledLine[];
    budget: number;
    chanceOf: (packs: readonly number[]) => number;
    without?: number;
  },
): number[] {
  const { lines, budget, chanceOf, without } = problem;
  const packs = [...start];
  let cost = packs.reduce((sum, count, i) => sum + count * lines[i]!.price, 0);
  let chance = chanceOf(packs);
  let first = true;
  for (;;) {
    let next = -1;
    let bestRate = 0;
    let bestChance = chance;
    for (let i = 0; i < lines.length; i++) {
      if (cost + lines[i]!.price > budget || (first && i === without)) continue;
      packs[i]!++;
      const with1 = chanceOf(packs);
      packs[i]!--;
      const rate = Math.log(with1 / chance) / lines[i]!.price;
      if (rate > bestRate && with1 > chance * (1 + 1e-13)) [next, bestRate, bestChance] = [i, rate, with1];
    }
    if (next === -1 && !first) return packs;
    if (next === -1) {
      if (without === undefined) return packs;
      first = false;
      continue;
    }
    first = false;
    packs[next]!++;
    cost += lines[next]!.price;
    chance = bestChance;
  }
}

/** The average chance as a function of the packs. */
function jointChanceOf(input: {
  lines: readonly CoupledLine[];
  scenarios: readonly Scenario[];
  budget: number;
}): (packs: readonly number[]) => number {
  const { lines, scenarios, budget } = input;
  requireWhole("coupledKit", "budget", budget, 0);
  for (const { price, packSize = 1, held = 0 } of lines) {
    requireWhole("coupledKit", "price", price, 1);
    requireWhole("coupledKit", "packSize", packSize, 1);
    requireWhole("coupledKit", "held", held, 0);
  }
  let total = 0;
  const tables = scenarios.map(({ weight, demands }) => {
    if (!(weight >= 0 && weight < Infinity))
      throw new RangeError("coupledKit requires weights of at least 0");
    if (demands.length !== lines.length) throw new RangeError("coupledKit requires one demand per line");
    total += weight;
    return { weight, cumulative: demands.map(cumulativeLaw) };
  });
  if (!(total > 0)) throw new RangeError("coupledKit requires a scenario of weight above 0");
  return (packs) => {
    let sum = 0;
    for (const { weight, cumulative } of tables) {
      let product = weight / total;
      for (let i = 0; i < lines.length; i++) {
        const { packSize = 1, held = 0 } = lines[i]!;
        const law = cumulative[i]!;
        product *= law[Math.min(held + packs[i]! * packSize, law.length - 1)]!;
      }
      sum += product;
    }
    return sum;
  };
}

function cumulativeLaw(demand: readonly number[]): number[] {
  requireLaw("coupledKit", demand);
  const least = demand.findIndex((chance) => chance > 0);
  let sum = 0;
  return demand.map((chance, k) => {
    sum += chance;
    return k < least ? Math.max(1e-250, HARDLY ** (least - k)) : Math.min(1, sum);
  });
}
