import type { Kind } from "./kind.ts";

/**
 * Accidental breakage, apart from wear: a constant chance for each run, believed to be the kind's with the weight of
 * one breakage, and learned from what broke in how many runs (a gamma prior on a Poisson rate).
 */
export interface BreakageEvidence {
  /** shape and rate (in runs) of the gamma law of the breakages per run */
  shape: number;
  rate: number;
  broken: number;
  runs: number;
}

/** How many breakages the kind's own figure counts as. */
const beliefWeight = 1;

export function breakageEvidence(
  kind: Kind,
  lives: readonly { runs: number; broken: boolean }[],
): BreakageEvidence {
  const broken = lives.filter((life) => life.broken).length;
  const runs = lives.reduce((sum, life) => sum + life.runs, 0);
  // A kind that is never believed to break still may: a figure below one in a million is taken as that.
  const believed = Math.max(kind.breakagePerRun, 1e-6);
  return { shape: beliefWeight + broken, rate: beliefWeight / believed + runs, broken, runs };
}

/** Chance that a piece does not break within some runs: the gamma law of the rate averaged over. */
export const unbrokenChance = ({ shape, rate }: BreakageEvidence, runs: number): number =>
  Math.exp(-shape * Math.log1p(runs / rate));
