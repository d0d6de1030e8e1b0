/**
 * Zero or few failures with an assumed Weibull shape ("Weibayes"): with the shape known, t^shape is exponential,
 * so that all evidence is the transformed exposure G = Σ (t^shape - entry^shape) and the number of failures
 * (Nelson, 1985; Abernethy, The New Weibull Handbook, chapter 6).
 */
import { chiSquareQuantile } from "./gamma.ts";
import { requireAge } from "./life-distribution.ts";

/** Transformed exposure G, in the unit of age to the power of `shape`, with the failures seen in it. */
export type ShapeEvidence = { shape: number; exposure: number; failures: number };

/** Gamma law of rate = scale^-shape: as if `events` failures had been seen over transformed `exposure`. */
export type ShapeBelief = { shape: number; events: number; exposure: number };

function requireEvidence(name: string, { shape, exposure, failures }: ShapeEvidence): void {
  if (!(shape > 0 && shape < Infinity))
    throw new RangeError(`${name} requires a finite shape > 0, got ${shape}`);
  if (!(exposure > 0 && exposure < Infinity)) {
    throw new RangeError(`${name} requires a finite exposure > 0, got ${exposure}`);
  }
  if (!(failures >= 0 && failures < Infinity)) {
    throw new RangeError(`${name} requires finite failures >= 0, got ${failures}`);
  }
}

/**
 * Evidence from the ages of all items, failed or not.
 *
 * @param items ages > 0, with the age of entry where the item was not seen from new
 * @param shape assumed Weibull shape, > 0
 * @throws {RangeError} if an age, an entry or the shape is outside its range
 */
export function shapeEvidence(
  items: readonly { at: number; failed: boolean; enteredAt?: number; count?: number }[],
  shape: number,
): ShapeEvidence {
  let exposure = 0;
  let failures = 0;
  for (const { at, failed, enteredAt = 0, count = 1 } of items) {
    if (!(enteredAt >= 0 && at > enteredAt && at < Infinity)) {
      throw new RangeError(`shapeEvidence requires 0 <= enteredAt < at, got ${enteredAt} and ${at}`);
    }
    exposure += count * (at ** shape - enteredAt ** shape);
    if (failed) failures += count;
  }
  const evidence = { shape, exposure, failures };
  requireEvidence("shapeEvidence", evidence);
  return evidence;
}

/**
 * Maximum-likelihood scale (G / failures)^(1 / shape).
 *
 * @throws {RangeError} if there is no failure, or the evidence is outside its range
 */
export function weibayesScale(evidence: ShapeEvidence): number {
  requireEvidence("weibayesScale", evidence);
  const { shape, exposure, failures } = evidence;
  if (failures === 0) {
    throw new RangeError("weibayesScale requires at least one failure; without any, use weibayesScaleLimit");
  }
  return (exposure / failures) ** (1 / shape);
}

/**
 * One-sided lower confidence limit of the scale, (2 G / χ²(confidence; 2 failures + 2))^(1 / shape). It exists
 * without any failure too.
 *
 * @param confidence in (0, 1)
 * @throws {RangeError} if `confidence` or the evidence is outside its range
 */
export function weibayesScaleLimit(evidence: ShapeEvidence, confidence: number): number {
  requireEvidence("weibayesScaleLimit", evidence);
  if (!(confidence > 0 && confidence < 1)) {
    throw new RangeError(`weibayesScaleLimit requires confidence in (0, 1), got ${confidence}`);
  }
  const { shape, exposure, failures } = evidence;
  return ((2 * exposure) / chiSquareQuantile(confidence, 2 * failures + 2)) ** (1 / shape);
}

/**
 * Posterior of scale^-shape from a gamma prior: events and exposures add.
 *
 * @throws {RangeError} if the prior is not > 0, has another shape, or the evidence is outside its range
 */
export function updateShapeBelief(prior: ShapeBelief, evidence: ShapeEvidence): ShapeBelief {
  requireEvidence("updateShapeBelief", evidence);
  if (!(prior.events > 0 && prior.exposure > 0 && prior.shape === evidence.shape)) {
    throw new RangeError(
      "updateShapeBelief requires a prior with events > 0, exposure > 0 and the evidence's shape",
    );
  }
  return {
    shape: prior.shape,
    events: prior.events + evidence.failures,
    exposure: prior.exposure + evidence.exposure,
  };
}

/**
 * Probability that an item alive at `age`, not among the evidence, lives at least `ahead` longer, averaged over
 * the belief: ((c + age^shape) / (c + (age + ahead)^shape))^a. Age 0 is a new item.
 *
 * @param age >= 0, finite
 * @param ahead >= 0
 * @throws {RangeError} if an age is outside its range
 */
export function weibayesSurvival(
  { shape, events, exposure }: ShapeBelief,
  age: number,
  ahead: number,
): number {
  requireAge("weibayesSurvival", ahead);
  if (!(age >= 0 && age < Infinity))
    throw new RangeError(`weibayesSurvival requires a finite age >= 0, got ${age}`);
  const now = exposure + age ** shape;
  return Math.exp(-events * Math.log1p(((age + ahead) ** shape - age ** shape) / now));
}
