import type { WornBy } from "./demand.ts";

/**
 * When changing a part before it ends is worth it: the usage at which a planned change costs least in the long run, from
 * the price of a planned change and what an end at the wrong moment costs on top (Barlow & Hunter 1960). How fast the
 * line wears is not known exactly, but is the same for every part to come: the cost is averaged over what it may be, and
 * not the law of the lives, which would make a line look as if it wore less and less.
 */

export interface ChangeCosts {
  /** part and bench time, minor units, above 0 */
  plannedCost: number;
  /** what is lost on top when the part ends in a run, minor units */
  lostRunCost: number;
}

export interface EarlyChange {
  /** usage at which to change; null: run to the end */
  interval: number | null;
  /** cost per unit of usage under the best rule, and when every part is run to its end */
  costRate: number;
  costRateRunToEnd: number;
  /** share of the latter that the rule saves, in [0, 1) */
  saving: number;
  /** whether that is at least 1 % */
  worthwhile: boolean;
  /** usages that cost within 1 % of the least; `to` null: any later one, also never */
  within: { from: number; to: number | null };
  /** share of the changes that are planned */
  plannedShare: number;
}

/** Below this chance of still being good the law is followed by a constant hazard, so that its mean exists. */
const followedTo = 0.995;
const tableSteps = 160;
const costSteps = 800;
const worthwhileSaving = 0.01;
const closeToBest = 1.01;

/**
 * @param laws what the chance that a new piece is worn out by some usage may be, with weights that sum to 1
 * @param size pieces that are changed together: the first to end ends the set
 * @param breaksPerUsage breakages of one piece for each unit of usage
 * @param usualLife a usage of the order of a life
 */
export function changeEarly(
  laws: readonly { weight: number; worn: WornBy }[],
  { size, breaksPerUsage, usualLife }: { size: number; breaksPerUsage: number; usualLife: number },
  { plannedCost, lostRunCost }: ChangeCosts,
): EarlyChange {
  const lives = laws.map(({ weight, worn }) => ({
    weight,
    ...lifeOf((usage) => ((1 - worn(usage)) * Math.exp(-breaksPerUsage * usage)) ** size, usualLife),
  }));
  const end = Math.max(...lives.map((life) => life.end));
  const step = end / costSteps;
  const costAt = new Float64Array(costSteps + 1);
  let runToEnd = 0;
  for (const { weight, survival, beyond } of lives) {
    let area = 0;
    let before = 1;
    for (let j = 1; j <= costSteps; j++) {
      const surviving = survival(j * step);
      area += (step / 6) * (before + 4 * survival((j - 0.5) * step) + surviving);
      before = surviving;
      costAt[j]! += (weight * (plannedCost + lostRunCost * (1 - surviving))) / area;
    }
    runToEnd += (weight * (plannedCost + lostRunCost)) / (area + beyond(end));
  }
  let best = 1;
  for (let j = 2; j <= costSteps; j++) if (costAt[j]! < costAt[best]!) best = j;
  const costRate = Math.min(costAt[best]!, runToEnd);
  const finite = costAt[best]! < runToEnd * (1 - 1e-9);
  const saving = Math.max(0, 1 - costRate / runToEnd);
  const interval = finite ? step * vertex(costAt, best) : null;
  return {
    interval,
    costRate,
    costRateRunToEnd: runToEnd,
    saving,
    worthwhile: finite && saving >= worthwhileSaving,
    within: closeBy(costAt, finite ? best : costSteps, costRate * closeToBest, runToEnd, step),
    plannedShare:
      interval === null
        ? 0
        : lives.reduce((sum, { weight, survival }) => sum + weight * survival(interval), 0),
  };
}

/** The place of the least of the parabola through a least value and its neighbours. */
function vertex(values: Float64Array, at: number): number {
  if (at <= 1 || at >= values.length - 1) return at;
  const [a, b, c] = [values[at - 1]!, values[at]!, values[at + 1]!];
  const bend = a - 2 * b + c;
  return bend > 0 ? at + (a - c) / (2 * bend) : at;
}

/** The stretch around the best in which the cost stays below a limit. */
function closeBy(costAt: Float64Array, best: number, limit: number, runToEnd: number, step: number) {
  let from = best;
  while (from > 1 && costAt[from - 1]! <= limit) from--;
  let to = best;
  while (to < costSteps && costAt[to + 1]! <= limit) to++;
  return { from: from * step, to: to === costSteps && runToEnd <= limit ? null : to * step };
}

/**
 * A law on an even table up to where hardly any is left, with its last hazard beyond: a mixture over pieces may have no
 * finite mean, and what happens to one life in two hundred decides nothing here.
 */
function lifeOf(survives: (usage: number) => number, usualLife: number) {
  let end = usualLife;
  for (let i = 0; i < 30 && survives(end) > 1 - followedTo; i++) end *= 1.3;
  for (let i = 0; i < 30 && survives(end / 1.3) <= 1 - followedTo; i++) end /= 1.3;
  const logs = Float64Array.from({ length: tableSteps + 1 }, (_, i) =>
    i === 0 ? 0 : Math.log(Math.max(1e-12, survives((i * end) / tableSteps))),
  );
  for (let i = 1; i <= tableSteps; i++) logs[i] = Math.min(logs[i]!, logs[i - 1]!);
  const last = logs[tableSteps]!;
  const back = Math.floor(tableSteps * 0.9);
  const hazard = Math.max(((logs[back]! - last) * tableSteps) / (end * (tableSteps - back)), 0.1 / end);
  const survival = (usage: number): number => {
    if (usage >= end) return Math.exp(last - hazard * (usage - end));
    const x = (Math.max(0, usage) / end) * tableSteps;
    const i = Math.min(tableSteps - 1, Math.floor(x));
    return Math.exp(logs[i]! + (x - i) * (logs[i + 1]! - logs[i]!));
  };
  /** mean usage beyond some usage at or past the end of the table, over all pieces */
  const beyond = (usage: number) => survival(usage) / hazard;
  return { end, survival, beyond };
}

/**
 * Is it time for one piece? A part is due when what a further stretch of use puts at risk costs more than the stretch
 * is worth at the best long-run cost: at the best usage both are the same.
 *
 * @param endsWithin chance that this piece ends within the stretch
 */
export const dueNow = (
  early: EarlyChange,
  endsWithin: number,
  stretch: number,
  { lostRunCost }: ChangeCosts,
): boolean => early.worthwhile && stretch > 0 && endsWithin * lostRunCost >= early.costRate * stretch;
