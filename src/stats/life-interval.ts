/**
 * Likelihood-ratio limits of a function of the two parameters of a life distribution.
 *
 * A limit is the extreme value of the function on the contour where the log-likelihood has fallen by half a
 * chi-square quantile. It is found by Newton's method on "on the contour, and the gradients are parallel"
 * (Venzon & Moolgavkar, 1988); where that fails, by following the profile likelihood outwards.
 */
import type { PackedLives } from "./life-data.ts";
import { type LifeFamily, lifeLikelihood } from "./life-likelihood.ts";
import type { LifePoint } from "./life-maximum.ts";

/** Covariance of (location, ln spread). */
export type LogCovariance = { location: number; cross: number; logSpread: number };

/**
 * What the limits are for, on the log scale: either ln spread itself, or location + offset(ln spread).
 * `offset` returns the value with its first and second derivative.
 */
export type LifeTarget = "logSpread" | ((logSpread: number) => [number, number, number]);

export type LifeProblem = {
  family: LifeFamily;
  lives: PackedLives;
  best: LifePoint;
  covariance: LogCovariance;
  /** Fall of the log-likelihood at the limits. */
  drop: number;
};

const NEWTON_STEPS = 30;
const OUTWARD_STEPS = 40;
/** Logarithms beyond which nothing is worth looking for, and exp would overflow. */
const FARTHEST = 300;
const NOWHERE = { value: -Infinity, slope: 0, bend: 0 };

/** Value of the target at a point, and its gradient. */
function targetAt(target: LifeTarget, location: number, logSpread: number): [number, number, number] {
  if (target === "logSpread") return [logSpread, 0, 1];
  const [offset, slope] = target(logSpread);
  return [location + offset, 1, slope];
}

function standardError(target: LifeTarget, best: LifePoint, v: LogCovariance): number {
  const [, a, b] = targetAt(target, best.location, best.logSpread);
  return Math.sqrt(a * a * v.location + 2 * a * b * v.cross + b * b * v.logSpread);
}

/** Newton from the point that the ellipse of the quadratic approximation gives; null if it does not settle there. */
function contourPoint(
  target: LifeTarget,
  { family, lives, best, covariance: v, drop }: LifeProblem,
  side: number,
): number | null {
  const [centre, a, b] = targetAt(target, best.location, best.logSpread);
  const reach = (side * Math.sqrt(2 * drop)) / standardError(target, best, v);
  let location = best.location + reach * (a * v.location + b * v.cross);
  let logSpread = best.logSpread + reach * (a * v.cross + b * v.logSpread);
  const level = best.at.value - drop;
  for (let step = 0; step < NEWTON_STEPS; step += 1) {
    const at = lifeLikelihood(family, lives, location, logSpread);
    const [, slope, bend] = target === "logSpread" ? [0, 0, 0] : target(logSpread);
    const parallel = target === "logSpread" ? at.byLocation : at.byLogSpread - slope * at.byLocation;
    const [p1, p2] =
      target === "logSpread"
        ? [at.location2, at.cross]
        : [at.cross - slope * at.location2, at.logSpread2 - bend * at.byLocation - slope * at.cross];
    const short = at.value - level;
    const determinant = at.byLocation * p2 - at.byLogSpread * p1;
    const moveLocation = (at.byLogSpread * parallel - p2 * short) / determinant;
    const moveSpread = (p1 * short - at.byLocation * parallel) / determinant;
    if (!(Math.abs(moveLocation) < 3 && Math.abs(moveSpread) < 1.5)) return null;
    location += moveLocation;
    logSpread += moveSpread;
    if (Math.abs(moveLocation) + Math.abs(moveSpread) < 1e-9) {
      const [value] = targetAt(target, location, logSpread);
      return side * (value - centre) > 0 ? value : null;
    }
  }
  return null;
}

/** Highest log-likelihood with the target held at `value`: Newton along the line that remains, from `start`. */
function profile(
  target: LifeTarget,
  { family, lives }: LifeProblem,
  value: number,
  start: number,
): [top: number, at: number] {
  const pointAt = (free: number) =>
    target === "logSpread"
      ? { location: free, logSpread: value }
      : { location: value - target(free)[0], logSpread: free };
  const along = (free: number) => {
    const { location, logSpread } = pointAt(free);
    if (!(Math.abs(location) < FARTHEST && Math.abs(logSpread) < FARTHEST)) return NOWHERE;
    const at = lifeLikelihood(family, lives, location, logSpread);
    if (target === "logSpread") return { value: at.value, slope: at.byLocation, bend: at.location2 };
    const [, slope, bend] = target(logSpread);
    return {
      value: at.value,
      slope: at.byLogSpread - slope * at.byLocation,
      bend: at.logSpread2 - 2 * slope * at.cross + slope * slope * at.location2 - bend * at.byLocation,
    };
  };
  let free = start;
  let here = along(free);
  for (let step = 0; step < 60; step += 1) {
    const raw = here.bend < 0 ? -here.slope / here.bend : here.slope / (Math.abs(here.bend) + 1e-8);
    if (!Number.isFinite(raw)) break;
    let move = Math.max(-1, Math.min(1, raw));
    let next = along(free + move);
    for (let halving = 0; halving < 30 && !(next.value >= here.value); halving += 1) {
      move /= 2;
      next = along(free + move);
    }
    if (!(next.value >= here.value)) break;
    free += move;
    here = next;
    if (Math.abs(move) < 1e-8) break;
  }
  return [here.value, free];
}

/** Limit by stepping the profile outwards and bisecting; infinite when the profile never falls far enough. */
function profileLimit(target: LifeTarget, problem: LifeProblem, side: number): number {
  const { best, drop, covariance } = problem;
  const [centre] = targetAt(target, best.location, best.logSpread);
  const level = best.at.value - drop;
  let inside = centre;
  let free = target === "logSpread" ? best.location : best.logSpread;
  let stride = Math.min(2, standardError(target, best, covariance));
  let outside = side * Infinity;
  for (let step = 0; step < OUTWARD_STEPS && !Number.isFinite(outside); step += 1) {
    const value = inside + side * stride;
    const [top, at] = profile(target, problem, value, free);
    if (top < level) outside = value;
    else {
      inside = value;
      free = at;
      stride = Math.min(2, stride * 1.5);
    }
  }
  if (!Number.isFinite(outside)) return outside;
  while (Math.abs(outside - inside) > 1e-9 * Math.max(1, Math.abs(inside))) {
    const middle = 0.5 * (inside + outside);
    const [top, at] = profile(target, problem, middle, free);
    if (top < level) outside = middle;
    else {
      inside = middle;
      free = at;
    }
  }
  return inside;
}

/** Both limits of the target, on the log scale; -Infinity or Infinity where the data set no limit. */
export function likelihoodRatioLimits(target: LifeTarget, problem: LifeProblem): [low: number, high: number] {
  return [
    contourPoint(target, problem, -1) ?? profileLimit(target, problem, -1),
    contourPoint(target, problem, 1) ?? profileLimit(target, problem, 1),
  ];
}

/** Limits from the curvature at the maximum, symmetric on the log scale: they cost nothing more. */
export function waldLimits(
  target: LifeTarget,
  { best, covariance, drop }: LifeProblem,
): [low: number, high: number] {
  const [centre] = targetAt(target, best.location, best.logSpread);
  const reach = Math.sqrt(2 * drop) * standardError(target, best, covariance);
  return [centre - reach, centre + reach];
}
