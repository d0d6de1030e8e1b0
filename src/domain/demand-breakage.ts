import { gammaQuadrature, type Random } from "../stats/index.ts";
import { type BreakageEvidence, breakageOf, factorLaw, type LineBreakage, sharedRate } from "./breakage.ts";

/**
 * How often the pieces of each owner break, for the need of a line: what all owners share (the rate of the line) is one
 * and the same for all of them, and what is an owner's own is one and the same for all his pieces. Evidence without
 * drivers stands for everybody alike.
 */
export type BreakageOfOwners = BreakageEvidence | LineBreakage;

interface Rate {
  weight: number;
  perRun: number;
}

/** One rate that the line may have, with its weight, and what each owner's rate may be given that. */
export interface SharedBreakage {
  weight: number;
  ratesOf: (owner: string) => readonly Rate[];
}

/** What the breakages per run may be: a few values with weights, one where it hardly matters. */
export function breakageRates({ shape, rate }: BreakageEvidence, runs: number): Rate[] {
  const mean = shape / rate;
  if (mean * runs < 0.02) return [{ weight: 1, perRun: mean }];
  const nodes = gammaQuadrature({ shape, scale: 1 / rate }, shape > 6 ? 2 : 3);
  return nodes.map(({ node, weight }) => ({ weight, perRun: node }));
}

/** Below so many breakages expected of an owner, the spread of his own factor is left out of the law: his mean stays. */
const worthSpreading = 0.3;

/**
 * The rates of the line with those of each owner given them.
 *
 * @param runsOf the runs ahead of each owner, times pieces
 */
export function sharedBreakages(
  breakage: BreakageOfOwners,
  runsOf: ReadonlyMap<string, number>,
): SharedBreakage[] {
  const all = [...runsOf.values()].reduce((sum, runs) => sum + runs, 0);
  const [only] = runsOf.keys();
  if (!("drivers" in breakage) || runsOf.size === 1) {
    const evidence = "drivers" in breakage ? breakageOf(breakage, only!) : breakage;
    return breakageRates(evidence, all).map(({ weight, perRun }) => ({
      weight,
      ratesOf: () => [{ weight: 1, perRun }],
    }));
  }
  const known = [...runsOf].map(([owner, runs]) => {
    const own = breakageOf(breakage, owner);
    return { owner, runs, mean: own.shape / own.rate };
  });
  const expected = known.reduce((sum, { runs, mean }) => sum + runs * mean, 0);
  if (expected < 0.02) {
    const means = new Map(known.map(({ owner, mean }) => [owner, [{ weight: 1, perRun: mean }]]));
    return [{ weight: 1, ratesOf: (owner) => means.get(owner)! }];
  }
  return breakageRates(sharedRate(breakage), Infinity).map(({ weight, perRun: line }) => {
    const rates = new Map(
      known.map(({ owner, runs }) => {
        const { shape, scale } = factorLaw(breakageOf(breakage, owner), line);
        const mean = shape * scale;
        const nodes =
          runs * mean < worthSpreading
            ? [{ weight: 1, perRun: mean }]
            : gammaQuadrature({ shape, scale }, 2).map((at) => ({ weight: at.weight, perRun: at.node }));
        return [owner, nodes];
      }),
    );
    return { weight, ratesOf: (owner) => rates.get(owner)! };
  });
}

/** Draws the breakages per run of one season: the line's once, each owner's factor once, when first asked for. */
export function drawBreakage(breakage: BreakageOfOwners, random: Random): (owner: string) => number {
  if (!("drivers" in breakage)) {
    const perRun = random.gamma(breakage.shape) / breakage.rate;
    return () => perRun;
  }
  const shared = sharedRate(breakage);
  const line = random.gamma(shared.shape) / shared.rate;
  const drawn = new Map<string, number>();
  return (owner) => {
    let perRun = drawn.get(owner);
    if (perRun === undefined) {
      const { shape, scale } = factorLaw(breakageOf(breakage, owner), line);
      perRun = random.gamma(shape) * scale;
      drawn.set(owner, perRun);
    }
    return perRun;
  };
}
