/**
 * The two shapes that the path of a line may have, and how they are weighed against each other: a path that may bend with
 * usage and with wear, and a straight one. Each has points of its own; what the readings say of the shapes, and what was
 * believed of them before, decides how much the points of each count.
 */
import { type Design, type DesignSize, designPoints, priorPoints } from "./wear-design.ts";
import { hyperFrom } from "./wear-hyper.ts";
import { search } from "./wear-posterior.ts";
import { BASE_DIMENSIONS, BEND, EXPONENT, type ScaledPiece, type ScaledPrior } from "./wear-scale.ts";
import type { WearHyper } from "./wear-types.ts";
import { digits } from "./wear-update.ts";

/** Points of less weight than this are left out. */
const NEGLIGIBLE = 1e-5;
/** A straight path has two hyper-parameters fewer, so that fewer points do. */
const BENT_SIZE: DesignSize = { first: 24, final: 64 };
const STRAIGHT_SIZE: DesignSize = { first: 24, final: 24 };
/**
 * From so many pieces on a straight path is not tried apart: the bends are then known so well that a path with both
 * of them near 0 forecasts as a straight one does.
 */
const MANY_PIECES = 200;

/** A point of the posterior, with the log-likelihood of each piece that was looked at. */
export interface ShapedPoint {
  hyper: WearHyper;
  weight: number;
  logLikelihoods: Float64Array;
}

interface Shape {
  mode: number[];
  /** hyper-parameters at the mode */
  centre: WearHyper;
  points: ShapedPoint[];
  /** log of the probability of the readings if the path has this shape */
  logEvidence: number;
}

/**
 * Van der Corput sequence turned into a normal score: conditions that the data never met keep the whole width of
 * their prior when the points are averaged.
 */
function spreadScore(k: number, condition: number): number {
  const base = [2, 3, 5, 7, 11, 13][condition % 6]!;
  let value = 0;
  let unit = 1 / base;
  for (let i = k + 1; i > 0; i = Math.floor(i / base), unit /= base) value += (i % base) * unit;
  // Logistic approximation of the normal quantile: these multipliers rest on belief only.
  return Math.log(value / (1 - value)) / 1.702;
}

/** Hyper-parameters at point `k`; what is not in `index` is centred, but for conditions, whose prior is run through. */
function hyperAt(prior: ScaledPrior, x: readonly number[], index: readonly number[], k: number): WearHyper {
  const rest = prior.centre.map((_, i) => i).filter((i) => i >= BASE_DIMENSIONS && !index.includes(i));
  if (rest.length === 0 || k < 0) return hyperFrom(prior, x, index);
  return hyperFrom(prior, [...x, ...rest.map((i) => spreadScore(k, i))], [...index, ...rest]);
}

function shortened(hyper: WearHyper): WearHyper {
  return {
    rate: digits(hyper.rate),
    spread: digits(hyper.spread),
    noise: digits(hyper.noise),
    reading: digits(hyper.reading),
    exponent: digits(hyper.exponent),
    bend: digits(hyper.bend),
    multipliers: hyper.multipliers.map(digits),
  };
}

function shapeOf(
  seen: readonly ScaledPiece[],
  scaled: ScaledPrior,
  index: readonly number[],
  start: number[],
  size: DesignSize,
): Shape {
  const rows: Float64Array[] = [];
  const hypers: WearHyper[] = [];
  const { mode, posterior } = search(seen, scaled, index, start);
  const design: Design =
    seen.length === 0
      ? priorPoints(index.length, size)
      : designPoints(
          {
            value: (x) => posterior.both(x).value,
            gradient: (x) => posterior.both(x).gradient,
            point: (x, k) => {
              hypers[k] = shortened(hyperAt(scaled, x, index, k));
              rows[k] = new Float64Array(seen.length);
              return posterior.at(x, hypers[k]!, rows[k]!);
            },
          },
          mode,
          seen.length,
          size,
        );
  return {
    mode,
    centre: hyperAt(scaled, mode, index, -1),
    points: design.points.map(({ x, k, weight }) => ({
      hyper: hypers[k] ?? shortened(hyperAt(scaled, x, index, k)),
      weight,
      logLikelihoods: rows[k] ?? new Float64Array(0),
    })),
    logEvidence: design.logIntegral - 0.5 * index.length * Math.log(2 * Math.PI),
  };
}

/**
 * Posterior of the hyper-parameters of a line over both shapes (Hoeting et al. 1999, Bayesian model averaging,
 * Statistical Science 14, eq. 1-3).
 *
 * @param active conditions that the pieces have met
 * @param start mode of an earlier fit in the coordinates of the bent shape, or zeros
 * @returns `mode` of the bent shape, `centre` the hyper-parameters at the mode of the likelier shape
 */
export function shapedPosterior(
  seen: readonly ScaledPiece[],
  scaled: ScaledPrior,
  active: readonly number[],
  start: number[],
): { mode: number[]; centre: WearHyper; points: ShapedPoint[]; logEvidence: number } {
  const index = [0, 1, 2, 3, EXPONENT, BEND, ...active.map((c) => BASE_DIMENSIONS + c)];
  const bent = shapeOf(seen, scaled, index, start, BENT_SIZE);
  const { straightShare } = scaled;
  if (straightShare === 0 || seen.length >= MANY_PIECES) return bent;
  const kept = index.flatMap((k, i) => (k === EXPONENT || k === BEND ? [] : [i]));
  const straight = shapeOf(
    seen,
    scaled,
    kept.map((i) => index[i]!),
    kept.map((i) => bent.mode[i]!),
    STRAIGHT_SIZE,
  );
  const logs = [
    Math.log1p(-straightShare) + bent.logEvidence,
    Math.log(straightShare) + straight.logEvidence,
  ] as const;
  const share = 1 / (1 + Math.exp(logs[0] - logs[1]));
  const weighted = [bent, straight].flatMap(({ points }, i) =>
    points.map((point) => ({ ...point, weight: point.weight * (i === 1 ? share : 1 - share) })),
  );
  return {
    mode: bent.mode,
    centre: share > 0.5 ? straight.centre : bent.centre,
    points: weighted.filter(({ weight }) => weight > NEGLIGIBLE),
    logEvidence: Math.max(...logs) + Math.log1p(Math.exp(-Math.abs(logs[0] - logs[1]))),
  };
}
