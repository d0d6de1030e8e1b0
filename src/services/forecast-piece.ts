import { breakageOf, breakagePerRun } from "../domain/breakage.ts";
import type { MeetingDemand, PlannedMeeting } from "../domain/calendar.ts";
import { DomainError } from "../domain/errors.ts";
import {
  chancesThrough,
  pieceDemand,
  pieceForecast,
  type PieceInUse,
  remainingLife,
  restsOn,
  surfaceMultipliers,
} from "../domain/forecast.ts";
import { runUsage, usageAtMoments } from "../domain/usage.ts";
import {
  countedLooks,
  type LimitName,
  type SeenAtUsage,
  sizeAt,
  wearAnswered,
  looksFromNew,
  wearLimit,
  wearScale,
} from "../domain/wear.ts";
import type { WearForecast } from "../stats/index.ts";
import { selectSeenWear } from "../storage/inspections.ts";
import { countPiecesInUse, selectLastCarOfPack } from "../storage/pieces.ts";
import type { PieceRow } from "../storage/tables.ts";
import { selectFittingsOfPiece, selectRunsOfPiece } from "../storage/usage.ts";
import { aheadThrough, meetingsAhead } from "./calendar-ahead.ts";
import { getOwnCar } from "./keep-cars.ts";
import { type OwnCalendar, raceCalendars } from "./race-calendars.ts";
import { ageSince, getOwnPiece } from "./keep-pieces.ts";
import { count, percent } from "./in-words.ts";
import { type CurrentModel, seenAtUsage } from "./line-models.ts";
import type { Work } from "./work.ts";

const probabilities = [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95];

/** Everything the log says of one piece, as a forecast needs it. */
export async function pieceInUse(work: Work, piece: PieceRow, model: CurrentModel) {
  const [fittings, runs, seen] = await Promise.all([
    selectFittingsOfPiece(work.db, piece.id),
    selectRunsOfPiece(work.db, piece.id),
    selectSeenWear(work.db, [piece.id]),
  ]);
  const since = ageSince(piece, fittings[0]?.fittedAt);
  const { clock } = model.kind;
  const history = { clock, priorUsage: piece.priorUsage ?? 0, since, runs };
  const [now] = usageAtMoments(history, [work.now()]);
  const { id, asNew, priorUsage, priorUsageSd } = piece;
  const looks = seenAtUsage(model.kind, piece, fittings[0]?.fittedAt, runs, seen);
  const use: PieceInUse = { id, asNew, priorUsage, priorUsageSd, seen: looks, now: now! };
  return {
    use,
    fitting: fittings.find((f) => f.removedAt === null),
    runs,
    lastSeenAt: seen.at(-1)?.at ?? null,
  };
}

/**
 * The calendar that a piece follows: that of the car it is fitted to; for a pack, that of the car that used it last,
 * shared with the driver's other packs; for a spare, that of the car it is meant for, if one is named.
 */
export async function aheadOf(
  work: Work,
  piece: PieceRow,
  model: CurrentModel,
  carId: string | null,
): Promise<OwnCalendar> {
  const isPack = model.kind.usedBy === "pack";
  const chosen = carId ?? (await lastCarOf(work, piece, isPack));
  if (chosen === undefined) return { ahead: [], practice: null };
  const car = await getOwnCar(work, chosen);
  const ahead = (await meetingsAhead(work, [car])).get(car.id) ?? [];
  const own = (await raceCalendars(work, car, ahead))(piece.id, model);
  if (!isPack) return own;
  const whole = (runs: number) => Math.max(1, Math.round(runs));
  if (own.ahead !== ahead)
    return { ...own, ahead: own.ahead.map((meeting) => ({ ...meeting, runs: whole(meeting.runs) })) };
  const packs = await countPiecesInUse(work.db, piece.driverId, model.line.kindId);
  const share = (runs: number) => whole(runs / Math.max(1, packs));
  return { ...own, ahead: ahead.map((meeting) => ({ ...meeting, runs: share(meeting.runs) })) };
}

/** The car that used a pack last, or from which a piece kept for practice came. */
async function lastCarOf(work: Work, piece: PieceRow, isPack: boolean): Promise<string | undefined> {
  if (isPack) return selectLastCarOfPack(work.db, piece.id);
  return piece.keptFor === null ? undefined : (await selectFittingsOfPiece(work.db, piece.id)).at(-1)?.carId;
}

/**
 * When will this piece be worn out? Its wear now, its rate, what is left as usage, runs, meetings and a date, and its
 * chance of getting through the next meeting and through one more run.
 *
 * @throws {DomainError} `not_found`, `not_allowed`, `piece_retired`, or `nothing_to_forecast` where the kind lacks that limit,
 *   or the piece has no such meeting ahead
 */
export async function forecastPiece(work: Work, id: string, asked: AskedForecast = {}) {
  const piece = await getOwnPiece(work, id);
  if (piece.retiredAt !== null)
    throw new DomainError(
      "piece_retired",
      `${piece.mark} was retired at ${piece.retiredAt} (${piece.retiredFor})`,
    );
  return forecastOf(work, piece, asked);
}

interface AskedForecast {
  limit?: LimitName | undefined;
  carId?: string | undefined;
  meetingId?: string | undefined;
}

/**
 * The forecast of a piece as of `work.now()`, also of one that was retired: then as of that moment at the latest.
 *
 * @throws {DomainError} as `forecastPiece`
 */
export async function forecastOf(work: Work, piece: PieceRow, asked: AskedForecast) {
  const limitName = asked.limit ?? "club";
  const model = await work.models.get(work, piece.lineId);
  const scale = wearScale(model.kind, model.overrides);
  const limit = scale.limits[limitName];
  const limitWear = wearLimit(scale, limitName);
  if (limit === null || limitWear === null)
    throw new DomainError(
      "nothing_to_forecast",
      `A ${model.kind.name} has no ${limitName} limit; ask for another`,
    );

  const { use, fitting, lastSeenAt } = await pieceInUse(work, piece, model);
  const carId = fitting?.carId ?? asked.carId ?? null;
  const { ahead, practice } = await aheadOf(work, piece, model, carId);
  const forecast = pieceForecast(model, use, limitName);
  const { start } = looksFromNew(model.kind, model.overrides, use.asNew, use.seen);
  const demand = pieceDemand(model, ahead);
  const [next] = demand;
  const through =
    asked.meetingId === undefined
      ? null
      : demand.slice(0, (await meetingsThrough(work, { piece, carId, ahead }, asked.meetingId)).length);
  const oneRun = {
    wearingUsage:
      model.kind.clock === "days"
        ? 1
        : runUsage(model.kind.clock, { minutes: next?.minutesPerRun ?? 5.5, knocks: 0.5 }) *
          (next === undefined ? 1 : surfaceMultipliers(model.kind, model.wear)(next.surface)),
    runs: 1,
  };
  const daysUntil = (day: string) => Math.max(0, (Date.parse(day) - Date.parse(work.now())) / 86_400_000) + 1;
  const past = forecast.pastLimitProbability;
  const breakage = breakageOf(model.breakage, piece.driverId);
  /** Over the first meetings ahead, the last of which is named. */
  const over = (meetings: readonly MeetingDemand[]) => {
    const { meetingId, name, startsOn, throughHere } = meetings.at(-1)!;
    const runs = meetings.reduce((sum, meeting) => sum + meeting.runs, 0);
    return {
      meetingId,
      name,
      startsOn,
      runs,
      usage: meetings.reduce((sum, meeting) => sum + meeting.usage, 0),
      ...chancesThrough(forecast, breakage, {
        wearingUsage: model.kind.clock === "days" ? daysUntil(startsOn) : throughHere,
        runs,
      }),
    };
  };
  return {
    pieceId: piece.id,
    mark: piece.mark,
    lineId: piece.lineId,
    sku: model.line.sku,
    kindCode: model.kind.code,
    carId: fitting?.carId ?? null,
    asOf: work.now(),
    clock: model.kind.clock,
    unit: scale.unit,
    limit: { name: limitName, basis: scale.limits.basis, value: limit, wear: limitWear },
    usage: use.now.usage,
    lastSeenAt,
    wear: wearAnswered(scale, forecast.wear),
    sizeNow:
      scale.unit === null ? null : sizeRange(forecast.wear, (wear) => sizeAt(scale, start.asNew, wear)),
    wearRate: forecast.rate,
    pastLimitChance: past,
    remaining: remainingLife(model.kind, forecast, demand, work.now()),
    remainingQuantiles: probabilities.map((probability) => ({
      probability,
      usage: probability <= past ? 0 : forecast.remainingQuantile((probability - past) / (1 - past)),
    })),
    nextMeeting: next === undefined ? null : over([next]),
    practice,
    throughMeeting: through === null ? null : withSentence(over(through), through.length - 1),
    oneMoreRun: chancesThrough(forecast, breakage, oneRun),
    breakage: { perRun: breakagePerRun(breakage), broken: breakage.broken, runs: breakage.runs },
    surprises: surprisesOf(forecast, countedLooks(model.kind, model.overrides, use.asNew, use.seen)),
    restsOn: { ...restsOn(model, use), current: model.current },
    cautions: model.kind.cautions,
  };
}

/** The meetings ahead of a piece through one of them. @throws {DomainError} as `aheadThrough` */
async function meetingsThrough(
  work: Work,
  { piece, carId, ahead }: { piece: PieceRow; carId: string | null; ahead: readonly PlannedMeeting[] },
  meetingId: string,
) {
  const car = carId === null ? null : await getOwnCar(work, carId);
  if (car === null && ahead.length === 0)
    throw new DomainError(
      "nothing_to_forecast",
      `${piece.mark} is on no car: say with carId whose calendar it would follow`,
      [{ pointer: "#/carId", detail: "must say whose calendar it would follow, for it is on no car" }],
    );
  return aheadThrough(work, ahead, meetingId, car === null ? piece.mark : `"${car.name}"`);
}

/** A chance through a meeting, with how many meetings lie before it. */
const withSentence = <T extends { name: string; startsOn: string; runs: number; lasts: number }>(
  one: T,
  meetingsBefore: number,
) => ({
  ...one,
  meetingsBefore,
  sentence: `It lasts through ${one.name} on ${one.startsOn} with a chance of ${percent(one.lasts)}: ${count(one.runs, "run")}${meetingsBefore === 0 ? "" : `, those of the ${meetingsBefore === 1 ? "meeting" : `${meetingsBefore} meetings`} before it included`}.`,
});

/** The readings off the trend, each with when it was read and what it said. */
const surprisesOf = (forecast: WearForecast, looks: readonly SeenAtUsage[]) =>
  forecast.surprises.map(({ index, standardScore, weight }) => {
    const { at = null, usage, value } = looks[index]!;
    return { at, usage, value, standardScore, weight };
  });

/** Sizes at some wear, in the order of wear: p10 is the size of the least worn. */
const sizeRange = (wear: { p10: number; median: number; p90: number }, size: (wear: number) => number) => ({
  p10: size(wear.p10),
  median: size(wear.median),
  p90: size(wear.p90),
});
