import { setImmediate } from "node:timers/promises";
import type { MeetingDemand } from "../domain/calendar.ts";
import { dayAfter } from "../domain/calendar.ts";
import { dayIn, dayStart } from "../domain/club-time.ts";
import { pieceDemand, pieceForecast, type PieceInUse } from "../domain/forecast.ts";
import { type UsedRun, usageAtMoments } from "../domain/usage.ts";
import {
  gradeShares,
  type LimitName,
  limitNames,
  looksFromNew,
  type SeenAtUsage,
  wearLimit,
  wearScale,
} from "../domain/wear.ts";
import type { Quantiles } from "../stats/index.ts";
import { selectSeenWear } from "../storage/inspections.ts";
import type { PieceRow } from "../storage/tables.ts";
import { selectFittingsOfPiece } from "../storage/usage.ts";
import { clubTimeZone } from "./calendar-ahead.ts";
import { aheadOf, forecastOf, pieceInUse } from "./forecast-piece.ts";
import { ageSince, getOwnPiece } from "./keep-pieces.ts";
import type { CurrentModel } from "./line-models.ts";
import type { Work } from "./work.ts";

/** A look at the piece: a reading with its wear, or a grade with the range of wear that it means. */
export interface PictureLook {
  /** null for the as-new reading that was stated with the piece */
  at: string | null;
  usage: number;
  /** null for a grade */
  wear: number | null;
  low: number;
  /** null: no upper end */
  high: number | null;
  grade: number | null;
}

/** The wear at one usage, at a moment where one is known. */
export interface BandPoint {
  at: string | null;
  usage: number;
  wear: Quantiles;
}

interface AskedPicture {
  axis?: PictureAxis | undefined;
  limit?: LimitName | undefined;
  carId?: string | undefined;
}

/** What the picture is drawn along. */
export const pictureAxes = ["usage", "date"] as const;
export type PictureAxis = (typeof pictureAxes)[number];

/** A picture gains nothing from more days than this, and each costs two forecasts. */
const mostRunDays = 14;
const mostLooks = 24;
const stepsAhead = 14;
const mostMeetings = 40;
/** The bar of a reading: so many standard deviations of its instrument to either side. */
export const barSds = 2;

/**
 * What a picture of a piece's wear shows: every look at it, what was known of its wear at each moment up to now, and
 * what is forecast from now on, by usage or along the calendar of its car.
 *
 * The band of the past is filtered, not smoothed: at each moment it rests on the looks at this piece up to then, and
 * on the fit of the other pieces of its line as it is today. It narrows at each look, and shows what a decision of
 * that evening could have rested on. A band given all looks, later ones too, would be narrower.
 *
 * A retired piece is shown as it was on its last day, and nothing is forecast.
 *
 * @throws {DomainError} `not_found`, `not_allowed`, or `nothing_to_forecast` where the kind lacks that limit
 */
export async function wearPicture(asking: Work, id: string, { axis = "usage", ...asked }: AskedPicture = {}) {
  const piece = await getOwnPiece(asking, id);
  const { retiredAt, retiredFor } = piece;
  const work = retiredAt === null ? asking : { ...asking, now: () => retiredAt };
  const forecast = await forecastOf(work, piece, asked);
  const limitName = asked.limit ?? "club";
  const model = await work.models.get(work, piece.lineId);
  const { use, runs, fitting } = await pieceInUse(work, piece, model);
  const [seen, fittings] = await Promise.all([
    selectSeenWear(work.db, [id]),
    selectFittingsOfPiece(work.db, id),
  ]);
  const since = ageSince(piece, fittings[0]?.fittedAt);
  const ahead =
    retiredAt === null
      ? (await aheadOf(work, piece, model, fitting?.carId ?? asked.carId ?? null)).ahead
      : [];
  const timeZone = await clubTimeZone(work);
  const at = seen.map((one) => one.at);
  const scale = wearScale(model.kind, model.overrides);
  return {
    forecast,
    /** when and why it was retired; null for a piece in use or a spare */
    retired: retiredAt === null ? null : { at: retiredAt, for: retiredFor! },
    /** whose days a picture along the calendar shows */
    timeZone,
    lineName: model.line.name,
    kindName: model.kind.name,
    basis: scale.limits.basis,
    sign: scale.sign,
    asNew: scale.asNew,
    limits: limitNames.flatMap((name) => {
      const wear = wearLimit(scale, name);
      return wear === null ? [] : [{ name, wear, value: scale.limits[name]! }];
    }),
    looks: looksOf(model, piece, use.seen, at),
    past: await pastBand(work, model, { use, piece, runs, since, at, timeZone }, limitName),
    ahead:
      retiredAt !== null
        ? []
        : axis === "usage"
          ? aheadByUsage(model, use, limitName, forecast.remaining.usage)
          : aheadByDate(
              model,
              use,
              limitName,
              pieceDemand(model, ahead),
              { now: work.now(), timeZone },
              forecast.remaining.usage,
            ),
  };
}
export type WearPicture = Awaited<ReturnType<typeof wearPicture>>;

function looksOf(
  model: CurrentModel,
  piece: PieceRow,
  seen: readonly SeenAtUsage[],
  at: readonly string[],
): PictureLook[] {
  const scale = wearScale(model.kind, model.overrides);
  const { looks, start } = looksFromNew(model.kind, model.overrides, piece.asNew, seen);
  const stated = looks.length - seen.length;
  const limit = wearLimit(scale)!;
  return looks.map(({ usage, value, sd, grade }, i) => {
    const when = i < stated ? null : at[i - stated]!;
    if (value === null) {
      const { from, to } = gradeShares[grade!]!;
      return {
        at: when,
        usage,
        wear: null,
        low: from * limit,
        high: to === null ? null : to * limit,
        grade,
      };
    }
    const wear = scale.sign * (value - start.asNew);
    return { at: when, usage, wear, low: wear - barSds * sd!, high: wear + barSds * sd!, grade: null };
  });
}

/** At most so many of some values in order, the first and the last among them. */
function thinned<T>(values: readonly T[], most: number): T[] {
  if (values.length <= most) return [...values];
  return Array.from({ length: most }, (_, i) => values[Math.round((i * (values.length - 1)) / (most - 1))]!);
}

interface Past {
  use: PieceInUse;
  piece: PieceRow;
  runs: readonly UsedRun[];
  since: string | null;
  /** moment of each look */
  at: readonly string[];
  timeZone: string;
}

/** Moments at which the band is worked out: before and after the runs of a day, and before and after each look. */
function momentsOf({ runs, since, at, timeZone }: Past, now: string): { at: string; looks: number }[] {
  const lookedBy = (moment: string, included: boolean) =>
    at.filter((one) => (included ? one <= moment : one < moment)).length;
  const days = new Map<string, { first: string; last: string }>();
  for (const { at: run } of runs) {
    const day = dayIn(timeZone, run);
    days.set(day, { first: days.get(day)?.first ?? run, last: run });
  }
  const around = thinned([...days.values()], mostRunDays).flatMap(({ first, last }) => [
    // A run counts from its own moment on: a millisecond before it the piece is as it came.
    new Date(Date.parse(first) - 1).toISOString(),
    last,
  ]);
  const moments = [
    ...around.map((moment) => ({ at: moment, looks: lookedBy(moment, true) })),
    ...thinned([...new Set(at)], mostLooks).flatMap((moment) => [
      { at: moment, looks: lookedBy(moment, false) },
      { at: moment, looks: lookedBy(moment, true) },
    ]),
    { at: now, looks: at.length },
  ];
  const begin = since ?? runs[0]?.at;
  if (begin !== undefined && begin < now) moments.push({ at: begin, looks: lookedBy(begin, false) });
  return moments.sort((a, b) => (a.at < b.at ? -1 : a.at > b.at ? 1 : a.looks - b.looks));
}

async function pastBand(work: Work, model: CurrentModel, past: Past, limit: LimitName): Promise<BandPoint[]> {
  const { use, piece, runs, since } = past;
  const moments = momentsOf(past, work.now());
  const history = { clock: model.kind.clock, priorUsage: piece.priorUsage ?? 0, since, runs };
  const usages = usageAtMoments(
    history,
    moments.map(({ at }) => at),
  );
  const band: BandPoint[] = [];
  for (const [i, { at, looks }] of moments.entries()) {
    // Dozens of forecasts must not keep other requests waiting.
    await setImmediate();
    const then = { ...use, seen: use.seen.slice(0, looks), now: usages[i]! };
    band.push({ at, usage: usages[i]!.usage, wear: pieceForecast(model, then, limit).wear });
  }
  return band;
}

const later = (use: PieceInUse, more: number): PieceInUse => ({
  ...use,
  now: { ...use.now, usage: use.now.usage + more },
});

/** How far a forecast is drawn: a little beyond where it is probably finished. */
function reachOf(left: { median: number | null; p90: number | null }, usualLife: number): number {
  const far = left.p90 ?? (left.median === null ? usualLife : 2 * left.median);
  return Math.max(1.1 * far, usualLife / 20);
}

type Left = { median: number | null; p90: number | null };

function aheadByUsage(model: CurrentModel, use: PieceInUse, limit: LimitName, left: Left): BandPoint[] {
  const usualLife = (model.overrides.usualLife ?? model.kind.usualLife).p90;
  const reach = Math.min(reachOf(left, usualLife), 3 * usualLife);
  return Array.from({ length: stepsAhead + 1 }, (_, i) => {
    const more = (reach * i) / stepsAhead;
    return {
      at: null,
      usage: use.now.usage + more,
      wear: pieceForecast(model, later(use, more), limit).wear,
    };
  });
}

/** Along the calendar: no meeting, no wear; a kind that ages by days does so from now on. */
function aheadByDate(
  model: CurrentModel,
  use: PieceInUse,
  limit: LimitName,
  demand: readonly MeetingDemand[],
  { now, timeZone }: { now: string; timeZone: string },
  left: Left,
): BandPoint[] {
  const today = dayIn(timeZone, now);
  const wearAfter = (more: number) => pieceForecast(model, later(use, more), limit).wear;
  const point = (at: string, more: number) => ({ at, usage: use.now.usage + more, wear: wearAfter(more) });
  const start = point(now, 0);
  const usualLife = (model.overrides.usualLife ?? model.kind.usualLife).p90;
  const reach = reachOf(left, usualLife);
  if (model.kind.clock === "days")
    return Array.from({ length: stepsAhead + 1 }, (_, i) => {
      const days = (Math.min(reach, 3 * usualLife) * i) / stepsAhead;
      return point(new Date(Date.parse(now) + days * 86_400_000).toISOString(), days);
    });
  const band = [start];
  for (const { startsOn, wearingUsage, throughHere } of demand.slice(0, mostMeetings)) {
    const isOn = startsOn <= today;
    const next = dayAfter(`${isOn ? today : startsOn}T00:00:00.000Z`, 1);
    band.push(
      point(isOn ? now : dayStart(timeZone, startsOn), throughHere - wearingUsage),
      point(dayStart(timeZone, next), throughHere),
    );
    if (throughHere > reach) break;
  }
  return band;
}
