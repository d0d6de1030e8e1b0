/** Replacements of many positions over many simulated seasons, with what the positions share drawn once per season. */
import { exponentialOf, type LifeTable, lifeAt, lifeAtHazard, lifeTable } from "./life-table.ts";
import { createRandom, type Random } from "./random.ts";
import { countsOfLine, countsOfPosition, drawCounts } from "./season-counts.ts";

/** A Weibull life that is not known exactly. */
export type SimulatedLine = {
  /** Weibull shape, above 0 */
  shape: number;
  /** Weibull scale, above 0; the median of what it may be */
  scale: number;
  /** standard deviation of the logarithm of the scale, common to all positions of the line; default 0 */
  logScaleSd?: number;
  /** accidental ends of a life per unit of use, beside wear; default 0 */
  breakageRate?: number;
};

/** A place where a part works. */
export type SimulatedPosition = {
  /** index of its line */
  line: number;
  /** use of the part in place at the start, of at least 0 */
  age: number;
  /** use ahead in the season, of at least 0 */
  horizon: number;
  /** units that one replacement takes, default 1 */
  batch?: number;
};

/** `demand[line][season]`: units taken. */
export type SimulatedSeasons = { seasons: number; demand: Int32Array[] };

const MOST_REPLACEMENTS = 100_000;
/** Cumulative hazards beyond this could overflow where a season's scale is small. */
const MOST_HAZARD = 1e200;
/** So many seasons are followed through all positions of a line before the next: what they need fits a processor's near memory. */
const TILE = 4096;

/**
 * Simulates the replacements of every position in every season.
 *
 * Per season one common factor and one factor per line multiply the scales (log-normal); given these, positions are
 * independent. Drawing the factors per position instead would keep the mean and lose most of the spread. The cost is
 * linear in positions times seasons. Each line has its own stream, so that another line leaves its numbers as they were.
 *
 * Over 1,000 seasons or more a position's number of replacements is drawn from its law at the scale of the season; its chances are
 * within 6e-4 of the exact ones for shapes up to 4, 1.3e-3 at 8, and 3e-3 at scales four standard deviations low. Over fewer, or where very many lives
 * fit into a season, lives are followed one by one.
 *
 * @param input.seasons whole number of 1 to 1e6
 * @param input.seed as in `createRandom`
 * @param input.commonLogScaleSd standard deviation of the common factor of all lines, default 0
 * @returns units taken per line and season; the same input gives the same answer
 * @throws {RangeError} if a value is out of range
 */
export function simulateSeasons(input: {
  lines: readonly SimulatedLine[];
  positions: readonly SimulatedPosition[];
  seasons: number;
  seed: number;
  commonLogScaleSd?: number;
}): SimulatedSeasons {
  const { lines, positions, seasons, seed, commonLogScaleSd = 0 } = input;
  requireSimulation(input);
  const common = normals(createRandom(seed, 0), seasons, commonLogScaleSd);
  const space = workspace(Math.min(TILE, seasons));
  const tables = new Map<number, LifeTable>();
  const placed = lines.map((): SimulatedPosition[] => []);
  for (const position of positions) placed[position.line]!.push(position);
  const demand = lines.map((line, index) => {
    const random = createRandom(seed, index + 1);
    const logScales = normals(random, seasons, line.logScaleSd ?? 0);
    for (let i = 0; i < seasons; i++) logScales[i]! += Math.log(line.scale) + common[i]!;
    const mine = placed[index]!;
    const taken = new Int32Array(seasons);
    const longest = mine.reduce((most, { horizon }) => Math.max(most, horizon), 0);
    const counts = countsOfLine(line, logScales, longest);
    if (counts !== null) {
      for (const position of mine)
        drawCounts(taken, position.batch ?? 1, countsOfPosition(line, position, counts), counts, random);
      return taken;
    }
    if (!tables.has(line.shape)) tables.set(line.shape, lifeTable(line.shape));
    const scales = logScales.map(Math.exp);
    const hardness = scales.map((scale) => scale ** -line.shape);
    const table = tables.get(line.shape)!;
    for (let from = 0; from < seasons; from += TILE) {
      const part = <A extends Float64Array | Int32Array>(of: A) => of.subarray(from, from + TILE) as A;
      const source = { random, scales: part(scales), hardness: part(hardness), table, line };
      for (const position of mine) addReplacements(part(taken), position, source, space);
    }
    return taken;
  });
  return { seasons, demand };
}

/** Working space for one position, made once: uniform numbers, first stretches, and stretches that begin with a new part. */
type Workspace = { uniform: Float64Array; first: Float64Array; left: Float64Array; season: Int32Array };

function workspace(seasons: number): Workspace {
  // With room for breakages; where it is used up, the stretches in it are followed to their ends first.
  const room = 2 * seasons + 64;
  return {
    uniform: new Float64Array(room),
    first: new Float64Array(seasons),
    left: new Float64Array(room),
    season: new Int32Array(room),
  };
}

/** What the lives of a line are drawn from. */
type Source = {
  random: Random;
  scales: Float64Array;
  /** scale^-shape: the cumulative hazard of age t is hardness t^shape */
  hardness: Float64Array;
  table: LifeTable;
  line: SimulatedLine;
};

function normals(random: Random, count: number, sd: number): Float64Array {
  const values = new Float64Array(count);
  if (sd > 0) for (let i = 0; i < count; i++) values[i] = sd * random.normal();
  return values;
}

/**
 * Adds the units that one position takes in each season. Breakages cut its seasons into stretches, each begun with a new part but
 * for the first of a season; within a stretch parts end by wear alone, so that no two ends ever compete.
 */
function addReplacements(
  taken: Int32Array,
  position: SimulatedPosition,
  source: Source,
  space: Workspace,
): void {
  const { batch = 1 } = position;
  space.first.fill(position.horizon, 0, taken.length);
  const broken = cutByBreakages(taken, position, source, space);
  const begun = passFirstLives(position, source, space, broken);
  followNewParts(taken, batch, source, space, begun);
}

/**
 * Breakages come at a constant rate whatever part is in place: with the seasons laid end to end, one stream of times of that rate
 * serves them all, and a season without a breakage costs nothing. Gives the number of stretches that begin with a new part.
 */
function cutByBreakages(
  taken: Int32Array,
  { horizon, batch = 1 }: SimulatedPosition,
  source: Source,
  space: Workspace,
): number {
  const { random, line } = source;
  const { uniform, first, left, season } = space;
  const { breakageRate = 0 } = line;
  const mean = 1 / (breakageRate * horizon);
  // So rare that not one is to come in any number of seasons.
  if (!(mean < 1e15)) return 0;
  const seasons = taken.length;
  // Half the room is kept for the stretches that begin when a first part ends.
  const room = left.length - seasons;
  let count = 0;
  // As many numbers at a time as are likely to be needed, so that few are drawn for nothing.
  const expected = seasons / mean;
  const drawn = Math.min(uniform.length, Math.ceil(expected + 2 * Math.sqrt(expected)) + 8);
  let [last, lastAt, next] = [-1, 0, drawn];
  for (let at = 0; ; ) {
    if (next === drawn) {
      random.fill(uniform, drawn);
      next = 0;
    }
    at += exponentialOf(uniform[next++]!) * mean;
    const of = Math.floor(at);
    const ended = of !== last;
    // A stretch is known in full once the breakage after it is: up to that one, or to the end of its season.
    const place = (at - of) * horizon;
    if (last >= 0) left[count - 1] = (ended ? horizon : place) - lastAt;
    if (of >= seasons) return count;
    if (count === room) {
      // The uniform numbers not yet used are lost to the stretches; what is drawn afresh is as good.
      count = 0;
      followNewParts(taken, batch, source, space, room);
      next = drawn;
    }
    if (ended) first[of] = place;
    season[count++] = of;
    last = of;
    lastAt = place;
  }
}

/**
 * The part in place at the start of each season: its cumulative hazard at its end is what its age has spent of it and one
 * exponential more. Where that lies beyond the hazard at the end of the season, its life need not be known.
 */
function passFirstLives(
  { age, horizon }: SimulatedPosition,
  { random, scales, hardness, table, line }: Source,
  { uniform, first, left, season }: Workspace,
  begun: number,
): number {
  const seasons = scales.length;
  const spentPower = age ** line.shape;
  const endPower = (age + horizon) ** line.shape;
  random.fill(uniform, seasons);
  let count = begun;
  for (let i = 0; i < seasons; i++) {
    const hazard = spentPower * hardness[i]! + exponentialOf(uniform[i]!);
    if (hazard >= endPower * hardness[i]!) continue;
    const rest = first[i]! - Math.max(0, scales[i]! * lifeAtHazard(table, hazard) - age);
    left[count] = rest;
    season[count] = i;
    count += rest > 0 ? 1 : 0;
  }
  return count;
}

/** Each stretch takes a new part and another at each end of one, until none has any use left. */
function followNewParts(
  taken: Int32Array,
  batch: number,
  { random, scales, table }: Source,
  { uniform, left, season }: Workspace,
  begun: number,
): void {
  let count = begun;
  for (let round = 0; count > 0 && round < MOST_REPLACEMENTS; round++) {
    random.fill(uniform, count);
    let kept = 0;
    for (let i = 0; i < count; i++) {
      const of = season[i]!;
      taken[of]! += batch;
      const rest = left[i]! - scales[of]! * lifeAt(table, uniform[i]!);
      left[kept] = rest;
      season[kept] = of;
      kept += rest > 0 ? 1 : 0;
    }
    count = kept;
  }
}

/**
 * Simulated seasons as a law: element k is the share of the seasons that took exactly k units.
 *
 * @throws {RangeError} if there is no season or a number is below 0
 */
export function demandLaw(taken: Int32Array): number[] {
  if (taken.length === 0) throw new RangeError("demandLaw requires at least one season");
  let most = 0;
  for (const units of taken) {
    if (units < 0) throw new RangeError("demandLaw requires units of at least 0");
    if (units > most) most = units;
  }
  const law = new Array<number>(most + 1).fill(0);
  for (const units of taken) law[units]! += 1;
  return law.map((count) => count / taken.length);
}

/**
 * Share of the seasons in which no line runs short, whatever the lines share.
 *
 * @param stock units per line
 * @returns the share, and its standard error
 * @throws {RangeError} if there is not one number of units per line
 */
export function shareWithoutShortage(
  simulated: SimulatedSeasons,
  stock: readonly number[],
): { share: number; standardError: number } {
  const { seasons, demand } = simulated;
  if (stock.length !== demand.length || stock.some((units) => Number.isNaN(units))) {
    throw new RangeError("shareWithoutShortage requires one number of units per line");
  }
  let served = 0;
  for (let season = 0; season < seasons; season++) {
    if (demand.every((taken, line) => taken[season]! <= stock[line]!)) served++;
  }
  const share = served / seasons;
  return { share, standardError: Math.sqrt((share * (1 - share)) / seasons) };
}

function requireSimulation(input: {
  lines: readonly SimulatedLine[];
  positions: readonly SimulatedPosition[];
  seasons: number;
  commonLogScaleSd?: number;
}): void {
  const { lines, positions, seasons, commonLogScaleSd = 0 } = input;
  const notNegative = (value: number) => value >= 0 && value < Infinity;
  if (!(Number.isInteger(seasons) && seasons >= 1 && seasons <= 1e6)) {
    throw new RangeError(`simulateSeasons requires 1 to 1000000 whole seasons, got ${seasons}`);
  }
  if (!notNegative(commonLogScaleSd)) throw new RangeError("simulateSeasons requires a spread of at least 0");
  for (const { shape, scale, logScaleSd = 0, breakageRate = 0 } of lines) {
    if (!(shape > 0 && scale > 0 && shape < Infinity && scale < Infinity)) {
      throw new RangeError("simulateSeasons requires finite shapes and scales above 0");
    }
    if (!notNegative(logScaleSd) || !notNegative(breakageRate)) {
      throw new RangeError("simulateSeasons requires spreads and breakage rates of at least 0");
    }
  }
  for (const { line, age, horizon, batch = 1 } of positions) {
    if (lines[line] === undefined) throw new RangeError("simulateSeasons requires positions of known lines");
    if (!notNegative(age) || !notNegative(horizon)) {
      throw new RangeError("simulateSeasons requires ages and horizons of at least 0");
    }
    if (!(Number.isInteger(batch) && batch >= 1)) {
      throw new RangeError("simulateSeasons requires whole batches of at least 1");
    }
    const { shape, scale } = lines[line];
    if (!(((age + horizon) / scale) ** shape < MOST_HAZARD)) {
      throw new RangeError("simulateSeasons requires an age that a part can have reached");
    }
  }
}
