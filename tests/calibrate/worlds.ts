/**
 * Made-up lines of pieces whose remaining lives are known: as the wear model has them, and in ways it has not.
 *
 * Usage and wear are in scaled units times the prior below: usual life 40, limit 1.
 */
import { uniformFloat64 } from "pure-rand/distribution/uniformFloat64";
import { xoroshiro128plus } from "pure-rand/generator/xoroshiro128plus";
import {
  normalQuantile,
  type WearObservation,
  type WearPiece,
  type WearPrior,
} from "../../src/stats/index.ts";
import { bentBack, straightened } from "../../src/stats/wear-bend.ts";
import { heavyTailed } from "../../src/stats/wear-hyper.ts";
import { scalePrior } from "../../src/stats/wear-scale.ts";

export interface Chance {
  uniform(): number;
  normal(): number;
}

export function chance(seed: number): Chance {
  const generator = xoroshiro128plus(seed);
  const uniform = (): number => Math.min(1 - 1e-16, Math.max(1e-16, uniformFloat64(generator)));
  for (let i = 0; i < 8; i++) uniform();
  return { uniform, normal: () => normalQuantile(uniform()) };
}

/** How a world departs from the model; an empty object is the model itself. */
export interface World {
  /** wear in gamma-distributed steps, never falling */
  gamma?: boolean;
  /** wear goes with usage to this power, instead of with a bend drawn from the prior */
  exponent?: number;
  /** share of readings that are wrong by eight standard deviations */
  wrongShare?: number;
  /** two surfaces that wear unlike: logged for the model, or not */
  surfaces?: "logged" | "hidden";
  /** the believed life of the pieces over the true one */
  belief?: number;
  /** grades by eye instead of readings, always or for every other observation */
  grades?: "only" | "mixed";
  /** standard error of a reading where it is not that of the prior below, known to the model */
  readingSd?: number;
}

export const LIMIT = 1;
export const PRIOR: WearPrior = {
  life: { p10: 20, p90: 80 },
  pieceSpread: 0.3,
  runSpread: 0.4,
  usagePerRun: 1,
  startSd: 0.015,
  readingSd: 0.02,
  gradeSd: 0.1,
};
const SURFACE = { name: "rough", multiplier: 1.6, sdLog: 0.4 };

export function priorOf(world: World): WearPrior {
  const { p10, p90 } = PRIOR.life;
  const belief = world.belief ?? 1;
  const readingSd = world.readingSd ?? PRIOR.readingSd;
  const prior = { ...PRIOR, readingSd, life: { p10: p10 * belief, p90: p90 * belief } };
  return world.surfaces === "logged" ? { ...prior, conditions: [SURFACE] } : prior;
}

export interface SimulatedLine {
  pieces: WearPiece[];
  /** the piece that is forecast, one of `pieces` */
  target: WearPiece;
  now: { usage: number; exposures?: number[] };
  /** its true further usage at multiplier 1 until the limit */
  remaining: number;
}

/** Inverse Gaussian variate by the root method of Michael, Schucany & Haas (1976). */
function inverseGaussian(mean: number, shape: number, random: Chance): number {
  const y = random.normal() ** 2;
  const half = (mean * y) / (2 * shape);
  // The smaller root, written without cancellation.
  const x = mean / (1 + half + Math.sqrt(half * (half + 2)));
  return random.uniform() <= mean / (mean + x) ? x : (mean * mean) / x;
}

/** Gamma variate, Marsaglia & Tsang (2000), with their boost for shapes below one. */
function gammaVariate(shape: number, random: Chance): number {
  if (shape < 1) return gammaVariate(shape + 1, random) * random.uniform() ** (1 / shape);
  const d = shape - 1 / 3;
  const c = 1 / Math.sqrt(9 * d);
  for (let k = 0; k < 1000; k++) {
    const z = random.normal();
    const v = (1 + c * z) ** 3;
    if (v > 0 && Math.log(random.uniform()) < 0.5 * z * z + d - d * v + d * Math.log(v)) return d * v;
  }
  return shape;
}

const GRADE_BOUNDS = [0.1, 0.4, 0.75, 1];

/**
 * A line of `count` pieces, each with up to six observations; null when the target is past its limit by now, so
 * that what is left is a sample of lines whose target is in use.
 */
export function simulateLine(count: number, world: World, random: Chance): SimulatedLine | null {
  const scaled = scalePrior(PRIOR, LIMIT, "simulateLine");
  const readingSd = world.readingSd ?? PRIOR.readingSd;
  const drawn = scaled.centre.map((centre, i) => {
    const score = random.normal();
    return centre + scaled.sd[i]! * (i === 0 ? heavyTailed(score) : score);
  });
  const [level, spread, noise, reading] = drawn.map(Math.exp) as [number, number, number, number];
  const straight = random.uniform() < scaled.straightShare;
  const exponent = world.exponent ?? (straight ? 1 : Math.exp(drawn[4]!));
  const bend = world.exponent === undefined && !straight ? drawn[5]! : 0;
  const surface = world.surfaces
    ? Math.exp(Math.log(SURFACE.multiplier) + SURFACE.sdLog * random.normal())
    : 1;
  const diffusion = (level * noise) ** 2;
  const pieces: WearPiece[] = [];
  let found: SimulatedLine | null = null;
  for (let i = 0; i < count; i++) {
    const rate = level * Math.exp(spread * random.normal());
    const move = (clock: number): number => {
      if (clock <= 0) return 0;
      if (!world.gamma) return rate * clock + Math.sqrt(diffusion * clock) * random.normal();
      const scale = diffusion / rate;
      return scale * gammaVariate((rate * clock) / scale, random);
    };
    let x = straightened(scaled.startVariance ** 0.5 * random.normal(), bend);
    let clock = 0;
    let usage = 0;
    let rough = 0;
    const observations: WearObservation[] = [];
    // From none to six observations, spread over up to one usual life.
    const planned = Math.floor(random.uniform() * 7);
    const gap = ((0.1 + 0.9 * random.uniform()) * scaled.usage) / Math.max(1, planned);
    const advance = (by: number): void => {
      const share = world.surfaces
        ? random.uniform() < 0.5
          ? random.uniform()
          : Number(random.uniform() < 0.5)
        : 0;
      usage += by;
      rough += share * by;
      const effective = (usage - rough + surface * rough) / scaled.usage;
      const next = effective ** exponent;
      x += move(next - clock);
      clock = next;
    };
    for (let j = 0; j < planned; j++) {
      advance(gap * (0.5 + random.uniform()));
      const observation: WearObservation = { usage };
      if (world.surfaces === "logged") observation.exposures = [rough];
      if (world.grades === "only" || (world.grades === "mixed" && j % 2 === 0)) {
        const seen = bentBack(x, bend) + 0.1 * random.normal();
        observation.grade = GRADE_BOUNDS.filter((bound) => seen >= bound).length;
      } else {
        const wrong = random.uniform() < (world.wrongShare ?? 0) ? (random.uniform() < 0.5 ? -8 : 8) : 0;
        observation.wear = bentBack(x, bend) + readingSd * reading * (random.normal() + wrong);
      }
      observations.push(observation);
    }
    const piece = { id: `piece ${i}`, limit: LIMIT, observations };
    pieces.push(piece);
    if (i > 0) continue;
    advance(gap * random.uniform());
    if (x >= LIMIT) return null;
    const distance = LIMIT - x;
    let further: number;
    if (world.gamma) {
      further = 0;
      const step = 0.25 / scaled.usage;
      for (let y = 0; y < distance && further < 1e4; further += step) y += move(step);
    } else further = inverseGaussian(distance / rate, (distance * distance) / diffusion, random);
    const effective = clock ** (1 / exponent);
    // Where the surfaces are not logged, the future has the same mixture of them as the past.
    const ahead = world.surfaces === "hidden" ? 0.5 + 0.5 * surface : 1;
    const remaining = (((clock + further) ** (1 / exponent) - effective) * scaled.usage) / ahead;
    const now = world.surfaces === "logged" ? { usage, exposures: [rough] } : { usage };
    found = { pieces, target: piece, now, remaining };
  }
  return found;
}
