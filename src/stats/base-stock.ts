/** Stock for one horizon, and the service that a stock level gives, for demand in whole units. */
import {
  expectedShort,
  expectedShortByStock,
  LEVEL_GUARD,
  pmfMean,
  pmfQuantile,
  requireLaw,
} from "./discrete.ts";

/**
 * What service is asked for: `cycle`, the chance of no shortage in the horizon, or `fill`, the share of the
 * demand met from stock.
 */
export type ServiceTarget = { kind: "cycle" | "fill"; value: number };

/** @throws {RangeError} if the value is outside (0, 1) or the kind is unknown */
export function requireTarget(caller: string, target: ServiceTarget): void {
  if (target.kind !== "cycle" && target.kind !== "fill") {
    throw new RangeError(`${caller} requires a target of kind "cycle" or "fill"`);
  }
  if (!(target.value > 0 && target.value < 1)) {
    throw new RangeError(`${caller} requires a target in (0, 1), got ${target.value}`);
  }
}

/**
 * Smallest stock that meets the target over one horizon without replenishment.
 *
 * Cycle: smallest s with P(D <= s) >= value. Fill: smallest s with 1 - E[(D - s)+] / E[D] >= value; where no
 * demand is expected, 0.
 *
 * @param demand law of the demand in the horizon
 * @param target in (0, 1)
 * @returns whole units
 * @throws {RangeError} if `demand` is not a law or the target is outside (0, 1)
 * @example
 * ```ts
 * smallestStock([0.5, 0.3, 0.2], { kind: "cycle", value: 0.75 }); // => 1
 * ```
 */
export function smallestStock(demand: readonly number[], target: ServiceTarget): number {
  requireTarget("smallestStock", target);
  if (target.kind === "cycle") return pmfQuantile(demand, target.value);
  const short = expectedShortByStock(demand);
  const mean = short[0]!;
  const allowed = (1 - target.value) * mean + LEVEL_GUARD * mean;
  const stock = short.findIndex((expected) => expected <= allowed);
  return stock === -1 ? demand.length - 1 : stock;
}

/**
 * Share of the demand met from `stock` in one horizon: 1 - E[(D - stock)+] / E[D], a ratio of expectations;
 * 1 where no demand is expected.
 *
 * @throws {RangeError} if `demand` is not a law or stock is not a whole number
 */
export function fillInHorizon(demand: readonly number[], stock: number): number {
  requireLaw("fillInHorizon", demand);
  const mean = pmfMean(demand);
  return mean === 0 ? 1 : Math.max(0, 1 - expectedShort(demand, stock) / mean);
}
