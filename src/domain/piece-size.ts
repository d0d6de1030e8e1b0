import type { Fault } from "./errors.ts";
import type { Kind, Limits, Measure } from "./kind.ts";
import type { LineOverrides } from "./wear.ts";

/**
 * Which sizes and prior usages of a piece can be at all. One that cannot be bends the fit of the whole line for
 * everybody, so that nobody can stand by it, as one can by a reading that is only unlikely.
 */

/** The kind of a piece, and what its line says differently. */
export interface Sized {
  kind: Pick<Kind, "measure" | "limits" | "usualLife" | "clock">;
  line: LineOverrides;
}

/** How many usual lives of the slow end a second-hand piece may have behind it; no source. */
const livesAtMost = 100;
/** Sizes of new pieces this many standard deviations off are still believed: 1 in 16,000, were they normal. */
const spreadSds = 4;

const round = (x: number) => Number(x.toPrecision(5));

/**
 * What is wrong with a size below 0, where the kind's own sizes are not: "must be at least 0 mm …", or null.
 *
 * @param value in the kind's unit
 */
export function belowZero(measure: Measure, limits: Limits | null, value: number): string | null {
  const own = [measure.asNew, limits?.race ?? 0, limits?.club ?? 0, limits?.stop ?? 0];
  return value < 0 && own.every((size) => size >= 0)
    ? `must be at least 0 ${measure.unit}: the ${measure.quantity} is never negative`
    : null;
}

function asNewFault({ kind, line }: Sized, asNew: number): string | null {
  const { measure } = kind;
  const limits = line.limits ?? kind.limits;
  if (measure === null || limits === null) return null;
  const negative = belowZero(measure, limits, asNew);
  if (negative !== null) return negative;
  const { unit, direction } = measure;
  const catalogue = line.asNew ?? measure.asNew;
  const { club } = limits;
  if (limits.basis === "size" && (direction === "falls" ? asNew <= club : asNew >= club))
    return `must be ${direction === "falls" ? "greater" : "less"} than the limit of ${club} ${unit}: a new piece is not worn out`;
  const wearable = limits.basis === "loss" ? club : Math.abs(catalogue - club);
  const reach = Math.max(wearable, spreadSds * measure.asNewSd);
  if (Math.abs(asNew - catalogue) <= reach) return null;
  const [least, most] = [Math.max(catalogue - reach, measure.asNew >= 0 ? 0 : -Infinity), catalogue + reach];
  return `must be from ${round(least)} to ${round(most)} ${unit}: new pieces of this line have ${round(catalogue)} ${unit}, and a whole life wears ${round(wearable)} ${unit}; if the line's are of another size, change the line's asNew first`;
}

function priorUsageFault({ kind, line }: Sized, priorUsage: number): string | null {
  const most = livesAtMost * (line.usualLife ?? kind.usualLife).p90;
  return priorUsage <= most
    ? null
    : `must be at most ${round(most)} ${kind.clock}: ${livesAtMost} times the usual life`;
}

/**
 * What cannot be in what is said of a piece; members that are not said are not looked at.
 *
 * @param at where the request has the piece: a JSON pointer
 */
export function pieceFaults(
  sized: Sized,
  said: { asNew?: number | null | undefined; priorUsage?: number | null | undefined },
  at = "#",
): Fault[] {
  const { asNew = null, priorUsage = null } = said;
  const found = {
    asNew: asNew === null ? null : asNewFault(sized, asNew),
    priorUsage: priorUsage === null ? null : priorUsageFault(sized, priorUsage),
  };
  return Object.entries(found).flatMap(([member, detail]) =>
    detail === null ? [] : [{ pointer: `${at}/${member}`, detail }],
  );
}
