/** What to change in a request whose form is wrong, in words for the person who wrote it. */
import type { z } from "zod";
import { nearestName } from "../services/nearest-name.ts";

type Raw = z.core.$ZodRawIssue;

const aOf: Record<string, string> = {
  string: "text",
  number: "a number",
  int: "a whole number",
  boolean: "true or false",
  array: "a list",
  object: "an object",
  record: "an object",
  null: "null",
  date: "a time",
};

const formats: Record<string, string> = {
  date: "a day such as 2026-05-31",
  datetime: "a time with its offset, such as 2026-05-31T19:30:00Z or 2026-05-31T19:30:00+02:00",
  time: "a time of day such as 19:30",
  url: "a URL such as https://example.org/list.csv",
  safeint: "a whole number",
};

const typeOf = (input: unknown): string =>
  input === null ? "null" : Array.isArray(input) ? "array" : typeof input;

const quoted = (values: readonly unknown[]): string =>
  values.map((value) => JSON.stringify(value)).join(", ");

/** "text", or more closely "a day such as …" where the schema says so. */
function meant({ inst, expected, format }: Raw & { expected?: string; format?: string }): string {
  const own = (inst as { _zod?: { def?: { format?: string } } } | undefined)?._zod?.def?.format;
  return formats[format ?? own ?? ""] ?? aOf[expected ?? ""] ?? `${expected}`;
}

const characters = (n: number | bigint) => `${n} ${n === 1n || n === 1 ? "character" : "characters"}`;
const entries = (n: number | bigint) => `${n} ${n === 1n || n === 1 ? "entry" : "entries"}`;
function bound(origin: string, side: "least" | "most", value: number | bigint, inclusive: boolean): string {
  if (origin === "string")
    return side === "least" && value === 1
      ? "must not be empty"
      : `must have at ${side} ${characters(value)}`;
  if (origin === "array" || origin === "set") return `must have at ${side} ${entries(value)}`;
  if (inclusive) return `must be at ${side} ${value}`;
  return `must be ${side === "least" ? "above" : "below"} ${value}`;
}

/**
 * The message of one issue, to be read after the name of the member: "must be a whole number, not text". Messages that a
 * schema states itself come before this one.
 */
export function formFault(issue: Raw): string | undefined {
  const { input } = issue;
  const missing = input === undefined;
  switch (issue.code) {
    case "invalid_type": {
      if (missing) return `is missing; it must be ${meant(issue)}`;
      if (typeof input === "number" && !Number.isFinite(input)) return "must be a finite number";
      const wanted = meant(issue);
      const got = aOf[typeOf(input)] ?? typeof input;
      return wanted === got || typeof input === "number"
        ? `must be ${wanted}`
        : `must be ${wanted}, not ${got}`;
    }
    case "invalid_value":
      return `${missing ? "is missing; it must" : "must"} be ${issue.values.length > 1 ? "one of " : ""}${quoted(issue.values)}`;
    case "too_small":
      return bound(issue.origin, "least", issue.minimum, issue.inclusive !== false);
    case "too_big":
      return bound(issue.origin, "most", issue.maximum, issue.inclusive !== false);
    case "invalid_format":
      return issue.format in formats ? `must be ${formats[issue.format]}` : undefined;
    case "not_multiple_of":
      return issue.divisor === 1 ? "must be a whole number" : `must be a multiple of ${issue.divisor}`;
    case "invalid_union": {
      const { options } = issue as { options?: readonly unknown[] };
      return options === undefined
        ? "has none of the forms that are allowed here"
        : `must be one of ${quoted(options)}`;
    }
    // Each member that is not known is named by itself; the others keep the words of the schema.
    case "unrecognized_keys":
    case "custom":
    case "invalid_key":
    case "invalid_element":
      return undefined;
  }
}

/** What to say of a member that is not known, with the name that was probably meant. */
export function unknownMember(name: string, known: Iterable<string>): string {
  const near = nearestName(name, known);
  return near === null ? "is not known here: leave it out" : `is not known here: did you mean ${near}?`;
}
