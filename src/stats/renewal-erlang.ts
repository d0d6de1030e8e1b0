/** Replacement counts in closed form, for lives that are a sum of exponential stages (gamma with whole shape). */
import { poissonLaw } from "./demand-laws.ts";
import { requireWhole } from "./discrete.ts";

/**
 * Chances of the number of stages still to go for a life of `stages` stages that has reached `age`: with k - i left
 * proportional to the Poisson chance of i stages passed, i < k (derived here).
 *
 * @param input.stages whole number k of at least 1
 * @param input.rate stages per unit of age, above 0
 * @param input.age of at least 0
 * @returns element j is the chance of exactly j stages to go; element 0 is 0
 * @throws {RangeError} if a value is out of range
 */
export function erlangStagesLeft(input: { stages: number; rate: number; age: number }): number[] {
  const { stages, rate, age } = input;
  requireWhole("erlangStagesLeft", "stages", stages, 1);
  if (!(rate > 0 && rate < Infinity && age >= 0 && age < Infinity)) {
    throw new RangeError("erlangStagesLeft requires a finite rate above 0 and a finite age of at least 0");
  }
  // Relative to the last term, by ratios from it downwards: nothing under- or overflows whatever the age.
  const weights = new Array<number>(stages + 1).fill(0);
  const mean = rate * age;
  const terms: number[] = [];
  let log = 0;
  for (let passed = 0; passed < stages; passed++) {
    terms.push(log);
    log += Math.log(mean / (passed + 1));
  }
  const largest = Math.max(...terms);
  for (let passed = 0; passed < stages; passed++)
    weights[stages - passed] = Math.exp(terms[passed]! - largest);
  const sum = weights.reduce((total, weight) => total + weight, 0);
  return weights.map((weight) => weight / sum);
}

/**
 * Law of the number of replacements within `horizon` when lives have `stages` exponential stages of the given rate and the
 * part in place has reached `age`: P(N >= n) is the mean of P(Poisson(rate horizon) >= j + (n - 1) stages) over the
 * stages j to go (Cox 1962, chapter 4, for age 0).
 *
 * @param input.horizon of at least 0
 * @param input.age default 0
 * @throws {RangeError} if a value is out of range
 */
export function erlangCounts(input: {
  stages: number;
  rate: number;
  horizon: number;
  age?: number;
}): number[] {
  const { stages, rate, horizon, age = 0 } = input;
  if (!(horizon >= 0 && horizon < Infinity)) {
    throw new RangeError("erlangCounts requires a finite horizon of at least 0");
  }
  const left = erlangStagesLeft({ stages, rate, age });
  const passed = poissonLaw(rate * horizon);
  const counts = new Array<number>(Math.floor((passed.length - 1) / stages) + 2).fill(0);
  for (let stage = 0; stage < passed.length; stage++) {
    for (let toGo = 1; toGo <= stages; toGo++) {
      const count = stage < toGo ? 0 : 1 + Math.floor((stage - toGo) / stages);
      counts[count]! += passed[stage]! * left[toGo]!;
    }
  }
  return counts;
}
