import { convolve, renewalCountsThrough, scaleToBatches } from "../stats/index.ts";
import { type BreakageEvidence, unbrokenChance } from "./breakage.ts";

/**
 * How many pieces of a line a horizon will use up: each position is a renewal process whose first interval is what is
 * left of the fitted piece and whose later ones are new pieces, each ended by wear or breakage, whichever comes first.
 */

/** Chance of being worn out within further wearing usage, as a function that is cheap to call many times. */
export type WornBy = (wearingUsage: number) => number;

/** Pieces of one car that are changed together: one piece, a pair, a set. */
export interface ChangedTogether {
  /** for each piece fitted now, the chance that it is worn out within further usage; past its limit counts at 0 */
  worn: readonly WornBy[];
  /** the wearing usage through each of the checkpoints, never falling */
  usageThrough: readonly number[];
  /** the runs through the last checkpoint, over which breakage is spread */
  runs: number;
}

/** How finely a chance is tabulated: the renewal grid has 60 steps, and linear interpolation between 120 adds no error it would show. */
const tableSteps = 120;

/** Tabulates a chance on [0, end], so that an expensive law is computed once. */
export function tabulated(cdf: WornBy, end: number, steps = tableSteps): WornBy {
  if (!(end > 0)) return cdf;
  const table = Float64Array.from({ length: steps + 1 }, (_, i) => cdf((i * end) / steps));
  for (let i = 1; i <= steps; i++) table[i] = Math.max(table[i]!, table[i - 1]!);
  return (usage) => {
    const x = (usage / end) * steps;
    if (!(x < steps)) return table[steps]!;
    const i = Math.max(0, Math.floor(x));
    return table[i]! + (x - i) * (table[i + 1]! - table[i]!);
  };
}

/**
 * The number of pieces of a line needed through each checkpoint, as a probability for each number from 0.
 *
 * @param newWorn chance that a new piece is worn out within some usage
 */
export function piecesNeeded(
  groups: readonly ChangedTogether[],
  newWorn: WornBy,
  breakage: BreakageEvidence,
): number[][] {
  const checkpoints = groups[0]?.usageThrough.length ?? 0;
  let totals: number[][] = Array.from({ length: checkpoints }, () => [1]);
  for (const { worn, usageThrough, runs } of groups) {
    const end = usageThrough.at(-1)!;
    const size = worn.length;
    const intact = (usage: number) => unbrokenChance(breakage, (size * runs * usage) / end);
    const law = (survivors: (usage: number) => number) =>
      tabulated((usage) => 1 - survivors(usage) * (end > 0 ? intact(usage) : 1), end);
    const counts = renewalCountsThrough({
      // A set whose first piece may be finished already is changed at once: the law starts above 0 there.
      firstCdf: law((usage) => worn.reduce((product, one) => product * (1 - one(usage)), 1)),
      laterCdf: law((usage) => (1 - newWorn(usage)) ** size),
      horizons: usageThrough,
    });
    totals = totals.map((total, i) =>
      trimmed(convolve(total, scaleToBatches(counts[i]!.probabilities, size))),
    );
  }
  return totals;
}

/** Puts a far tail that no decision can see onto the last number kept, so that the chances still sum to 1. */
function trimmed(law: number[]): number[] {
  let last = law.length - 1;
  let dropped = 0;
  while (last > 0 && dropped + law[last]! < 1e-9) dropped += law[last--]!;
  const kept = law.slice(0, last + 1);
  kept[last]! += dropped;
  return kept;
}
