import type { Surface } from "../../src/domain/kind.ts";
import type { ConditionWord, Finding } from "../../src/domain/piece.ts";

/**
 * The world behind the demo's log: invented, tied to the usual lives of the trade (common practice, no source). The
 * spreads, surfaces and chances of breakage are those of the shipped kinds.
 */
export interface Ways {
  /** mean wear for one unit of the kind's clock, on the surface of multiplier 1, for an average driver */
  rate: number;
  /** a look is usual after every so many meetings */
  looksEvery: number;
  /** what is found when it breaks, and what is often found when it is nearly worn out */
  broken: Finding;
  worn: Finding | null;
}

export const ways: Record<string, Ways> = {
  "TYR-RT": { rate: 0.0097, looksEvery: 1, broken: "tear", worn: null },
  "TYR-RBR": { rate: 0.0089, looksEvery: 1, broken: "tear", worn: null },
  "TYR-RBF": { rate: 0.0054, looksEvery: 1, broken: "tear", worn: null },
  "SPR-48": { rate: 0.00015, looksEvery: 2, broken: "tooth-chipped", worn: "tooth-hooked" },
  "SPR-06": { rate: 0.0001, looksEvery: 2, broken: "tooth-chipped", worn: "tooth-hooked" },
  "PIN-AL": { rate: 0.00024, looksEvery: 2, broken: "tooth-chipped", worn: "tooth-hooked" },
  "PIN-ST": { rate: 0.00004, looksEvery: 2, broken: "tooth-chipped", worn: null },
  CVD: { rate: 0.00024, looksEvery: 4, broken: "bent", worn: null },
  ODR: { rate: 0.00044, looksEvery: 4, broken: "crack", worn: null },
  "BSH-PL": { rate: 0.0004, looksEvery: 2, broken: "play-felt", worn: "play-felt" },
  BRU: { rate: 0.008, looksEvery: 1, broken: "overheated", worn: null },
  "MOT-RPM": { rate: 5.4, looksEvery: 2, broken: "overheated", worn: null },
  CUP: { rate: 0.00035, looksEvery: 4, broken: "play-felt", worn: "play-felt" },
  HPN: { rate: 0.0002, looksEvery: 4, broken: "bent", worn: "play-felt" },
  SRV: { rate: 0.001, looksEvery: 4, broken: "tooth-chipped", worn: "play-felt" },
  "LIP-CAP": { rate: 0.12, looksEvery: 4, broken: "swollen", worn: "swollen" },
  "BRG-W": { rate: 0.001389, looksEvery: 3, broken: "notch-felt", worn: "notch-felt" },
  "BRG-L": { rate: 0.000769, looksEvery: 5, broken: "notch-felt", worn: "notch-felt" },
  BLT: { rate: 0.000727, looksEvery: 4, broken: "tooth-chipped", worn: "tear" },
  "DIF-OIL": { rate: 0.027778, looksEvery: 2, broken: "leak", worn: "metal-in-grease" },
  "DMP-OIL": { rate: 0.041667, looksEvery: 3, broken: "leak", worn: null },
  "DMP-SEAL": { rate: 0.013889, looksEvery: 3, broken: "leak", worn: "leak" },
  "DMP-SHF": { rate: 0.00625, looksEvery: 3, broken: "bent", worn: null },
  SAV: { rate: 0.005, looksEvery: 4, broken: "crack", worn: null },
  "ARM-F": { rate: 0.001429, looksEvery: 6, broken: "crack", worn: null },
  "ARM-R": { rate: 0.001429, looksEvery: 6, broken: "crack", worn: null },
  HUB: { rate: 0.001667, looksEvery: 6, broken: "crack", worn: null },
  BMP: { rate: 0.0125, looksEvery: 3, broken: "tear", worn: null },
  BOD: { rate: 0.016667, looksEvery: 2, broken: "crack", worn: "crack" },
  PST: { rate: 0.004, looksEvery: 4, broken: "crack", worn: null },
  TRP: { rate: 0.000345, looksEvery: 8, broken: "missing", worn: null },
};

/** Ageing of a pack that is stored at half charge, in per cent of its rating a year. */
export const packFadePerYear = 4;
/** The spread from pack to pack of the wear by cycles alone; the kind's own is of cycles and ageing together. */
export const packCycleSpread = 0.3;

/** How the chance of breakage differs by surface. */
export const breakageOn: Record<Surface, number> = {
  asphalt: 1,
  "coarse-asphalt": 1.1,
  carpet: 0.7,
  astro: 1,
  clay: 1.1,
  "dusty-clay": 1.2,
  "wet-asphalt": 0.8,
};
/** A piece past its limit breaks this much more easily. */
export const breakagePastLimit = 3;

export type Corner = "FL" | "FR" | "RL" | "RR";
/** The tyres on the outside of most corners carry the load. */
export const cornerWear: Record<"clockwise" | "anticlockwise", Record<Corner, number>> = {
  clockwise: { FL: 1.25, FR: 0.85, RL: 1.1, RR: 0.8 },
  anticlockwise: { FL: 0.85, FR: 1.25, RL: 0.8, RR: 1.1 },
};

/** A new spur on a worn pinion. */
export const wornMate = 1.6;
/** A motor geared two teeth over. */
export const overGeared = 1.18;

const gears = /^(SPR|PIN)-/;
const gritty = /^(SPR|PIN|CVD|ODR|BSH|BRG|BLT|CUP|HPN|DMP-S)/;

/** By how much the conditions of a run speed up the wear of a kind. */
export function conditionFactor(kind: string, conditions: readonly ConditionWord[]): number {
  let factor = 1;
  if (conditions.includes("not-cleaned") && gritty.test(kind)) factor *= 1.8;
  if (conditions.includes("mesh-tight") && gears.test(kind)) factor *= 2;
  if (conditions.includes("mesh-loose") && gears.test(kind)) factor *= 2.5;
  return factor;
}

/** Packs that members who keep no log buy at the counter in a year; of other kinds, `otherPacksAYear`. */
export const packsAYear: Record<string, number> = {
  "TYR-RT": 28,
  "TYR-RBR": 18,
  "TYR-RBF": 14,
  "MOT-RPM": 20,
  "SPR-48": 9,
  "SPR-06": 5,
  "BRG-W": 14,
  BOD: 8,
  "LIP-CAP": 12,
  "ARM-F": 5,
  "DMP-OIL": 9,
  "DIF-OIL": 6,
  TRP: 1,
};
export const otherPacksAYear = 4;
