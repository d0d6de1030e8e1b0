/** Two small sums about a battery pack. */
import { DomainError } from "./errors.ts";

/**
 * Internal resistance in ohms from two readings under different loads: (V₁ - V₂) / (I₂ - I₁). Divide by the cells
 * in series for one cell. Compare only readings at like temperature and charge.
 *
 * @throws {DomainError} `inconsistent` if the larger current does not pull the voltage down
 */
export function resistanceFromStepOhms(light: Load, heavy: Load): number {
  const drop = light.volts - heavy.volts;
  const rise = heavy.amps - light.amps;
  if (!(drop > 0 && rise > 0 && drop < Infinity && rise < Infinity)) {
    throw new DomainError("inconsistent", "The heavier load must draw more current at a lower voltage");
  }
  return drop / rise;
}

export interface Load {
  volts: number;
  amps: number;
}

/**
 * Charging current in amperes for a C-rate: rate × capacity / 1000.
 *
 * @throws {DomainError} `inconsistent` if the capacity or the rate is not > 0
 */
export function chargeCurrentAmps(capacityMah: number, cRate: number): number {
  if (!(capacityMah > 0 && cRate > 0 && capacityMah < Infinity && cRate < Infinity)) {
    throw new DomainError("inconsistent", "The capacity and the charging rate must be above zero");
  }
  return (capacityMah * cRate) / 1000;
}
