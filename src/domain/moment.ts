import { DomainError } from "./errors.ts";

/** Nothing that a club still uses was logged before: an earlier year is a slip of the hand. */
export const earliestMoment = "1980-01-01T00:00:00.000Z";
export const tooEarly = "must not be before 1980-01-01: look at the year";

/** A clock that is a little ahead is no reason to refuse; a run of next week is. */
const aheadMs = 24 * 3600 * 1000;

/** The latest moment at which something can be said to have happened, RFC 3339 in UTC with milliseconds. */
export const latestMoment = (now: string): string => new Date(Date.parse(now) + aheadMs).toISOString();

/**
 * What is logged has happened. Said of the future it would act at once: a piece would be off the car today because
 * somebody mistyped the year.
 *
 * @param what with its article, such as "A run"
 * @param pointer the member of the request that says when
 * @throws {DomainError} `out_of_order`
 */
export function requirePast(now: string, at: string, what: string, pointer = "#/at"): void {
  if (at > latestMoment(now))
    throw new DomainError("out_of_order", `${what} at ${at} is in the future; log it when it has happened`, [
      { pointer, detail: "is in the future; log it when it has happened" },
    ]);
}
