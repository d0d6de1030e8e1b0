import { uniformFloat64 } from "pure-rand/distribution/uniformFloat64";
import { xoroshiro128plus } from "pure-rand/generator/xoroshiro128plus";
import { gammaQuantile, normalQuantile, poissonQuantile } from "../../src/stats/index.ts";

/** Draws of one stream. Every law is drawn by its inverse distribution, one uniform number a draw. */
export interface Chance {
  between: (low: number, high: number) => number;
  happens: (probability: number) => boolean;
  normal: () => number;
  /** log-normal with mean 1 and this coefficient of variation */
  factor: (coefficientOfVariation: number) => number;
  poisson: (mean: number) => number;
  gamma: (mean: number, sd: number) => number;
  pick: <T>(list: readonly [T, ...T[]]) => T;
}

/**
 * The generator starts from a state with few bits set (of the seeds 1 to 400, each gave a first number within 1e-4 of 0
 * or 1), so some numbers are thrown away.
 */
const thrownAway = 100;

/** The same seed gives the same stream, on every machine. */
export function chanceFrom(seed: number): Chance {
  const generator = xoroshiro128plus(seed);
  for (let i = 0; i < thrownAway; i++) uniformFloat64(generator);
  // Half a step above zero, so that no quantile is asked for 0.
  const uniform = () => uniformFloat64(generator) + 2 ** -54;
  const normal = () => normalQuantile(uniform());
  return {
    between: (low, high) => low + (high - low) * uniform(),
    happens: (probability) => uniform() < probability,
    normal,
    factor: (coefficientOfVariation) => {
      const variance = Math.log1p(coefficientOfVariation ** 2);
      return Math.exp(Math.sqrt(variance) * normal() - variance / 2);
    },
    poisson: (mean) => poissonQuantile(uniform(), mean),
    gamma: (mean, sd) => gammaQuantile(uniform(), { shape: (mean / sd) ** 2, scale: sd ** 2 / mean }),
    pick: (list) => list[Math.floor(uniform() * list.length)] ?? list[0],
  };
}
