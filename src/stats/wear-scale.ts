/**
 * From the caller's units to the scaled model: usage over the usual life, wear over the limit of the line, so that
 * every parameter is near one. Here the arguments are checked, too.
 */
import { GRADE_MIDDLE } from "./wear-grade.ts";
import type { WearObservation, WearPiece, WearPrior } from "./wear-types.ts";

/**
 * Share of readings expected to be grossly wrong: a digit misread, the wrong piece (our choice, no source). Small, for
 * wear goes by fits and starts, and a larger share takes real steps for errors: ranges then come out too narrow.
 */
export const GROSS_SHARE = 0.002;

/** 90th percentile of the standard normal law. */
export const LOG_Z90 = 1.2815515655446004;
/** Standard deviations of the log hyper-parameters (piece spread, run spread, reading error, exponent), and of the bend. */
const SD_SPREAD = 0.4;
const SD_NOISE = 0.5;
const SD_READING = 0.4;
const SD_EXPONENT = 0.27;
const SD_BEND = 0.28;
/** Share of lines that are taken to wear in proportion to usage, before their readings. */
const STRAIGHT_SHARE = 0.1;
const SD_CONDITION = 0.4;
/** Number of hyper-parameters before the multipliers of the conditions. */
export const BASE_DIMENSIONS = 6;
/** Places of the two bends among them. */
export const EXPONENT = 4;
export const BEND = 5;

// Beyond these the scaled numbers say only "far outside"; the bounds keep every later square finite.
const LARGEST_WEAR = 1e4;
const LARGEST_USAGE = 1e6;
const SMALLEST_SD = 1e-6;

/** A prior in scaled units: centres and standard deviations of the logs of the hyper-parameters. */
export interface ScaledPrior {
  usage: number;
  wear: number;
  centre: number[];
  sd: number[];
  /** prior probability that the path is straight, 0 where no bend is believed possible anyway */
  straightShare: number;
  startVariance: number;
  readingSd: number;
  gradeSd: number;
  /** usage of a typical run, scaled */
  run: number;
}

/** A piece in scaled units; one event per reading or grade, in order of usage. */
export interface ScaledPiece {
  id: string;
  limit: number;
  startVariance: number;
  priorUsageSd: number;
  count: number;
  /** usage at multiplier 1, and its logarithm */
  base: Float64Array;
  logBase: Float64Array;
  /** room for what is worked out anew for each set of hyper-parameters, shared by all pieces: clock, straightened scale */
  room: Float64Array;
  places: Float64Array;
  slopes: Float64Array;
  /** usage under each condition; empty when no condition was ever met */
  exposures: Float64Array[];
  /** -1 for a reading, else the grade */
  grade: Int8Array;
  /** the reading, or the wear in the middle of the grade */
  value: Float64Array;
  /** about where the wear was then: the reading itself until `preparePiece` has been at it */
  middle: Float64Array;
  sd: Float64Array;
  /** index of the observation that each event came from */
  source: Int32Array;
  graded: boolean;
}

export function requireThat(condition: boolean, message: string): void {
  if (!condition) throw new RangeError(message);
}

const positive = (x: number): boolean => x > 0 && x < Infinity;
const notNegative = (x: number): boolean => x >= 0 && x < Infinity;
export const clamp = (x: number, low: number, high: number): number => Math.min(high, Math.max(low, x));

export function scalePrior(prior: WearPrior, limit: number, name: string): ScaledPrior {
  requireThat(positive(limit), `${name} requires a limit > 0`);
  const { life, pieceSpread, runSpread, usagePerRun } = prior;
  requireThat(positive(life.p10) && positive(life.p90), `${name} requires life percentiles > 0`);
  requireThat(life.p10 < life.p90, `${name} requires life.p10 below life.p90`);
  requireThat(positive(pieceSpread) && positive(runSpread), `${name} requires spreads > 0`);
  requireThat(positive(usagePerRun), `${name} requires a usage per run > 0`);
  requireThat(
    notNegative(prior.startSd) && notNegative(prior.readingSd),
    `${name} requires standard deviations >= 0`,
  );
  requireThat(prior.gradeSd === undefined || positive(prior.gradeSd), `${name} requires a gradeSd > 0`);
  const {
    exponentSd = SD_EXPONENT,
    bendSd = SD_BEND,
    straightShare = STRAIGHT_SHARE,
    conditions = [],
  } = prior;
  requireThat(notNegative(exponentSd), `${name} requires an exponentSd >= 0`);
  requireThat(notNegative(bendSd), `${name} requires a bendSd >= 0`);
  requireThat(straightShare >= 0 && straightShare < 1, `${name} requires a straightShare from 0 to below 1`);
  for (const { multiplier, sdLog = SD_CONDITION } of conditions)
    requireThat(
      positive(multiplier) && positive(sdLog),
      `${name} requires condition multipliers and sdLog > 0`,
    );

  const usage = Math.exp(0.5 * (Math.log(life.p10) + Math.log(life.p90)));
  const total = clamp((Math.log(life.p90) - Math.log(life.p10)) / (2 * LOG_Z90), 0.02, 5);
  const spread = clamp(Math.sqrt(Math.log1p(pieceSpread * pieceSpread)), 0.01, 3);
  const run = clamp(usagePerRun / usage, 1e-9, 1e3);
  const noise = clamp(runSpread * Math.sqrt(run), 1e-4, 3);
  // The stated range of lives holds both the unknown level of the line and the scatter of its pieces. The mean of
  // spread² is its centre squared times exp(2 SD²). At least half of the range is left to the line.
  const pieces = spread * spread * Math.exp(2 * SD_SPREAD * SD_SPREAD);
  const line = Math.sqrt(Math.max(total * total - pieces, 0.25 * total * total, 0.04));
  return {
    usage,
    wear: limit,
    centre: [
      0,
      Math.log(spread),
      Math.log(noise),
      0,
      0,
      0,
      ...conditions.map(({ multiplier }) => clamp(Math.log(multiplier), -10, 10)),
    ],
    sd: [
      line,
      SD_SPREAD,
      SD_NOISE,
      SD_READING,
      clamp(exponentSd, SMALLEST_SD, 2),
      clamp(bendSd, SMALLEST_SD, 2),
      ...conditions.map(({ sdLog = SD_CONDITION }) => clamp(sdLog, 1e-6, 5)),
    ],
    straightShare: exponentSd + bendSd > 0 ? straightShare : 0,
    startVariance: clamp(prior.startSd / limit, 0, LARGEST_WEAR) ** 2,
    readingSd: clamp(prior.readingSd / limit, SMALLEST_SD, LARGEST_WEAR),
    gradeSd: clamp(prior.gradeSd ?? 0.1, 1e-3, 10),
    run,
  };
}

/** Usage split into multiplier 1 and the conditions, scaled. */
export interface ScaledUsage {
  base: number;
  exposures: number[];
}

const NONE: number[] = [];

export function scaleUsage(
  at: { usage: number; exposures?: number[] },
  prior: ScaledPrior,
  name: string,
): ScaledUsage {
  const conditions = prior.centre.length - BASE_DIMENSIONS;
  // Where thousands of readings come by, a message is put together only where it is needed.
  if (!notNegative(at.usage)) requireThat(false, `${name} requires a finite usage >= 0`);
  const given = at.exposures ?? NONE;
  if (given.length !== 0 && given.length !== conditions)
    requireThat(false, `${name} requires one exposure per condition`);
  const all = at.usage / prior.usage;
  if (given.length === 0)
    return {
      base: clamp(all, 0, LARGEST_USAGE),
      exposures: conditions === 0 ? NONE : new Array<number>(conditions).fill(0),
    };
  requireThat(given.every(notNegative), `${name} requires finite exposures >= 0`);
  const exposures = given.map((e) => e / prior.usage);
  const rest = all - exposures.reduce((a, b) => a + b, 0);
  const rounding = 1e-9 * all + 1e-300;
  requireThat(rest >= -rounding, `${name} requires exposures that add to at most the usage`);
  return {
    base: clamp(rest, 0, LARGEST_USAGE),
    exposures: exposures.map((e) => Math.min(e, LARGEST_USAGE)),
  };
}

const slack = (x: number): number => x * (1 - 1e-9) - 1e-12;

/** Throws when any part of the usage falls; a fall by rounding is allowed. */
export function requireForward(before: ScaledUsage, after: ScaledUsage, name: string): void {
  let rising = after.base >= slack(before.base);
  for (let c = 0; c < after.exposures.length; c++)
    rising &&= after.exposures[c]! >= slack(before.exposures[c]!);
  if (!rising) requireThat(false, `${name} requires usage that never goes backwards`);
}

function requireObservation(observation: WearObservation, name: string): void {
  const { wear, sd, grade } = observation;
  if (wear !== undefined && !Number.isFinite(wear)) requireThat(false, `${name} requires finite readings`);
  if (sd !== undefined && !notNegative(sd))
    requireThat(false, `${name} requires reading standard deviations >= 0`);
  if (grade !== undefined && !(Number.isInteger(grade) && grade >= 0 && grade <= 4))
    requireThat(false, `${name} requires grades 0 to 4`);
}

/** One event for each reading and each grade of the observations. */
const eventsOf = (observations: readonly WearObservation[]): number =>
  observations.reduce(
    (sum, { wear, grade }) => sum + Number(wear !== undefined) + Number(grade !== undefined),
    0,
  );

const makeRooms = (n: number) => ({
  room: new Float64Array(n),
  places: new Float64Array(n),
  slopes: new Float64Array(n),
});
let rooms = makeRooms(64);

function roomsFor(count: number): typeof rooms {
  if (rooms.room.length < count) rooms = makeRooms(2 * count);
  return rooms;
}

/** The columns of a piece in one stretch of memory: to ask for a stretch takes longer than to fill it. */
function columnsOf(count: number) {
  const all = new ArrayBuffer(count * (5 * 8 + 4 + 1));
  return {
    base: new Float64Array(all, 0, count),
    logBase: new Float64Array(all, 8 * count, count),
    value: new Float64Array(all, 16 * count, count),
    middle: new Float64Array(all, 24 * count, count),
    sd: new Float64Array(all, 32 * count, count),
    source: new Int32Array(all, 40 * count, count),
    grade: new Int8Array(all, 44 * count, count).fill(-1),
  };
}

/** Where an event was, and which observation it came from. */
function placeEvent(scaled: ScaledPiece, event: number, at: ScaledUsage, source: number): void {
  scaled.base[event] = at.base;
  scaled.logBase[event] = Math.log(at.base);
  scaled.source[event] = source;
  for (let c = 0; c < scaled.exposures.length; c++) scaled.exposures[c]![event] = at.exposures[c]!;
}

export function scalePiece(piece: WearPiece, prior: ScaledPrior, name: string): ScaledPiece {
  requireThat(positive(piece.limit), `${name} requires a limit > 0`);
  requireThat(piece.startSd === undefined || notNegative(piece.startSd), `${name} requires a startSd >= 0`);
  requireThat(
    piece.priorUsageSd === undefined || notNegative(piece.priorUsageSd),
    `${name} requires a priorUsageSd >= 0`,
  );
  const conditions = prior.centre.length - BASE_DIMENSIONS;
  const count = eventsOf(piece.observations);
  const scaled: ScaledPiece = {
    id: piece.id,
    limit: clamp(piece.limit / prior.wear, 1e-9, LARGEST_WEAR),
    startVariance:
      piece.startSd === undefined
        ? prior.startVariance
        : clamp(piece.startSd / prior.wear, 0, LARGEST_WEAR) ** 2,
    priorUsageSd: clamp((piece.priorUsageSd ?? 0) / prior.usage, 0, LARGEST_USAGE),
    count,
    ...columnsOf(count),
    ...roomsFor(count),
    exposures: Array.from({ length: conditions }, () => new Float64Array(count)),
    graded: false,
  };
  let before: ScaledUsage | undefined;
  let event = 0;
  for (let source = 0; source < piece.observations.length; source++) {
    const observation = piece.observations[source]!;
    requireObservation(observation, name);
    const at = scaleUsage(observation, prior, name);
    if (before) requireForward(before, at, name);
    before = at;
    const { wear, sd, grade } = observation;
    if (wear !== undefined) {
      placeEvent(scaled, event, at, source);
      scaled.value[event] = clamp(wear / prior.wear, -LARGEST_WEAR, LARGEST_WEAR);
      scaled.sd[event++] =
        sd === undefined ? prior.readingSd : clamp(sd / prior.wear, SMALLEST_SD, LARGEST_WEAR);
    }
    if (grade !== undefined) {
      placeEvent(scaled, event, at, source);
      scaled.grade[event] = grade;
      scaled.value[event] = GRADE_MIDDLE[grade]! * scaled.limit;
      scaled.sd[event++] = prior.gradeSd;
      scaled.graded = true;
    }
  }
  scaled.middle.set(scaled.value);
  if (!scaled.exposures.some((column) => column.some((exposure) => exposure > 0))) scaled.exposures = [];
  return scaled;
}
