/**
 * What an observation is worth before a choice between a sure cost and a risk: pre-posterior analysis (Raiffa &
 * Schlaifer, 1961, chapter 4).
 */

/** One of the things that an observation may show. */
export interface PossibleOutcome {
  /** its probability, up to a common factor, >= 0 */
  weight: number;
  /** probability of the loss once it has been seen, in [0, 1] */
  probability: number;
}

export interface SampleInformation {
  /** expected cost saved by observing first, >= 0 */
  gain: number;
  /** expected cost of the best choice without the observation */
  before: number;
  /** expected cost of the best choice with it */
  after: number;
  /** what knowing for certain would save: no observation is worth more */
  perfect: number;
  /** probability that the observation leads to the other choice */
  switches: number;
}

/**
 * Expected value of sample information: the cost of the best choice now, less the expected cost of the best choice
 * after an observation. The choices are to pay `sure`, or to bear `loss` with a probability.
 *
 * The probability before the observation is the mean over its outcomes, so that nothing is gained that only comes from
 * rounding in a rule of integration; by Jensen's inequality the gain is then never negative.
 *
 * @param outcomes at least one with a weight > 0
 * @param costs both >= 0, finite, in one unit
 * @throws {RangeError} if an argument is outside its range
 * @example
 * ```ts
 * const outcomes = [{ weight: 0.7, probability: 0.1 }, { weight: 0.3, probability: 0.6 }];
 * sampleInformation(outcomes, { sure: 10, loss: 40 }).gain; // => 4.2
 * ```
 */
export function sampleInformation(
  outcomes: readonly PossibleOutcome[],
  costs: { sure: number; loss: number },
): SampleInformation {
  const { sure, loss } = costs;
  if (!(sure >= 0 && sure < Infinity && loss >= 0 && loss < Infinity))
    throw new RangeError(`sampleInformation requires finite costs >= 0, got ${sure} and ${loss}`);
  let total = 0;
  for (const { weight, probability } of outcomes) {
    if (!(weight >= 0 && weight < Infinity && probability >= 0 && probability <= 1))
      throw new RangeError("sampleInformation requires weights >= 0 and probabilities in [0, 1]");
    total += weight;
  }
  if (!(total > 0)) throw new RangeError("sampleInformation requires an outcome with a weight > 0");
  const mean = outcomes.reduce((sum, one) => sum + (one.weight / total) * one.probability, 0);
  const before = Math.min(sure, mean * loss);
  const paysNow = mean * loss > sure;
  let after = 0;
  let switches = 0;
  for (const { weight, probability } of outcomes) {
    after += (weight / total) * Math.min(sure, probability * loss);
    if (probability * loss > sure !== paysNow) switches += weight / total;
  }
  return {
    // Where no outcome leads to the other choice the two costs are the same, but for the rounding of the sums.
    gain: switches === 0 ? 0 : Math.max(0, before - after),
    before,
    after,
    perfect: Math.max(0, before - mean * Math.min(sure, loss)),
    switches,
  };
}
