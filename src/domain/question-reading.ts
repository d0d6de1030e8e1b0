import type { Kind, Measure } from "./kind.ts";
import { runUsage, type UsedRun } from "./usage.ts";

/**
 * Doubts about a reading, before it is kept. One slip (inches for millimetres, a tooth miscounted, the wrong corner)
 * would bend the wear rate for weeks; asking at the bench costs a second look.
 */
export interface EarlierReading {
  value: number;
  sd: number;
}
export interface ReadingInQuestion {
  /** in the measure's unit */
  value: number;
  sd: number;
  /** as it was entered, which the person who took it knows again; in the measure's unit if not given */
  entered?: { value: number; unit: string };
  measure: Measure;
  /** the last readings of this piece before it, nearest last; its as-new reading counts */
  earlier: readonly EarlierReading[];
  /** the most wear that use since the last reading could plausibly have caused, in the measure's unit */
  plausibleWear: number;
}

/** How many standard deviations of both readings together a step backwards may be by mere reading error. */
const toleranceSds = 3;
const millimetresPerInch = 25.4;

/** What is doubtful about a reading, each as a sentence for the person who took it; empty if nothing is. */
export function questionReading(reading: ReadingInQuestion): string[] {
  const { value, sd, measure, earlier, plausibleWear } = reading;
  const last = earlier.at(-1) ?? { value: measure.asNew, sd: Math.max(measure.asNewSd, sd) };
  const noise = toleranceSds * Math.hypot(sd, last.sd);
  const wearAt = (size: number) => (measure.direction === "falls" ? last.value - size : size - last.value);
  const fits = (size: number) => -wearAt(size) <= noise && wearAt(size) <= noise + plausibleWear;
  if (fits(value)) return [];

  const { unit } = measure;
  const { entered = { value, unit } } = reading;
  const said =
    entered.value === value
      ? `${value} ${unit}`
      : `${entered.value} ${entered.unit} (${round(value)} ${unit})`;
  const otherUnit = unit === "mm" ? mistakenUnit(entered.value, value, fits) : null;
  if (otherUnit !== null) return [otherUnit];
  const step = measure.miscountStep;
  if (step !== null && step !== undefined)
    for (const teeth of [-2, -1, 1, 2])
      if (fits(value - teeth * step))
        return [
          `${said} is ${round(Math.abs(teeth * step))} ${unit} (${Math.abs(teeth)} base pitch) ${teeth > 0 ? "over" : "under"} what fits: was another number of teeth spanned?`,
        ];
  if (-wearAt(value) > noise)
    return [
      `${said} is ${measure.direction === "falls" ? "more" : "less"} than the ${round(last.value)} ${unit} read before, but wear makes it ${measure.direction === "falls" ? "less" : "more"}: was it another piece, another corner or another place?`,
    ];
  return [
    `${said} is ${round(wearAt(value))} ${unit} worn since the last reading, far more than the use since then explains (at most about ${round(plausibleWear)} ${unit})`,
  ];
}

/** Inches taken for millimetres, or the other way round, where that explains the reading; else null. */
function mistakenUnit(entered: number, value: number, fits: (size: number) => boolean): string | null {
  if (entered === value && fits(value * millimetresPerInch))
    return `${entered} mm looks like inches: ${entered} in would be ${round(value * millimetresPerInch)} mm`;
  const inInches = Math.abs(value - entered * millimetresPerInch) <= 1e-9 * Math.abs(value);
  return inInches && fits(entered)
    ? `${entered} in (${round(value)} mm) looks like millimetres: was it ${entered} mm?`
    : null;
}

/** How much faster than the usual life's fast end wear is still believed without a second look. */
const plausibleHaste = 4;

/** What is known of a piece apart from its readings. */
export interface PieceInQuestion {
  kind: Kind;
  /** a new piece of this line, or null where only the kind says */
  lineAsNew: number | null;
  /** as this piece was read when new */
  asNew: number | null;
  priorUsage: number | null;
}

/**
 * The most wear that use could plausibly have caused, from the kind's fast pieces.
 *
 * @param runs what wore the piece since its last reading, up to this one
 * @param first true where it was never read before
 * @returns in the measure's unit
 */
export function plausibleWear(piece: PieceInQuestion, runs: readonly UsedRun[], first: boolean): number {
  const { kind, lineAsNew, asNew, priorUsage } = piece;
  const { measure, limits, clock } = kind;
  if (measure === null || limits === null) return 0;
  const allowance =
    limits.basis === "loss" ? limits.club : Math.abs(limits.club - (lineAsNew ?? measure.asNew));
  if (clock === "days" || (first && priorUsage === null && asNew === null)) return allowance * plausibleHaste;
  const used = runs.reduce((sum, run) => sum + runUsage(clock, run), 0);
  const known = first ? used + (priorUsage ?? 0) : used;
  const fastest = Math.max(1, ...Object.values(kind.surfaces));
  return Math.max(0.25, (known / kind.usualLife.p10) * fastest * plausibleHaste) * allowance;
}

/** What a first reading is held against: the piece as it was when new, or its line; nothing where neither is known. */
export function beforeFirstReading({ kind, lineAsNew, asNew }: PieceInQuestion): EarlierReading[] {
  const sd = kind.measure?.instruments[0]?.repeatabilitySd ?? 0;
  if (asNew !== null) return [{ value: asNew, sd }];
  return lineAsNew === null ? [] : [{ value: lineAsNew, sd: Math.max(kind.measure?.asNewSd ?? 0, sd) }];
}

const round = (x: number) => Number(x.toPrecision(4));
