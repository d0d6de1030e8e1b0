/** Demand with independent, stationary increments: its law over any duration, and its batches. */
import { convolve, mixture, pmfMean, requireLaw, trimTail } from "./discrete.ts";
import {
  logarithmicLaw,
  negativeBinomialFromMoments,
  negativeBinomialLaw,
  poissonLaw,
} from "./demand-laws.ts";

/** Demand per period. `table` holds the law of the units of one period. */
export type DemandRate =
  | { kind: "poisson"; rate: number }
  | { kind: "normal"; mean: number; sd: number }
  | { kind: "negative-binomial"; mean: number; variance: number }
  | { kind: "table"; probabilities: readonly number[] };

/** Law over a duration in periods, and the law of the units that one customer takes. */
export type DemandProcess = { during: (duration: number) => number[]; batch: number[] };

/**
 * Demand process of a whole-unit demand rate.
 *
 * Negative binomial demand is taken as customers at Poisson moments with logarithmic batches, so that its law over
 * another duration is negative binomial too. A table is convolved over whole periods; a duration between two whole
 * numbers is in part each, which keeps the mean; the units of one period count as one batch.
 *
 * @throws {RangeError} if a value is out of range
 */
export function demandProcess(demand: Exclude<DemandRate, { kind: "normal" }>): DemandProcess {
  switch (demand.kind) {
    case "poisson": {
      const { rate } = demand;
      if (!(rate >= 0 && rate < Infinity))
        throw new RangeError("demandProcess requires a finite rate of at least 0");
      return { during: (duration) => poissonLaw(rate * duration), batch: [0, 1] };
    }
    case "negative-binomial": {
      const { size, probability } = negativeBinomialFromMoments(demand);
      return {
        during: (duration) =>
          duration === 0 ? [1] : negativeBinomialLaw({ size: size * duration, probability }),
        batch: logarithmicLaw(1 - probability),
      };
    }
    case "table":
      return tableProcess(demand.probabilities);
  }
}

function tableProcess(probabilities: readonly number[]): DemandProcess {
  requireLaw("demandProcess", probabilities);
  const sums: number[][] = [[1]];
  const overWhole = (periods: number) => {
    while (sums.length <= periods) sums.push(trimTail(convolve(sums[sums.length - 1]!, probabilities)));
    return sums[periods]!;
  };
  const idle = probabilities[0]!;
  return {
    during(duration) {
      const whole = Math.floor(duration);
      const rest = duration - whole;
      if (rest === 0) return overWhole(whole);
      return mixture([
        { weight: 1 - rest, probabilities: overWhole(whole) },
        { weight: rest, probabilities: overWhole(whole + 1) },
      ]);
    },
    batch:
      pmfMean(probabilities) === 0
        ? [0, 1]
        : probabilities.map((chance, size) => (size === 0 ? 0 : chance / (1 - idle))),
  };
}
