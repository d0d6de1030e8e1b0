import { createHash } from "node:crypto";
import type { ClubCalendar, DayEvent } from "../services/club-calendar.ts";

/** Writes a calendar as iCalendar (RFC 5545): all-day events, without time zones, alarms or repeats. */

/** Lines are folded after so many octets, the line break not counted (section 3.1). */
const mostOctets = 75;
/** What no content line may hold: control characters but the tab (section 3.1). */
const controls =
  // biome-ignore lint/suspicious/noControlCharactersInRegex: these are the characters to be found
  /[\0-\x08\x0b-\x1f\x7f]/g;

/** A value of type TEXT (section 3.3.11). */
export const textValue = (text: string): string =>
  // Written as UTF-8 and read again, half a surrogate pair is U+FFFD.
  Buffer.from(text)
    .toString()
    .replaceAll(/\r\n?/g, "\n")
    .replaceAll(controls, "\ufffd")
    .replaceAll(/[\\;,]/g, (sign) => `\\${sign}`)
    .replaceAll("\n", "\\n");

const octetsOf = (character: string) => Buffer.byteLength(character);

/** A content line with its break; a long one goes on after a break and a space, never inside a character. */
export function contentLine(name: string, value: string): string {
  let folded = "";
  let octets = 0;
  for (const character of `${name}:${value}`) {
    const more = octetsOf(character);
    if (octets + more > mostOctets) {
      folded += "\r\n ";
      octets = 1;
    }
    folded += character;
    octets += more;
  }
  return `${folded}\r\n`;
}

const dateValue = (day: string) => day.replaceAll("-", "");
const timeValue = (at: string) => at.replaceAll(/[-:]|\.\d+/g, "");
const dayAfter = (day: string, days: number) =>
  new Date(Date.parse(day) + days * 86_400_000).toISOString().slice(0, 10);

/** The end of an all-day event is the day after its last (section 3.6.1). */
const eventLines = ({
  uid,
  startsOn,
  days,
  summary,
  description,
  location,
  category,
  sequence,
  changedAt,
}: DayEvent): [name: string, value: string][] => [
  ["BEGIN", "VEVENT"],
  ["UID", textValue(uid)],
  // Without METHOD this is when what is said was last revised (section 3.8.7.2).
  ["DTSTAMP", timeValue(changedAt)],
  ["SEQUENCE", String(sequence)],
  ["DTSTART;VALUE=DATE", dateValue(startsOn)],
  ["DTEND;VALUE=DATE", dateValue(dayAfter(startsOn, days))],
  ["SUMMARY", textValue(summary)],
  ["DESCRIPTION", textValue(description)],
  ...(location === null ? [] : [["LOCATION", textValue(location)] as [string, string]]),
  ["CATEGORIES", category.toUpperCase()],
  // A meeting or a day to order does not make anybody busy whose calendar it is not.
  ["TRANSP", "TRANSPARENT"],
  ["END", "VEVENT"],
];

/** The calendar as text. Programs are asked to look again after some hours (RFC 7986, section 5.7). */
export const calendarText = ({ name, events }: ClubCalendar): string =>
  (
    [
      ["BEGIN", "VCALENDAR"],
      ["VERSION", "2.0"],
      ["PRODID", "-//Wear & Spares//Club calendar//EN"],
      ["CALSCALE", "GREGORIAN"],
      ["NAME", textValue(name)],
      ["X-WR-CALNAME", textValue(name)],
      ["REFRESH-INTERVAL;VALUE=DURATION", "PT6H"],
      ...events.flatMap(eventLines),
      ["END", "VCALENDAR"],
    ] as [string, string][]
  )
    .map(([property, value]) => contentLine(property, value))
    .join("");

/**
 * What the calendar says without when it was worked out, as a weak entity tag (RFC 9110, section 8.8.1): an order that
 * is still the same need not be sent again.
 */
export function calendarTag(calendar: ClubCalendar): string {
  const events = calendar.events.map((event) =>
    event.category === "order" ? { ...event, changedAt: "" } : event,
  );
  const said = calendarText({ ...calendar, events });
  return `W/"${createHash("sha256").update(said).digest("base64url").slice(0, 16)}"`;
}
