import kinds from "../../seeds/kinds.json" with { type: "json" };

/** What the made-up club drives: cars of four sorts with twenty positions each, on the surfaces of their tracks. */
export type ShippedKind = (typeof kinds)[number];

export interface CarSort {
  discipline: string;
  surfaces: readonly string[];
  /** kinds with how many of each */
  parts: Readonly<Record<string, number>>;
}

const hard = ["asphalt", "asphalt", "coarse-asphalt", "carpet"];

export const carSorts: readonly CarSort[] = [
  {
    discipline: "touring",
    surfaces: hard,
    parts: {
      ...{ "TYR-RT": 4, INS: 1, "SPR-48": 1, "PIN-AL": 1, CVD: 1, ODR: 2, "BRG-W": 1, BLT: 1, "DIF-OIL": 1 },
      ...{ "DMP-OIL": 4, SRV: 1, BOD: 1, BMP: 1 },
    },
  },
  {
    discipline: "buggy",
    surfaces: ["dusty-clay", "astro", "clay"],
    parts: {
      ...{ "TYR-RBR": 2, "TYR-RBF": 2, "SPR-06": 1, "PIN-ST": 1, CUP: 2, HPN: 4, DSH: 2, "BRG-L": 2 },
      ...{ "DMP-SHF": 2, "ARM-R": 1, WHL: 1 },
    },
  },
  {
    discipline: "stock",
    surfaces: ["carpet", "asphalt"],
    parts: {
      ...{ "TYR-FT": 2, "BSH-PL": 2, "BSH-BZ": 2, BRU: 2, "SPR-INS": 2, COM: 1, "MOT-RPM": 1, "MOT-BSH": 1 },
      ...{ "DMP-SEAL": 4, HEX: 1, SAV: 1, HUB: 1 },
    },
  },
  {
    discipline: "club touring",
    surfaces: hard,
    parts: {
      ...{ "TYR-RT": 4, "SPR-48": 1, "PIN-AL": 1, CVD: 1, "ARM-F": 1, "ARM-R": 1, HUB: 1, BMP: 1, BOD: 1 },
      ...{ PST: 1, CLP: 1, SCR: 1, TRP: 1, WIR: 1, WHL: 1, SAV: 1, "BRG-W": 1 },
    },
  },
];

export const minutesPerRun = 5.5;

/** What some runs at one meeting add to the usage of a piece, as if on the surface of multiplier 1. */
export function wearingUsage(kind: ShippedKind, surface: string, runs: number, days: number): number {
  if (kind.clock === "days") return days;
  const harder = (kind.surfaces as Record<string, number | undefined>)[surface] ?? 1;
  return runs * (kind.clock === "minutes" ? minutesPerRun : 1) * harder;
}

/** Wear at which a piece is finished: in the kind's unit, or 1 where it is graded. */
export function wearAtLimit({ measure, limits }: ShippedKind): number {
  if (measure === null || limits === null) return 1;
  return limits.basis === "loss" ? limits.club : Math.abs(limits.club - measure.asNew);
}

/** The grade that an eye gives to a share of a life. */
export const gradeOf = (share: number): number =>
  share < 0.1 ? 0 : share < 0.4 ? 1 : share < 0.75 ? 2 : share < 1 ? 3 : 4;

export const shippedKinds: readonly ShippedKind[] = kinds;
