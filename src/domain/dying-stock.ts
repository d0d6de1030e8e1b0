import { pmfCdf, pmfMean, pmfQuantile, poissonLaw } from "../stats/index.ts";
import { dayAfter } from "./calendar.ts";
import type { NeedThrough } from "./restock.ts";
import { type AgeingStock, goodUntil, lostToAge } from "./shelf-life.ts";

/** What lies on a shelf and will not be sold: nobody left who needs it, too old, replaced, or more than a year's need. */

/** What is known of one line on the shelf. */
export interface OnShelfLine {
  /** null where nobody says how many there are */
  pieces: number | null;
  packSize: number;
  /** a car's day is over without it: one pack of it is kept, whatever its chance */
  carStopper: boolean;
  /** pieces with the days on which they came in; null where they keep, or where that is not known */
  ageing: AgeingStock | null;
  endedOn: string | null;
  replaced: boolean;
  /** what will be needed from the shelf, in order of days; null where that is withheld */
  needs: readonly NeedThrough[] | null;
  /** of the drivers whose need is known: somebody uses it, enough of them have a car for it, or hardly any has */
  use: "used" | "fits" | "no-car" | "withheld";
  /** pieces that left the shelf in the past year; null where that is not known */
  takenPastYear: number | null;
}

/** Why it will not be sold, how many pieces that concerns (null: not known), and the day on which they die, if there is one. */
export interface DyingReason {
  reason:
    | "no-car"
    | "not-in-use"
    | "past-shelf-life"
    | "ages-before-sale"
    | "ended"
    | "ends"
    | "superseded"
    | "more-than-needed";
  pieces: number | null;
  on: string | null;
}

const daysFrom = (day: string, days: number) => dayAfter(`${day}T00:00:00.000Z`, days);

/**
 * The reasons for which pieces of a line will not be sold by a day; none where all of them will, or may.
 *
 * - `no-car`, `not-in-use`: none of the drivers whose need is known uses it, and none left the shelf in the past year.
 * - `past-shelf-life`, `ages-before-sale`: first in, first out; what is sold before a batch ends is taken at the 10th
 *   percentile of the need, or of the past year's pace where that is more.
 * - `ended`, `ends`, `superseded`: concerns what lies beyond the 90th percentile of the need, or all where it is withheld.
 * - `more-than-needed`: whole packs beyond the 90th percentile of the need, what left in the past year, and one pack of
 *   a car-stopper, whichever is most.
 *
 * @param days at which needs are looked at, in order; the last is the day by which it is to be sold
 */
export function dyingReasons(line: OnShelfLine, days: readonly string[], today: string): DyingReason[] {
  const through = days.at(-1) ?? today;
  const { pieces, needs, takenPastYear, endedOn, replaced, use } = line;
  const reasons: DyingReason[] = [];
  const sells = (takenPastYear ?? 0) > 0;
  if (!sells && (use === "no-car" || use === "fits"))
    reasons.push({ reason: use === "fits" ? "not-in-use" : "no-car", pieces, on: null });
  if (line.ageing !== null) reasons.push(...agedReasons(line.ageing, sellingBy(line, days, today), today));
  const last = needs?.at(-1)?.needed;
  const beyond =
    pieces === null || needs === null
      ? pieces
      : Math.max(0, pieces - Math.max(takenPastYear ?? 0, pmfQuantile(last ?? [1], 0.9)));
  if (endedOn !== null && endedOn <= today) reasons.push({ reason: "ended", pieces: beyond, on: endedOn });
  else if (endedOn !== null && endedOn <= through)
    reasons.push({ reason: "ends", pieces: beyond, on: endedOn });
  else if (replaced) reasons.push({ reason: "superseded", pieces: beyond, on: null });
  const tooMany = packsBeyond(line);
  if (tooMany > 0 && use === "used") reasons.push({ reason: "more-than-needed", pieces: tooMany, on: null });
  return reasons;
}

/** Pieces in whole packs beyond what is likely to be sold; 0 where the need is withheld. */
function packsBeyond({ pieces, packSize, carStopper, needs, takenPastYear }: OnShelfLine): number {
  if (pieces === null || needs === null) return 0;
  const needed = pmfQuantile(needs.at(-1)?.needed ?? [1], 0.9);
  const kept = Math.max(needed, takenPastYear ?? 0, carStopper ? packSize : 0);
  return Math.floor(Math.max(0, pieces - kept) / packSize) * packSize;
}

/**
 * What may be relied on to be sold by each day: the need, or what left the shelf in the past year going on as a Poisson
 * count, whichever is more at its 10th percentile. The drivers who share are not all who buy.
 */
function sellingBy(
  { needs, takenPastYear }: OnShelfLine,
  days: readonly string[],
  today: string,
): NeedThrough[] {
  return days.map((day, i) => {
    const need = needs?.[i]?.needed ?? [1];
    const years = Math.max(0, Date.parse(day) - Date.parse(today)) / yearMs;
    const pace = poissonLaw((takenPastYear ?? 0) * years);
    return { day, needed: pmfQuantile(pace, 0.1) > pmfQuantile(need, 0.1) ? pace : need };
  });
}
const yearMs = 365 * 86_400_000;

function agedReasons(ageing: AgeingStock, selling: readonly NeedThrough[], today: string): DyingReason[] {
  const reasons: DyingReason[] = [];
  const past = lostToAge(ageing, today, selling);
  const batches = goodUntil(ageing);
  if (past > 0) reasons.push({ reason: "past-shelf-life", pieces: past, on: batches[0]!.day });
  const through = selling.at(-1)?.day ?? today;
  const ages = lostToAge(ageing, through, selling) - past;
  const lostOn = (day: string) => lostToAge(ageing, daysFrom(day, 1), selling) > past;
  if (ages > 0) {
    const on = batches.find(({ day }) => day >= today && lostOn(day))?.day ?? null;
    reasons.push({ reason: "ages-before-sale", pieces: ages, on });
  }
  return reasons;
}

/** Pieces that some reasons concern between them: what ages may be what nobody needs, so that they are not added up. */
export function dyingPieces(reasons: readonly DyingReason[], pieces: number | null): number | null {
  const counted = reasons.flatMap(({ pieces }) => (pieces === null ? [] : [pieces]));
  if (pieces === null && counted.length < reasons.length) return null;
  const aged = reasons
    .filter(({ reason }) => reason === "past-shelf-life" || reason === "ages-before-sale")
    .reduce((sum, { pieces }) => sum + (pieces ?? 0), 0);
  return Math.min(pieces ?? Infinity, Math.max(aged, 0, ...counted));
}

/** The day on which the first of them die, where one is known. */
export const diesOn = (reasons: readonly DyingReason[]): string | null =>
  reasons
    .flatMap(({ on }) => (on === null ? [] : [on]))
    .sort()
    .at(0) ?? null;

/** What is left of a need once some pieces of another line have served it: the law of what goes beyond them. */
export function needBeyond(needed: readonly number[], served: number): number[] {
  const beyond = needed.slice(Math.max(0, served));
  if (beyond.length === 0) return [1];
  beyond[0] = pmfCdf(needed, served);
  return beyond;
}

/** Pieces that will be sold of what there is: expected, and 10th percentile, median and 90th percentile. */
export function salesOf(needed: readonly number[], pieces: number) {
  const expected = pmfMean(needed) - pmfMean(needBeyond(needed, pieces));
  const at = (level: number) => Math.min(pieces, pmfQuantile(needed, level));
  return { expected: Math.max(0, expected), p10: at(0.1), median: at(0.5), p90: at(0.9) };
}

/**
 * What to beware of when aged stock is got rid of. Packs are collected apart from household waste (published guidance of
 * several fire and rescue services on lithium packs); what else is asked for differs from place to place and from maker
 * to maker, so that nothing more is stated here.
 */
export const disposalCautions = {
  pack: "Aged packs go to the collection point that your local authority names, never to the household bin; do not sell, charge or run one that is swollen, dented, punctured or soaked; local disposal rules and the maker's leaflet come first.",
  other:
    "Get rid of aged glue, oil, rubber and the like as local disposal rules and the maker's instructions on the label say, and of nothing down a drain.",
} as const;
