import { DomainError } from "./errors.ts";

/**
 * Units that a reading may be given in, each as a multiple of its base unit. Exact by definition: the inch
 * (international yard and pound agreement, 1959) is 25.4 mm, the degree pi/180 rad; the others are decimal.
 */
const families: Record<string, Record<string, number>> = {
  length: { mm: 1, um: 0.001, cm: 10, m: 1000, in: 25.4, thou: 0.0254 },
  mass: { g: 1, mg: 0.001, kg: 1000 },
  angle: { deg: 1, rad: 180 / Math.PI },
  resistance: { mohm: 1, ohm: 1000 },
  charge: { mAh: 1, Ah: 1000 },
  speed: { "rev/min": 1, "rev/s": 60 },
  share: { percent: 1, fraction: 100 },
  force: { N: 1, mN: 0.001, gf: 0.00980665 },
  current: { A: 1, mA: 0.001 },
  potential: { V: 1, mV: 0.001 },
  time: { h: 1, min: 1 / 60, s: 1 / 3600 },
};

/** Other spellings in use at the bench. */
const spellings: Record<string, string> = {
  millimetre: "mm",
  millimetres: "mm",
  inch: "in",
  inches: "in",
  '"': "in",
  "°": "deg",
  degrees: "deg",
  "%": "percent",
  mΩ: "mohm",
  milliohm: "mohm",
  µm: "um",
  rpm: "rev/min",
};

/** Every unit that can be converted, for messages and the description of the API. */
export const unitNames: readonly string[] = Object.values(families).flatMap((family) => Object.keys(family));

const spelled = (unit: string): string => spellings[unit] ?? unit;

/**
 * Converts a reading into the unit of its kind. A unit is never guessed: one of another family, or an unknown one,
 * is refused.
 *
 * @throws {DomainError} `unit_unknown`, naming the units that would do
 *
 * @example
 * ```ts
 * import { convertUnit } from "./units.ts";
 * convertUnit(0.61, "in", "mm"); // => 15.494
 * ```
 */
export function convertUnit(value: number, from: string, to: string): number {
  const [given, wanted] = [spelled(from), spelled(to)];
  if (given === wanted) return value;
  const family = Object.values(families).find((units) => wanted in units);
  const factor = family?.[given];
  if (family === undefined || factor === undefined) {
    const choices = family === undefined ? [to] : Object.keys(family);
    throw new DomainError(
      "unit_unknown",
      `A reading in ${from} cannot be turned into ${to}; give it in ${choices.join(", ")}`,
    );
  }
  return (value * factor) / family[wanted]!;
}
