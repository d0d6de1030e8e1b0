import { pmfCdf, pmfQuantile } from "../stats/index.ts";

/** What to carry to a meeting: enough that the day is not likely to be ended by a part, lightest first. */

export interface PitLine {
  /** law of the pieces needed at the meeting */
  needed: readonly number[];
  /** the day is over without it */
  carStopper: boolean;
  /** pieces that one change takes */
  perChange: number;
  /** what a piece weighs, grams; or what stands in for it, alike for all lines */
  burden: number;
}

/**
 * What the pieces of each line weigh, for packing. Where a weight is not known the price stands in, at the grams for the money that
 * the weighed lines have in the middle; where none is known prices alone are compared.
 *
 * @param lines weight of a piece in grams, > 0, or null; price of a piece in minor units, >= 0
 * @returns grams, or minor units where no weight is known; > 0
 */
export function burdens(lines: readonly { weightGrams: number | null; priceOfPiece: number }[]): number[] {
  const price = ({ priceOfPiece }: { priceOfPiece: number }) => Math.max(1, priceOfPiece);
  const rates = lines
    .flatMap((line) => (line.weightGrams === null ? [] : [line.weightGrams / price(line)]))
    .sort((a, b) => a - b);
  const rate = rates[Math.floor((rates.length - 1) / 2)] ?? 1;
  return lines.map((line) => line.weightGrams ?? rate * price(line));
}

export type CarryReason = "car-stopper" | "likely" | "target";

export interface Carry {
  pieces: number;
  /** null where nothing is carried */
  why: CarryReason | null;
}

/** A part that is no car-stopper is carried when it is needed at least so often. */
const likelyFrom = 0.1;
const mostSteps = 500;

/** Chance that no car-stopper runs out, taking lines as independent. */
export const dayChance = (lines: readonly PitLine[], carried: readonly number[]): number =>
  lines.reduce(
    (product, line, i) => (line.carStopper ? product * pmfCdf(line.needed, carried[i]!) : product),
    1,
  );

/**
 * Pieces to carry of each line: one change of every car-stopper, whatever its chance (a rule of the trade: a part whose
 * loss ends the day is carried); enough of what is likely to be needed; and then, until the target is met, the change
 * that raises the chance of a whole day most for its weight.
 *
 * @param target wanted chance that no part ends the day, in (0, 1)
 */
export function pitBox(lines: readonly PitLine[], target: number): Carry[] {
  const box = lines.map((line): Carry => {
    if (line.carStopper) return { pieces: line.perChange, why: "car-stopper" };
    const pieces = pmfQuantile(line.needed, 1 - likelyFrom);
    return pieces > 0 ? { pieces, why: "likely" } : { pieces: 0, why: null };
  });
  for (let step = 0; step < mostSteps; step++) {
    const carried = box.map(({ pieces }) => pieces);
    if (dayChance(lines, carried) >= target) break;
    const best = bestAddition(lines, carried);
    if (best === -1) break;
    box[best] = { pieces: box[best]!.pieces + lines[best]!.perChange, why: "target" };
  }
  return box;
}

/** The car-stopper of which one more change gains most for its weight; -1 where none gains anything. */
function bestAddition(lines: readonly PitLine[], carried: readonly number[]): number {
  let best = -1;
  let bestRate = 0;
  lines.forEach((line, i) => {
    if (!line.carStopper) return;
    const before = pmfCdf(line.needed, carried[i]!);
    const after = pmfCdf(line.needed, carried[i]! + line.perChange);
    if (!(after - before > 1e-9)) return;
    const rate = (Math.log(after) - Math.log(Math.max(before, 1e-300))) / (line.burden * line.perChange);
    if (rate > bestRate) {
      bestRate = rate;
      best = i;
    }
  });
  return best;
}
