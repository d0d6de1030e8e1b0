import { pmfCdf } from "../stats/index.ts";

/**
 * The best set of packs for some money: marginal analysis on the logarithm of the chance that no line runs short (Fox
 * 1966). Packs are bought in the order of what they gain for their price, along the upper hull of each line's gains, so
 * that a first tyre that gains nothing alone is bought with the three that make it a set.
 */

export interface BudgetLine {
  /** law of the pieces needed */
  needed: readonly number[];
  /** pieces there are already */
  held: number;
  /** pieces, and minor units, of the least that the supplier sells at once */
  unitPieces: number;
  unitPrice: number;
}

export interface BudgetStep {
  line: number;
  /** units bought of the line in this step */
  units: number;
  cost: number;
  /** cost and chance once the step is taken */
  spent: number;
  chance: number;
}

export interface BudgetPlan {
  units: number[];
  spent: number;
  chance: number;
  /** no set of packs for the money has a greater chance than this */
  chanceAtMost: number;
  /** what the way through all money would be; the steps beyond the budget too */
  curve: BudgetStep[];
  /** the best step that the budget no longer pays for; null where nothing more is to be gained */
  next: { line: number; units: number; cost: number; chance: number } | null;
}

export interface TargetPlan {
  units: number[];
  spent: number;
  chance: number;
  /** no set of packs that reaches the target costs less than this */
  spentAtLeast: number;
}

const enough = 1e-7;
const mostUnits = 400;
/** A line that surely runs short: far below any other loss, and finite. */
const certainLoss = -1e6;

interface Segment {
  line: number;
  from: number;
  units: number;
  cost: number;
  gain: number;
}

const logChance = ({ needed, held, unitPieces }: BudgetLine, units: number): number => {
  const chance = pmfCdf(needed, held + units * unitPieces);
  return chance > 0 ? Math.log(chance) : certainLoss;
};

/** The steps of one line from nothing to more than anyone needs, each of less gain for its price than the one before. */
function hullOf(line: BudgetLine, index: number): Segment[] {
  const values = [logChance(line, 0)];
  for (let units = 1; units <= mostUnits && values.at(-1)! < -enough; units++)
    values.push(logChance(line, units));
  const corners = [0];
  for (let units = 1; units < values.length; units++) {
    if (!(values[units]! > values[corners.at(-1)!]! + 1e-12)) continue;
    const slope = (a: number, b: number) => (values[b]! - values[a]!) / (b - a);
    while (corners.length > 1 && slope(corners.at(-2)!, corners.at(-1)!) <= slope(corners.at(-1)!, units))
      corners.pop();
    corners.push(units);
  }
  return corners.slice(1).map((to, i) => ({
    line: index,
    from: corners[i]!,
    units: to - corners[i]!,
    cost: (to - corners[i]!) * line.unitPrice,
    gain: values[to]! - values[corners[i]!]!,
  }));
}

const rate = ({ gain, cost }: Segment) => (cost === 0 ? Infinity : gain / cost);

/** The steps of all lines, most gain for the price first; those of one line stay in their order. */
const segmentsOf = (lines: readonly BudgetLine[]): Segment[] =>
  lines
    .flatMap((line, i) => hullOf(line, i))
    .sort((a, b) => (rate(b) === rate(a) ? a.line - b.line || a.from - b.from : rate(b) > rate(a) ? 1 : -1));

const jointValue = (lines: readonly BudgetLine[], units: readonly number[]): number =>
  lines.reduce((sum, line, i) => sum + logChance(line, units[i]!), 0);

/** @param budget whole minor units, of at least 0 */
export function budgetPlan(lines: readonly BudgetLine[], budget: number): BudgetPlan {
  const segments = segmentsOf(lines);
  const units = lines.map(() => 0);
  const blocked = new Set<number>();
  let spent = 0;
  let bound: number | null = null;
  let next: Segment | null = null;
  const value = () => jointValue(lines, units);
  for (const segment of segments) {
    if (!blocked.has(segment.line) && spent + segment.cost <= budget) {
      spent += segment.cost;
      units[segment.line]! += segment.units;
      continue;
    }
    if (bound === null) {
      // Where the first step no longer fits, a part of it would be the best use of what is left: no set beats that.
      bound = value() + rate(segment) * (budget - spent);
      next = segment;
    }
    blocked.add(segment.line);
  }
  spent = fillUp(lines, units, budget, spent);
  const reached = value();
  return {
    units,
    spent,
    chance: Math.exp(reached),
    chanceAtMost: Math.min(1, Math.exp(Math.max(reached, bound ?? reached))),
    curve: curveOf(lines, segments),
    next:
      next === null
        ? null
        : {
            line: next.line,
            units: Math.max(1, next.from + next.units - units[next.line]!),
            cost: Math.max(1, next.from + next.units - units[next.line]!) * lines[next.line]!.unitPrice,
            chance: Math.exp(
              reached -
                logChance(lines[next.line]!, units[next.line]!) +
                logChance(
                  lines[next.line]!,
                  units[next.line]! + Math.max(1, next.from + next.units - units[next.line]!),
                ),
            ),
          },
  };
}

/**
 * A cheap set of packs with which no line runs short with a chance of at least `target`: the same steps until it is reached,
 * the last of them exchanged for the cheapest that reaches it as well, and whatever can be spared after that left out.
 * Where even the most that is ever bought falls short of the target, that is the plan.
 *
 * @param target in (0, 1)
 */
export function targetPlan(lines: readonly BudgetLine[], target: number): TargetPlan {
  const wanted = Math.log(target) - 1e-12;
  const units = lines.map(() => 0);
  let value = jointValue(lines, units);
  let spent = 0;
  let spentAtLeast = 0;
  for (const segment of segmentsOf(lines)) {
    if (value >= wanted) break;
    const missing = wanted - value;
    if (segment.gain < missing) {
      units[segment.line]! += segment.units;
      spent += segment.cost;
      spentAtLeast = spent;
    } else {
      // A part of this step would do if packs could be split: no set of whole packs costs less.
      spentAtLeast = spent + (segment.cost === 0 ? 0 : missing / rate(segment));
      const [best, more] = cheapestLast(lines, units, wanted) ?? [segment.line, segment.units];
      units[best]! += more;
      spent += more * lines[best]!.unitPrice;
    }
    value += segment.gain;
  }
  spare(lines, units, wanted);
  return {
    units,
    spent: lines.reduce((sum, { unitPrice }, i) => sum + units[i]! * unitPrice, 0),
    chance: Math.exp(jointValue(lines, units)),
    spentAtLeast: Math.max(0, Math.ceil(spentAtLeast - 1e-6)),
  };
}

/** The line, and the units more of it, that reach the wanted value for least money; null where no line does alone. */
function cheapestLast(
  lines: readonly BudgetLine[],
  units: readonly number[],
  wanted: number,
): [line: number, more: number] | null {
  const value = jointValue(lines, units);
  let best: [number, number] | null = null;
  let least = Infinity;
  lines.forEach((line, i) => {
    const own = logChance(line, units[i]!);
    if (value - own < wanted) return;
    for (let more = 1; more <= mostUnits && more * line.unitPrice < least; more++) {
      if (value - own + logChance(line, units[i]! + more) < wanted) continue;
      least = more * line.unitPrice;
      best = [i, more];
    }
  });
  return best;
}

/** Leaves out, dearest first, every unit without which the wanted value is reached as well. */
function spare(lines: readonly BudgetLine[], units: number[], wanted: number): void {
  const dearestFirst = lines.map((_, i) => i).sort((a, b) => lines[b]!.unitPrice - lines[a]!.unitPrice);
  let value = jointValue(lines, units);
  for (const i of dearestFirst)
    while (units[i]! > 0) {
      const without = value - logChance(lines[i]!, units[i]!) + logChance(lines[i]!, units[i]! - 1);
      if (without < wanted) break;
      units[i]!--;
      value = without;
    }
}

/** Spends what is left on whatever single unit gains most for its price and still fits. */
function fillUp(lines: readonly BudgetLine[], units: number[], budget: number, spent: number): number {
  for (let round = 0; round < mostUnits; round++) {
    let best = -1;
    let bestRate = 0;
    lines.forEach((line, i) => {
      if (line.unitPrice === 0 || spent + line.unitPrice > budget) return;
      const gain = logChance(line, units[i]! + 1) - logChance(line, units[i]!);
      if (gain > enough && gain / line.unitPrice > bestRate) {
        bestRate = gain / line.unitPrice;
        best = i;
      }
    });
    if (best === -1) return spent;
    units[best]!++;
    spent += lines[best]!.unitPrice;
  }
  return spent;
}

/** Cost against chance, step by step, however much money there were. */
function curveOf(lines: readonly BudgetLine[], segments: readonly Segment[]): BudgetStep[] {
  let spent = 0;
  let value = lines.reduce((sum, line) => sum + logChance(line, 0), 0);
  return segments.map(({ line, units, cost, gain }) => {
    spent += cost;
    value += gain;
    return { line, units, cost, spent, chance: Math.min(1, Math.exp(value)) };
  });
}
