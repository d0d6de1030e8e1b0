/** Fewer weighted points that stand for the posterior of a line nearly as well. */

/**
 * Weights by which at most `most` of the points stand for all: heavy points keep theirs; of the others a sample is kept, each
 * with the same weight, which is that above which a point is heavy (threshold resampling: Fearnhead & Clifford 2003, Journal
 * of the Royal Statistical Society B 65, 887-899: of all unbiased samples the one whose weights are least off). The sample is
 * systematic, in steps of that weight through the points in their order, and begins with half a step: the same points are
 * always thinned in the same way.
 *
 * @param weights at least 0, not all 0; in an order that the sample is to run through evenly
 * @param most a whole number, at least 1 and below the number of points
 * @returns weights with the sum of those given, 0 for a point that is left out
 */
export function thinnedWeights(weights: Float64Array, most: number): Float64Array {
  const threshold = thresholdOf(weights, most);
  const out = new Float64Array(weights.length);
  let next = 0.5 * threshold;
  let light = 0;
  let sum = 0;
  let total = 0;
  for (let k = 0; k < weights.length; k++) {
    const weight = weights[k]!;
    sum += weight;
    if (weight > threshold) out[k] = weight;
    else {
      light += weight;
      if (!(light > next)) continue;
      out[k] = threshold;
      next += threshold;
    }
    total += out[k]!;
  }
  // The sample may stand for half a step more or less than the light points weigh.
  for (let k = 0; k < out.length; k++) out[k]! *= sum / total;
  return out;
}

/**
 * The weight c for which min(weight / c, 1) sums to `most`. Taking out what is heavier than an average of the rest lowers
 * that average, until nothing heavier is left.
 */
function thresholdOf(weights: Float64Array, most: number): number {
  let threshold = Infinity;
  for (;;) {
    let heavy = 0;
    let rest = 0;
    for (let k = 0; k < weights.length; k++) {
      if (weights[k]! > threshold) heavy += 1;
      else rest += weights[k]!;
    }
    const lower = rest / (most - heavy);
    if (!(lower < threshold)) return threshold;
    threshold = lower;
  }
}
