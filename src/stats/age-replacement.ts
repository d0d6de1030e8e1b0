/** When to replace before failure, by age. */
import type { Cdf } from "./renewal-grid.ts";

export type ReplacementCosts = {
  /** cost of a planned replacement, above 0 */
  plannedCost: number;
  /** cost of a replacement after failure, above 0 */
  failureCost: number;
};

/** Best age for a planned replacement, and what it is worth. */
export type AgeReplacement = {
  /** age at which to replace; null: run to failure */
  interval: number | null;
  /** cost per unit of age under that rule */
  costRate: number;
  costRateRunToFailure: number;
  /** share of the cost of running to failure that the rule saves, in [0, 1) */
  saving: number;
  /** whether the saving reaches `worthwhileSaving` */
  worthwhile: boolean;
  /** ages whose cost rate is within 1 % of the best; `to` null: any later age, also never */
  within: { from: number; to: number | null };
  /** share of the replacements that are planned */
  plannedShare: number;
  /** mean age at replacement; 1 / meanCycle parts are used per unit of age */
  meanCycle: number;
};

/** Gauss-Legendre nodes and weights on [-1, 1], 10 points (Abramowitz & Stegun 1964, table 25.4). */
const NODES = [
  0.14887433898163122, 0.4333953941292472, 0.6794095682990244, 0.8650633666889845, 0.9739065285171717,
];
const WEIGHTS = [
  0.29552422471475287, 0.26926671930999635, 0.21908636251598204, 0.1494513491505806, 0.06667134430868814,
];

const GRID_FACTOR = 1.08;
const MOST_PANELS = 3000;
/** Halvings of one panel: four corners in it take 120. */
const MOST_HALVINGS = 200;
const CLOSE_TO_BEST = 0.01;

/**
 * Age at which a planned replacement is cheapest in the long run.
 *
 * C(T) = [plannedCost R(T) + failureCost F(T)] / integral of R from 0 to T (Barlow & Hunter 1960). Its stationary ages solve
 * h(T) ∫R - F(T) = plannedCost / (failureCost - plannedCost); every sign change of that condition on a fine grid of ages is
 * refined, and the cheapest is compared with running to failure. So a hazard that is not monotone is served too, and no
 * finite age is given where none is best. Minimising C itself would lose half of the digits: it is flat at the best age.
 *
 * @param input.survival chance of a life above t; 1 at 0, never rising, falling to 0
 * @param input.hazard failure rate at t; found from `survival` by differences if not given
 * @param input.worthwhileSaving share from which a saving counts as worthwhile, default 0.01
 * @throws {RangeError} if a cost is not above 0, `survival` leaves [0, 1], or the mean life is not finite
 */
export function ageReplacement(
  input: { survival: Cdf; hazard?: Cdf; worthwhileSaving?: number } & ReplacementCosts,
): AgeReplacement {
  const { survival, worthwhileSaving = 0.01, plannedCost, failureCost } = input;
  requireCosts("ageReplacement", input);
  if (!(worthwhileSaving >= 0 && worthwhileSaving < 1)) {
    throw new RangeError("ageReplacement requires a worthwhile saving in [0, 1)");
  }
  const grid = survivalGrid("ageReplacement", survival);
  const meanLife = grid[grid.length - 1]!.area;
  const costRateRunToFailure = failureCost / meanLife;
  const costAt = (age: number, area: number) => {
    const surviving = survival(age);
    return (plannedCost * surviving + failureCost * (1 - surviving)) / area;
  };
  let best: { age: number; area: number; cost: number } | null = null;
  if (failureCost > plannedCost) {
    for (const { age, area } of stationaryAges(input, grid)) {
      const cost = costAt(age, area);
      if (cost < (best?.cost ?? costRateRunToFailure * (1 - 1e-12))) best = { age, area, cost };
    }
  }
  const costRate = best?.cost ?? costRateRunToFailure;
  const saving = Math.max(0, 1 - costRate / costRateRunToFailure);
  return {
    interval: best?.age ?? null,
    costRate,
    costRateRunToFailure,
    saving,
    worthwhile: best !== null && saving >= worthwhileSaving,
    within: closeAges(survival, grid, costAt, costRate * (1 + CLOSE_TO_BEST), best?.age ?? Infinity),
    plannedShare: best === null ? 0 : survival(best.age),
    meanCycle: best?.area ?? meanLife,
  };
}

/**
 * Long-run cost per unit of age when replaced at `interval`, or at failure if earlier.
 *
 * @param input.interval above 0
 * @throws {RangeError} as `ageReplacement`, or if the interval is not above 0
 */
export function ageReplacementCost(input: { survival: Cdf; interval: number } & ReplacementCosts): number {
  const { survival, interval, plannedCost, failureCost } = input;
  requireCosts("ageReplacementCost", input);
  if (!(interval > 0 && interval < Infinity)) {
    throw new RangeError("ageReplacementCost requires a finite interval above 0");
  }
  const panels = 200;
  let area = 0;
  // Panels shrink towards 0, where a survival function may have a vertical tangent.
  for (let i = 0; i < panels; i++) {
    area += integrate(survival, interval * (i / panels) ** 3, interval * ((i + 1) / panels) ** 3);
  }
  const surviving = survival(interval);
  return (plannedCost * surviving + failureCost * (1 - surviving)) / area;
}

type GridPoint = { age: number; area: number };

/** Ages from 0 until nothing survives, each with the integral of the survival function up to it. */
function survivalGrid(caller: string, survival: Cdf): GridPoint[] {
  const middle = medianOf(caller, survival);
  const grid: GridPoint[] = [{ age: 0, area: 0 }];
  let age = 0;
  let area = 0;
  for (let next = middle * 1e-4; grid.length < MOST_PANELS; next *= GRID_FACTOR) {
    area += integrate(survival, age, next);
    age = next;
    grid.push({ age, area });
    if (age > 2 * middle && survival(age) * age < 1e-15 * area) return grid;
  }
  throw new RangeError(`${caller} requires a life with a finite mean`);
}

function medianOf(caller: string, survival: Cdf): number {
  const at = (age: number) => {
    const value = survival(age);
    if (!(value >= 0 && value <= 1 + 1e-12)) {
      throw new RangeError(`${caller} requires a survival function in [0, 1], got ${value} at ${age}`);
    }
    return value;
  };
  let high = 1;
  for (let i = 0; i < 400 && at(high) > 0.5; i++) high *= 2;
  for (let i = 0; i < 400 && at(high / 2) <= 0.5; i++) high /= 2;
  if (at(high) > 0.5 || at(high / 2) <= 0.5) {
    throw new RangeError(`${caller} requires a survival function that falls from 1 to 0`);
  }
  let low = high / 2;
  for (let i = 0; i < 50; i++) {
    const middle = (low + high) / 2;
    if (at(middle) > 0.5) low = middle;
    else high = middle;
  }
  return high;
}

/**
 * Halved where the halves disagree with the whole: survival functions may have corners and jumps, each of which takes one
 * path down. Where they disagree everywhere, it is rounding in the survival function, and halving on would never end.
 */
function integrate(f: Cdf, from: number, to: number, depth = 30, halvings = { left: MOST_HALVINGS }): number {
  const whole = gauss(f, from, to);
  const middle = (from + to) / 2;
  const halves = gauss(f, from, middle) + gauss(f, middle, to);
  if (depth === 0 || Math.abs(halves - whole) <= 1e-14 * (to - from) + 1e-14 * Math.abs(halves))
    return halves;
  if (halvings.left-- <= 0) return halves;
  return integrate(f, from, middle, depth - 1, halvings) + integrate(f, middle, to, depth - 1, halvings);
}

function gauss(f: Cdf, from: number, to: number): number {
  const half = (to - from) / 2;
  const middle = from + half;
  let sum = 0;
  for (let i = 0; i < NODES.length; i++) {
    sum += WEIGHTS[i]! * (f(middle - half * NODES[i]!) + f(middle + half * NODES[i]!));
  }
  return sum * half;
}

/** Ages at which the cost rate stops falling and starts to rise. */
function* stationaryAges(
  input: { survival: Cdf; hazard?: Cdf } & ReplacementCosts,
  grid: readonly GridPoint[],
): Generator<GridPoint> {
  const { survival, plannedCost, failureCost } = input;
  const hazard = input.hazard ?? hazardOf(survival);
  const wanted = plannedCost / (failureCost - plannedCost);
  const rising = (age: number, area: number) => {
    const surviving = survival(age);
    return surviving <= 0 || hazard(age) * area - (1 - surviving) > wanted;
  };
  let wasRising = false;
  for (let i = 1; i < grid.length; i++) {
    const { age, area } = grid[i]!;
    const isRising = rising(age, area);
    if (isRising && !wasRising) {
      const before = grid[i - 1]!;
      let low = before.age;
      let high = age;
      for (let round = 0; round < 60 && high - low > 1e-14 * high; round++) {
        const middle = (low + high) / 2;
        if (rising(middle, before.area + integrate(survival, before.age, middle))) high = middle;
        else low = middle;
      }
      if (low > 0) yield { age: low, area: before.area + integrate(survival, before.age, low) };
    }
    wasRising = isRising;
  }
}

/** -d ln survival / dt by a five-point difference: relative error about 1e-11 where the survival keeps its digits. */
function hazardOf(survival: Cdf): Cdf {
  return (age) => {
    const step = 1e-3 * age;
    const log = (t: number) => Math.log(survival(t));
    const slope =
      (8 * (log(age + step) - log(age - step)) - (log(age + 2 * step) - log(age - 2 * step))) / (12 * step);
    return Number.isNaN(slope) ? Infinity : Math.max(0, -slope);
  };
}

function closeAges(
  survival: Cdf,
  grid: readonly GridPoint[],
  costAt: (age: number, area: number) => number,
  limit: number,
  best: number,
): { from: number; to: number | null } {
  const crossing = (inside: number, outside: number) => {
    let [near, far] = [inside, outside];
    for (let round = 0; round < 50; round++) {
      const middle = (near + far) / 2;
      const start = grid[Math.max(0, grid.findIndex(({ age }) => age > middle) - 1)]!;
      const area = start.area + integrate(survival, start.age, middle);
      if (costAt(middle, area) <= limit) near = middle;
      else far = middle;
    }
    return near;
  };
  const close = (point: GridPoint) => costAt(point.age, point.area) <= limit;
  const after = grid.findIndex(({ age }) => age >= best);
  const start = after === -1 ? grid.length - 1 : after;
  let first = start;
  while (first > 1 && close(grid[first - 1]!)) first--;
  const lowInside = first === start && Number.isFinite(best) ? best : grid[first]!.age;
  const from = first <= 1 ? grid[1]!.age : crossing(lowInside, grid[first - 1]!.age);
  let last = start;
  while (last < grid.length && close(grid[last]!)) last++;
  if (last >= grid.length) return { from, to: null };
  const highInside = last === start ? best : grid[last - 1]!.age;
  return { from, to: crossing(highInside, grid[last]!.age) };
}

/** @throws {RangeError} if a cost is not above 0; `caller` opens the message */
export function requireCosts(caller: string, { plannedCost, failureCost }: ReplacementCosts): void {
  if (!(plannedCost > 0 && plannedCost < Infinity && failureCost > 0 && failureCost < Infinity)) {
    throw new RangeError(`${caller} requires finite costs above 0`);
  }
}
