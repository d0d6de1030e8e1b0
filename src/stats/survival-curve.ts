/**
 * Survival without a law: Kaplan-Meier for exact and right-censored lives, Aalen-Johansen for several causes.
 * Both allow delayed entry: an item is at risk at age t if it entered before t and left at t or later.
 */
import { normalQuantile } from "./normal.ts";

export type CurveObservation = { kind: "failed" | "running"; at: number; count?: number; enteredAt?: number };

export type CurveStep = {
  at: number;
  atRisk: number;
  failed: number;
  /** Survival just after `at`. */
  survival: number;
  /** Greenwood's standard error; null once the survival is 0, where it has no value. */
  standardError: number | null;
  /** Limits on the log-minus-log scale; null once the survival is 0. */
  limits: { low: number; high: number } | null;
};

/**
 * `from`: age at which the product starts. With delayed entry the first risk sets can be so small that one
 * failure brings the curve to 0 for ever; start where the risk set is not tiny, and read the curve as
 * conditional on survival to `from`.
 * `level`: of the limits, in (0, 1).
 */
export type CurveOptions = { from?: number; level?: number };

type Item = { entry: number; exit: number; count: number; cause: string | null };
type RiskStep = { at: number; atRisk: number; failed: Map<string, number> };

function requireItem(name: string, at: number, count: number, enteredAt: number): void {
  if (!(at > 0 && at < Infinity)) throw new RangeError(`${name} requires a finite at > 0, got ${at}`);
  if (!(count > 0 && count < Infinity))
    throw new RangeError(`${name} requires a finite count > 0, got ${count}`);
  if (!(enteredAt >= 0 && enteredAt < at)) {
    throw new RangeError(`${name} requires enteredAt from 0 to below ${at}, got ${enteredAt}`);
  }
}

/** Failures and risk sets at each distinct failure age, in order: one sweep over entries and exits. */
function riskSteps(items: readonly Item[], from: number): RiskStep[] {
  const entries = items.filter(({ exit }) => exit > from).sort((a, b) => a.entry - b.entry);
  const exits = [...entries].sort((a, b) => a.exit - b.exit);
  const steps: RiskStep[] = [];
  let atRisk = 0;
  let entered = 0;
  let left = 0;
  while (left < exits.length) {
    const at = exits[left]!.exit;
    while (entered < entries.length && entries[entered]!.entry < at) {
      atRisk += entries[entered]!.count;
      entered += 1;
    }
    const failed = new Map<string, number>();
    let leaving = 0;
    while (left < exits.length && exits[left]!.exit === at) {
      const { cause, count } = exits[left]!;
      if (cause !== null) failed.set(cause, (failed.get(cause) ?? 0) + count);
      leaving += count;
      left += 1;
    }
    if (failed.size > 0) steps.push({ at, atRisk, failed });
    atRisk -= leaving;
  }
  return steps;
}

/** Limits S^exp(±z se / (S |ln S|)), which stay inside (0, 1). */
function logLogLimits(survival: number, standardError: number, z: number): { low: number; high: number } {
  const width = Math.exp((z * standardError) / (survival * Math.abs(Math.log(survival))));
  return { low: survival ** width, high: survival ** (1 / width) };
}

/**
 * Kaplan-Meier estimate of the survival function.
 *
 * @param observations failed or running items; ages > 0
 * @returns one step per distinct failure age after `from`, in order; empty if nothing failed
 * @throws {RangeError} if an observation or an option is outside its range
 */
export function kaplanMeier(
  observations: readonly CurveObservation[],
  options: CurveOptions = {},
): CurveStep[] {
  const { from = 0, level = 0.95 } = options;
  if (!(from >= 0)) throw new RangeError(`kaplanMeier requires from >= 0, got ${from}`);
  if (!(level > 0 && level < 1)) throw new RangeError(`kaplanMeier requires level in (0, 1), got ${level}`);
  const z = normalQuantile((1 + level) / 2);
  const items = observations.map(({ kind, at, count = 1, enteredAt = 0 }): Item => {
    requireItem("kaplanMeier", at, count, enteredAt);
    return { entry: enteredAt, exit: at, count, cause: kind === "failed" ? "failed" : null };
  });
  let survival = 1;
  let greenwood = 0;
  return riskSteps(items, from).map(({ at, atRisk, failed: byCause }) => {
    const failed = byCause.get("failed")!;
    const surviving = atRisk - failed;
    // A count that is not whole leaves a rounding error where every item at risk failed.
    survival = surviving > 1e-12 * atRisk ? survival * (surviving / atRisk) : 0;
    greenwood += survival > 0 ? failed / (atRisk * surviving) : 0;
    const standardError = survival > 0 ? survival * Math.sqrt(greenwood) : null;
    const limits = standardError === null ? null : logLogLimits(survival, standardError, z);
    return { at, atRisk, failed, survival, standardError, limits };
  });
}

/**
 * Smallest age at which the curve has fallen to 1 - p or below; null if it never falls so far.
 *
 * @param p fraction failed, in (0, 1); 0.5 is the median life
 * @throws {RangeError} if `p` is outside (0, 1)
 */
export function curveQuantile(steps: readonly CurveStep[], p: number): number | null {
  if (!(p > 0 && p < 1)) throw new RangeError(`curveQuantile requires p in (0, 1), got ${p}`);
  // Products such as (1 - 1/3)(1 - 1/4) miss 1/2 by a rounding error.
  return steps.find(({ survival }) => survival <= 1 - p + 1e-12)?.at ?? null;
}

/** `cause` null: still running (censored) at `at`. */
export type CauseObservation = { cause: string | null; at: number; count?: number; enteredAt?: number };

export type IncidenceStep = {
  at: number;
  /** Probability to be without any failure just after `at`. */
  survival: number;
  /** Probability that the item has failed by `at`, from each cause. Survival and incidences sum to one. */
  incidence: Record<string, number>;
};

/**
 * Aalen-Johansen estimate of the cumulative incidence of each cause.
 *
 * One minus the Kaplan-Meier curve of one cause, others censored, overstates its incidence, because an item that
 * has failed from another cause can no longer fail from this one.
 *
 * @returns one step per distinct failure age, in order
 * @throws {RangeError} if an observation is outside its range
 */
export function aalenJohansen(observations: readonly CauseObservation[]): IncidenceStep[] {
  const items = observations.map(({ cause, at, count = 1, enteredAt = 0 }): Item => {
    requireItem("aalenJohansen", at, count, enteredAt);
    return { entry: enteredAt, exit: at, count, cause };
  });
  const causes = [...new Set(items.flatMap(({ cause }) => (cause === null ? [] : [cause])))].sort();
  let incidence: Record<string, number> = Object.fromEntries(causes.map((cause) => [cause, 0]));
  let survival = 1;
  return riskSteps(items, 0).map(({ at, atRisk, failed }) => {
    const before = survival;
    incidence = { ...incidence };
    let all = 0;
    for (const [cause, count] of failed) {
      incidence[cause]! += (before * count) / atRisk;
      all += count;
    }
    survival = before * Math.max(0, 1 - all / atRisk);
    return { at, survival, incidence };
  });
}
