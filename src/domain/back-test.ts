import {
  conditionMultipliers,
  crpsCount,
  crpsNormal,
  crpsToHorizon,
  forecastWear,
  normalCdf,
  normalQuantile,
  populationSummary,
  type Random,
  type StraightLine,
  straightLine,
  type WearForecast,
  type WearLineFit,
  type WearObservation,
  type WearPiece,
} from "../stats/index.ts";
import type { Kind } from "./kind.ts";
import { exposures, type LineOverrides, type SeenAtUsage, wearPiece } from "./wear.ts";
import type { UsageAt } from "./usage.ts";

/**
 * A back-test on the log itself: evening by evening, what would have been forecast of each piece that was looked at,
 * from what was known by then, and what happened. It follows the log in the order of time, as the service did, so that
 * nothing of the future is used (prequential: Dawid 1984).
 */

/** What the log says of one piece, first to last. */
export interface PastPiece {
  id: string;
  asNew: number | null;
  priorUsage: number | null;
  priorUsageSd: number | null;
  /** readings and grades in the order of time */
  looks: readonly (SeenAtUsage & { at: string })[];
  /** the usage at which it was retired as worn; null for every other end, and while it is in use */
  worn: UsageAt | null;
}

export interface PastLine {
  kind: Kind;
  overrides: LineOverrides;
  pieces: readonly PastPiece[];
}

/** One forecast and what came of it. */
export interface Scored {
  pieceId: string;
  /** what was forecast: the next reading, the next grade, or the usage at which the piece was finished */
  target: "reading" | "grade" | "end";
  /** false where all that is known of an end is that it had not come by the piece's last look */
  known: boolean;
  ours: Score;
  /** the straight line through the piece's own readings; null where there are not two to draw it through */
  naive: Score | null;
}

export interface Score {
  /** probability that the forecast gave to a smaller outcome: uniform where forecasts are right as often as they say */
  probability: number;
  /** continuous ranked probability score, in the unit of the outcome; null where the outcome is not known */
  crps: number | null;
  /** outcome less the forecast's median, in the unit of the outcome; null where the outcome is not known */
  error: number | null;
}

/** Middles and bounds of the grades in shares of the limit, and the error of a grading, as the fit takes them. */
const gradeMiddles = [0.05, 0.25, 0.575, 0.875, 1.1];
const gradeBounds = [0.1, 0.4, 0.75, 1];
const gradeSd = 0.1;
const z90 = normalQuantile(0.9);
/** The law of what is left is cut at this many usual lives, and tabulated on so many points. */
const horizonLives = 6;
const tablePoints = 32;

const dayOf = (at: string) => at.slice(0, 10);

/** The evenings of a line: the last look of each day on which a piece was looked at that was looked at again later. */
export function eveningsOf({ pieces }: PastLine): string[] {
  const last = new Map<string, string>();
  for (const { looks } of pieces)
    for (const { at } of looks) if (at > (last.get(dayOf(at)) ?? "")) last.set(dayOf(at), at);
  const useful = new Set(
    pieces.flatMap(({ looks, worn }) =>
      looks.filter(({ at }) => worn !== null || at < looks.at(-1)!.at).map(({ at }) => dayOf(at)),
    ),
  );
  return [...last]
    .filter(([day]) => useful.has(day))
    .map(([, at]) => at)
    .sort();
}

const knownBy = ({ looks, ...piece }: PastPiece, evening: string): PastPiece => ({
  ...piece,
  looks: looks.filter(({ at }) => at <= evening),
});

/** The pieces of a line as they were known on an evening. */
export function piecesKnownBy({ kind, overrides, pieces }: PastLine, evening: string): WearPiece[] {
  return pieces
    .map((piece) => wearPiece(kind, overrides, piece, knownBy(piece, evening).looks))
    .filter(({ observations }) => observations.length > 0);
}

/** The pieces that were looked at on the day of an evening. */
export const seenOn = ({ pieces }: PastLine, evening: string): PastPiece[] =>
  pieces.filter((piece) => {
    const last = knownBy(piece, evening).looks.at(-1);
    return last !== undefined && dayOf(last.at) === dayOf(evening);
  });

/**
 * Scores what would have been forecast of a piece on an evening on which it was looked at: its next look, and the usage
 * at which it was finished.
 *
 * @param fit of the line, from what was known on that evening
 * @param random places an outcome that is known only to lie within a range: a grade, or an end that has not come
 */
export function scorePiece(
  line: PastLine,
  fit: WearLineFit,
  piece: PastPiece,
  evening: string,
  random: Random,
): Scored[] {
  const known = knownBy(piece, evening);
  const own = wearPiece(line.kind, line.overrides, piece, known.looks);
  const next = nextLook(line, piece, known, own.observations.length);
  const end = scoreEnd(line, fit, piece, own, known.looks.at(-1)!, random);
  return [
    ...(next === null ? [] : [scoreLook(fit, piece.id, own, next, random)]),
    ...(end === null ? [] : [end]),
  ];
}

/** The look that followed, as the wear line sees it; null if none did, or only one of the piece still unused. */
function nextLook(
  { kind, overrides }: PastLine,
  piece: PastPiece,
  known: PastPiece,
  before: number,
): WearObservation | null {
  const after = piece.looks[known.looks.length];
  if (after === undefined) return null;
  // Of the looks of one moment the reading says most.
  const same = piece.looks.slice(known.looks.length).filter(({ at }) => at === after.at);
  const one = same.find(({ value }) => value !== null) ?? after;
  const { observations } = wearPiece(kind, overrides, piece, [...known.looks, one]);
  return observations.length > before ? observations.at(-1)! : null;
}

/** The line through a piece's own readings and its start; grades stand at their middles. */
function naiveLine(own: WearPiece, readingSd: number): StraightLine | null {
  const points = [
    { x: 0, y: 0 },
    ...own.observations.map(({ usage, wear, grade }) => ({
      x: usage,
      y: wear ?? gradeMiddles[grade!]! * own.limit,
    })),
  ];
  return new Set(points.map(({ x }) => x)).size < 2 ? null : straightLine(points, readingSd);
}

function scoreLook(
  fit: WearLineFit,
  pieceId: string,
  own: WearPiece,
  next: WearObservation,
  random: Random,
): Scored {
  const then = forecastWear(fit, own, { usage: next.usage, exposures: next.exposures ?? [] });
  const level = { mean: then.wear.median, sd: (then.wear.p90 - then.wear.p10) / (2 * z90) };
  const graded = next.wear === undefined;
  // The error of a reading is what the line has learned of it, times how much better or worse this instrument is stated.
  const stated = fit.prior.readingSd;
  const instrument = stated > 0 ? (next.sd ?? stated) / stated : 1;
  const error = graded ? gradeSd * own.limit : populationSummary(fit).readingSd * instrument;
  const least = graded ? gradeSd * own.limit : Math.max(next.sd ?? stated, 1e-9 * own.limit);
  const line = naiveLine(own, least);
  const laws = [
    { mean: level.mean, sd: Math.max(Math.hypot(level.sd, error), 1e-12) },
    line === null ? null : { mean: line.intercept + line.slope * next.usage, sd: line.sd },
  ] as const;
  const place = graded ? random.uniform() : 0;
  const score = (law: { mean: number; sd: number }): Score =>
    graded
      ? scoreGrade(law, next.grade!, own.limit, place)
      : {
          probability: normalCdf((next.wear! - law.mean) / law.sd),
          crps: crpsNormal(next.wear!, law),
          error: next.wear! - law.mean,
        };
  return {
    pieceId,
    target: graded ? "grade" : "reading",
    known: true,
    ours: score(laws[0]),
    naive: laws[1] === null ? null : score(laws[1]),
  };
}

function scoreGrade(law: { mean: number; sd: number }, grade: number, limit: number, place: number): Score {
  const below = [0, ...gradeBounds.map((bound) => normalCdf((bound * limit - law.mean) / law.sd)), 1];
  const chances = below.slice(1).map((upper, g) => Math.max(0, upper - below[g]!));
  const median = chances.findIndex((_, g) => below[g + 1]! >= 0.5);
  return {
    probability: below[grade]! + place * chances[grade]!,
    crps: crpsCount(grade, chances),
    error: grade - median,
  };
}

/** Until when a piece is known to have served, and whether it was finished then. */
export interface EndOfPiece extends UsageAt {
  finished: boolean;
}

/**
 * The usage at which a piece was finished: where the straight line between the readings around its limit passes it, or
 * halfway between the looks around the first grade 4 of those at its end. A piece that was retired as worn after more use than at its last look was
 * finished halfway between the two. Every other piece is known not to have been finished at its last look: one that was
 * taken off a little early, too, for its limit was not seen to be passed. Null without a look.
 */
export function endOfPiece({ kind, overrides }: PastLine, piece: PastPiece): EndOfPiece | null {
  const last = piece.looks.at(-1);
  if (last === undefined) return null;
  const { observations, limit } = wearPiece(kind, overrides, piece, piece.looks);
  // A look that says "past" is a wrong one where a later look says otherwise.
  const first = observations.findLastIndex((one) => !isPast(one, limit)) + 1;
  if (first === observations.length) {
    if (piece.worn === null || piece.worn.usage <= last.usage) return { ...last, finished: false };
    return { ...between(last, piece.worn, 0.5), finished: true };
  }
  // Observations and looks end alike; at the front one may have looks at the new piece that the other has not.
  const unused: UsageAt = { usage: 0, bySurface: {} };
  const lookOf = (i: number): UsageAt => piece.looks[i + piece.looks.length - observations.length] ?? unused;
  const [before, after] = [observations[first - 1], observations[first]!];
  const share =
    before?.wear === undefined || after.wear === undefined || !(after.wear > before.wear)
      ? 0.5
      : Math.min(1, Math.max(0, (limit - before.wear) / (after.wear - before.wear)));
  return { ...between(first === 0 ? unused : lookOf(first - 1), lookOf(first), share), finished: true };
}

const isPast = ({ wear, grade }: WearObservation, limit: number): boolean =>
  wear === undefined ? grade === 4 : wear >= limit;

/** The usage a share of the way from one look to a later one. */
function between(from: UsageAt, to: UsageAt, share: number): UsageAt {
  const mix = (a: number, b: number) => a + share * (b - a);
  const surfaces = Object.keys(to.bySurface) as (keyof UsageAt["bySurface"])[];
  return {
    usage: mix(from.usage, to.usage),
    bySurface: Object.fromEntries(
      surfaces.map((surface) => [surface, mix(from.bySurface[surface] ?? 0, to.bySurface[surface]!)]),
    ),
  };
}

function scoreEnd(
  line: PastLine,
  fit: WearLineFit,
  piece: PastPiece,
  own: WearPiece,
  now: SeenAtUsage,
  random: Random,
): Scored | null {
  const end = endOfPiece(line, piece);
  if (end === null) return null;
  const wearing = wearingUsage(line.kind, fit);
  const left = wearing(end) - wearing(now);
  if (!(left > 0)) return null;
  const forecast = forecastWear(fit, own, { usage: now.usage, exposures: exposures(line.kind, now) });
  const horizon = Math.max(horizonLives * fit.scale.usage, left);
  const naive = naiveLine(own, Math.max(fit.prior.readingSd, 1e-9 * own.limit));
  const ours = lawOf(forecast);
  const scored = { pieceId: piece.id, target: "end" as const, known: end.finished };
  if (end.finished) {
    const median = forecast.remainingQuantile(0.5) ?? horizon;
    const other = naive === null ? null : lineEnd(naive, own.limit, now.usage, horizon);
    return {
      ...scored,
      ours: scoreLeft(left, ours, median, horizon),
      naive: other === null ? null : scoreLeft(left, other.law, other.median, horizon),
    };
  }
  // An end beyond the last look is put anywhere beyond it by the forecast's own law: uniform where that is right.
  const place = random.uniform();
  const beyond = (law: (ahead: number) => number): Score => {
    const before = law(left);
    return { probability: before + place * (1 - before), crps: null, error: null };
  };
  return {
    ...scored,
    ours: beyond(ours),
    naive: naive === null ? null : beyond(lineEnd(naive, own.limit, now.usage, horizon).law),
  };
}

/** Usage with every learned condition turned into usage at multiplier 1, by the medians of a fit. */
function wearingUsage(kind: Kind, fit: WearLineFit): (at: UsageAt) => number {
  const multipliers = conditionMultipliers(fit).map(({ median }) => median);
  return (at) =>
    exposures(kind, at).reduce((sum, part, c) => sum + ((multipliers[c] ?? 1) - 1) * part, at.usage);
}

const lawOf = (forecast: WearForecast) => (ahead: number) => forecast.remainingCdf(ahead);

function scoreLeft(left: number, law: (ahead: number) => number, median: number, horizon: number): Score {
  // A table close to the start, where most of what matters lies; between its points the law is straight.
  const at = Array.from({ length: tablePoints + 1 }, (_, i) => (i / tablePoints) ** 2 * horizon);
  const table = at.map(law);
  const straight = (x: number) => {
    const i = Math.min(tablePoints - 1, Math.floor(Math.sqrt(Math.max(0, x) / horizon) * tablePoints));
    const share = Math.min(1, Math.max(0, (x - at[i]!) / (at[i + 1]! - at[i]!)));
    return table[i]! + share * (table[i + 1]! - table[i]!);
  };
  return { probability: law(left), crps: crpsToHorizon(left, straight, horizon), error: left - median };
}

/** What a straight line says of the end: it meets the limit at one usage, give or take its spread; not before now. */
function lineEnd(
  { intercept, slope, sd }: StraightLine,
  limit: number,
  now: number,
  horizon: number,
): { law: (ahead: number) => number; median: number } {
  if (!(slope > 0)) return { law: () => 0, median: horizon };
  const mean = (limit - intercept) / slope - now;
  const spread = sd / slope;
  const already = normalCdf(-mean / spread);
  const law = (ahead: number) =>
    already > 1 - 1e-12 ? 1 : Math.max(0, (normalCdf((ahead - mean) / spread) - already) / (1 - already));
  return { law, median: Math.max(0, mean) };
}
