/** Days of a club: a moment is a day there, and a day begins at a moment, by the club's own time zone. */

const formats = new Map<string, Intl.DateTimeFormat>();

/** Making a format takes a hundred times as long as using one. A club has one time zone, so that few are kept. */
function formatOf(timeZone: string): Intl.DateTimeFormat {
  let format = formats.get(timeZone);
  if (format === undefined) {
    // Swedish writes days as YYYY-MM-DD.
    format = new Intl.DateTimeFormat("sv-SE", { timeZone });
    formats.set(timeZone, format);
  }
  return format;
}

/**
 * The day that it is somewhere at a moment, YYYY-MM-DD.
 *
 * @param timeZone a name of the IANA time zone database
 * @throws {RangeError} if there is no such time zone, or `at` is no moment
 * @example
 * ```ts
 * dayIn("Australia/Brisbane", "2026-11-29T20:00:00.000Z"); // => "2026-11-30"
 * ```
 */
export const dayIn = (timeZone: string, at: string): string => formatOf(timeZone).format(new Date(at));

const clocks = new Map<string, Intl.DateTimeFormat>();

/**
 * What the clock shows somewhere at a moment, counted as if it were UTC: milliseconds since 1970-01-01T00:00Z. For the
 * axis of a picture, whose days are to begin at the midnight of the place.
 *
 * @param timeZone a name of the IANA time zone database
 * @throws {RangeError} if there is no such time zone, or `at` is no moment
 * @example
 * ```ts
 * new Date(clockIn("Australia/Brisbane", "2026-11-29T20:00:00.000Z")).toISOString(); // => "2026-11-30T06:00:00.000Z"
 * ```
 */
export function clockIn(timeZone: string, at: string): number {
  let clock = clocks.get(timeZone);
  if (clock === undefined) {
    const parts = { hour: "2-digit", minute: "2-digit", second: "2-digit" } as const;
    const day = { year: "numeric", month: "2-digit", day: "2-digit" } as const;
    clock = new Intl.DateTimeFormat("sv-SE", { timeZone, ...day, ...parts });
    clocks.set(timeZone, clock);
  }
  const moment = new Date(at);
  return Date.parse(`${clock.format(moment).replace(" ", "T")}Z`) + moment.getUTCMilliseconds();
}

const hourMs = 3_600_000;
/** No clock is further from UTC than this. */
const furthestHours = 16;

/**
 * The moment at which a day begins somewhere, RFC 3339 in UTC: the first whose day it is. It is looked for by halving,
 * because a day may begin at one o'clock where the clocks are put forward at midnight.
 *
 * @param day YYYY-MM-DD
 * @throws {RangeError} if there is no such time zone or no such day
 * @example
 * ```ts
 * dayStart("Australia/Brisbane", "2026-11-30"); // => "2026-11-29T14:00:00.000Z"
 * ```
 */
export function dayStart(timeZone: string, day: string): string {
  const midnight = Date.parse(`${day}T00:00:00.000Z`);
  let [before, from] = [midnight - furthestHours * hourMs, midnight + furthestHours * hourMs];
  while (from - before > 1) {
    const middle = Math.floor((before + from) / 2);
    if (dayIn(timeZone, new Date(middle).toISOString()) < day) before = middle;
    else from = middle;
  }
  return new Date(from).toISOString();
}
