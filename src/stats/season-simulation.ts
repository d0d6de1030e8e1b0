/** Replacements of many positions over many simulated seasons, with what the positions share drawn once per season. */
import { createRandom, type Random } from "./random.ts";

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
const TABLE_SIZE = 8192;
const TABLE_EDGE = 1 / 64;

/**
 * Simulates the replacements of every position in every season.
 *
 * Per season one common factor and one factor per line multiply the scales (log-normal); given these, positions are
 * independent. Drawing the factors per position instead would keep the mean and lose most of the spread. The cost is
 * linear in positions times seasons. Each line has its own stream, so that another line leaves its numbers as they were.
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
  const space: Workspace = {
    lives: new Float64Array(seasons),
    breaks: new Float64Array(seasons),
    left: new Float64Array(seasons),
    active: new Int32Array(seasons),
  };
  const tables = new Map<number, Float64Array>();
  for (const { shape } of lines) if (!tables.has(shape)) tables.set(shape, quantileTable(shape));
  const demand = lines.map((line, index) => {
    const random = createRandom(seed, index + 1);
    const own = normals(random, seasons, line.logScaleSd ?? 0);
    const scales = own.map((value, season) => line.scale * Math.exp(value + common[season]!));
    const hardness = scales.map((scale) => scale ** -line.shape);
    const source = { random, scales, hardness, quantiles: tables.get(line.shape)!, line };
    const taken = new Int32Array(seasons);
    for (const position of positions) {
      if (position.line === index) addReplacements(taken, position, source, space);
    }
    return taken;
  });
  return { seasons, demand };
}

/** Working space for one position, made once: the seasons that still have use left, and what is drawn for them. */
type Workspace = { lives: Float64Array; breaks: Float64Array; left: Float64Array; active: Int32Array };

/** What the lives of a line are drawn from. */
type Source = {
  random: Random;
  scales: Float64Array;
  /** scale^-shape: the cumulative hazard of age t is hardness t^shape */
  hardness: Float64Array;
  quantiles: Float64Array;
  line: SimulatedLine;
};

function normals(random: Random, count: number, sd: number): Float64Array {
  const values = new Float64Array(count);
  if (sd > 0) for (let i = 0; i < count; i++) values[i] = sd * random.normal();
  return values;
}

/**
 * Adds the units that one position takes in each season: one pass over all seasons for the part in place, then passes over
 * the seasons that still have use left, until none has.
 */
function addReplacements(
  taken: Int32Array,
  position: SimulatedPosition,
  source: Source,
  space: Workspace,
): void {
  const { lives, left, active } = space;
  const { batch = 1 } = position;
  let count = taken.length;
  for (let i = 0; i < count; i++) {
    left[i] = position.horizon;
    active[i] = i;
  }
  drawBreakages(position.horizon, source, space);
  drawFirstLives(position.age, source, space);
  count = passTime(source, space, count);
  const { random, quantiles, scales, line } = source;
  for (let round = 0; count > 0 && round < MOST_REPLACEMENTS; round++) {
    for (let i = 0; i < count; i++) taken[active[i]!]! += batch;
    random.fill(lives, count);
    for (let i = 0; i < count; i++) {
      lives[i] = scales[active[i]!]! * weibullQuantileOf(quantiles, line.shape, lives[i]!);
    }
    count = passTime(source, space, count);
  }
}

/**
 * Time to the next breakage in each season. Breakages come at a constant rate whatever part is in place, so that one time
 * stays valid through replacements, and where it lies beyond the season its length does not matter.
 */
function drawBreakages(horizon: number, { random, line }: Source, { breaks }: Workspace): void {
  const { breakageRate = 0 } = line;
  if (breakageRate === 0) return;
  random.fill(breaks, breaks.length);
  const unbroken = Math.exp(-breakageRate * horizon);
  for (let i = 0; i < breaks.length; i++) {
    breaks[i] = breaks[i]! < unbroken ? Infinity : -Math.log(breaks[i]!) / breakageRate;
  }
}

/** Remaining lives of parts of one age: the chance to fail is drawn from what an age of that size leaves of it. */
function drawFirstLives(age: number, source: Source, space: Workspace): void {
  const { random, scales, hardness, quantiles, line } = source;
  const { lives } = space;
  const count = scales.length;
  const agePower = age ** line.shape;
  random.fill(lives, count);
  for (let i = 0; i < count; i++) {
    const scale = scales[i]!;
    const spent = agePower * hardness[i]!;
    const surviving = Math.exp(-spent);
    // A part that outlived nearly every other is drawn from the cumulative hazard, where nothing cancels.
    const total =
      surviving < TABLE_EDGE
        ? Math.exp(Math.log(spent - Math.log(lives[i]!)) / line.shape)
        : weibullQuantileOf(quantiles, line.shape, 1 - surviving * (1 - lives[i]!));
    lives[i] = Math.max(0, scale * total - age);
  }
}

/**
 * Takes the lives, or the times to a breakage that comes first, off the use left, and keeps the seasons in which some is left;
 * gives their number.
 */
function passTime({ random, line }: Source, space: Workspace, count: number): number {
  const { lives, breaks, left, active } = space;
  const { breakageRate = 0 } = line;
  let kept = 0;
  for (let i = 0; i < count; i++) {
    let life = lives[i]!;
    let toBreak = Infinity;
    if (breakageRate > 0) {
      toBreak = breaks[i]! - life;
      if (toBreak <= 0) {
        life = breaks[i]!;
        toBreak = random.exponential() / breakageRate;
      }
    }
    const rest = left[i]! - life;
    if (!(rest > 0)) continue;
    left[kept] = rest;
    breaks[kept] = toBreak;
    active[kept] = active[i]!;
    kept++;
  }
  return kept;
}

/**
 * Quantiles of the Weibull law of scale 1 on an even grid. Between the grid's outer 1/64 the straight line is within 1e-5 of
 * the life, less than the 4e-3 of four standard errors of a mean over 1e6 seasons; outside, the quantile is worked out.
 */
function quantileTable(shape: number): Float64Array {
  return Float64Array.from({ length: TABLE_SIZE + 1 }, (_, i) => exactQuantile(shape, i / TABLE_SIZE));
}

function exactQuantile(shape: number, p: number): number {
  return Math.exp(Math.log(-Math.log1p(-p)) / shape);
}

function weibullQuantileOf(table: Float64Array, shape: number, p: number): number {
  if (p < TABLE_EDGE || p > 1 - TABLE_EDGE) return exactQuantile(shape, p);
  const place = p * TABLE_SIZE;
  const below = place | 0;
  const low = table[below]!;
  return low + (place - below) * (table[below + 1]! - low);
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
  }
}
