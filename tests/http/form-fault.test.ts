import { describe, expect, test } from "vitest";
import { z } from "zod";
import { formFault, unknownMember } from "../../src/http/form-fault.ts";
import { queryFlag, queryInteger, queryNumber } from "../../src/http/schemas.ts";

const schema = z.strictObject({
  count: z.int().min(0).max(9),
  above: z.number().gt(0),
  name: z.string().min(1).max(5),
  side: z.enum(["left", "right"]),
  day: z.iso.date(),
  at: z.iso.datetime({ offset: true }),
  list: z.array(z.number()).min(1).max(2),
  shape: z.discriminatedUnion("kind", [
    z.object({ kind: z.literal("round") }),
    z.object({ kind: z.literal("flat") }),
  ]),
  either: z.union([z.number(), z.boolean()]),
  half: z.number().multipleOf(0.5),
  own: z.string().refine((text) => text !== "no", "must not be no"),
});
const right = {
  ...{ count: 1, above: 1, name: "a", side: "left", day: "2026-05-31", at: "2026-05-31T10:00:00Z" },
  ...{ list: [1], shape: { kind: "flat" }, either: 1, half: 0.5, own: "yes" },
};
const faults = (change: object): Record<string, string> =>
  Object.fromEntries(
    (schema.safeParse({ ...right, ...change }, { error: formFault }).error?.issues ?? []).map((issue) => [
      issue.path.join("/"),
      issue.message,
    ]),
  );

describe("what a wrong request is told", () => {
  test("nothing where nothing is wrong", () => {
    expect(faults({})).toEqual({});
  });

  test("a missing member says what it must be", () => {
    expect(faults({ count: undefined, side: undefined, day: undefined, list: undefined })).toEqual({
      count: "is missing; it must be a whole number",
      side: 'is missing; it must be one of "left", "right"',
      day: "is missing; it must be a day such as 2026-05-31",
      list: "is missing; it must be a list",
    });
  });

  test("a wrong sort says what it must be and what it is", () => {
    expect(faults({ count: "3", name: 4, list: {}, shape: [], above: null })).toEqual({
      count: "must be a whole number, not text",
      name: "must be text",
      list: "must be a list, not an object",
      shape: "must be an object, not a list",
      above: "must be a number, not null",
    });
    expect(faults({ count: 1.5, half: Number.POSITIVE_INFINITY })).toEqual({
      count: "must be a whole number",
      half: "must be a finite number",
    });
  });

  test("a value out of bounds is told the bound", () => {
    expect(faults({ count: -1, above: 0, name: "", list: [], half: 0.3 })).toEqual({
      count: "must be at least 0",
      above: "must be above 0",
      name: "must not be empty",
      list: "must have at least 1 entry",
      half: "must be a multiple of 0.5",
    });
    expect(faults({ count: 10, name: "abcdef", list: [1, 2, 3] })).toEqual({
      count: "must be at most 9",
      name: "must have at most 5 characters",
      list: "must have at most 2 entries",
    });
  });

  test("a day, a time and a choice are told by example", () => {
    expect(faults({ day: "31.5.2026", at: "yesterday", side: "middle", shape: { kind: "bent" } })).toEqual({
      day: "must be a day such as 2026-05-31",
      at: "must be a time with its offset, such as 2026-05-31T19:30:00Z or 2026-05-31T19:30:00+02:00",
      side: 'must be one of "left", "right"',
      "shape/kind": 'must be one of "round", "flat"',
    });
    expect(faults({ either: "one" })).toEqual({ either: "has none of the forms that are allowed here" });
  });

  test("a schema's own message comes first", () => {
    expect(faults({ own: "no" })).toEqual({ own: "must not be no" });
  });

  test("a number or a yes or no in a query is asked for as such, missing or wrong", () => {
    const query = z.strictObject({
      budget: queryInteger(0, 999, "money"),
      minutes: queryNumber(0, 600, "bench time"),
      newestFirst: queryFlag("the newest first"),
    });
    const told = (asked: object) =>
      query.safeParse(asked, { error: formFault }).error?.issues.map((issue) => issue.message);
    expect(told({})).toEqual([
      "is missing; it must be a whole number from 0 to 999",
      "is missing; it must be a number from 0 to 600",
    ]);
    expect(told({ budget: "1.5", minutes: "601", newestFirst: "maybe" })).toEqual([
      "must be a whole number from 0 to 999",
      "must be a number from 0 to 600",
      "must be true or false",
    ]);
    for (const word of ["yes", "1", "TRUE", "on", ""])
      expect(told({ budget: "1", minutes: "1", newestFirst: word })).toEqual(["must be true or false"]);
    expect(query.parse({ budget: "1", minutes: "0.5", newestFirst: "false" }).newestFirst).toBe(false);
  });

  test("an unknown member is told the name that was probably meant", () => {
    expect(unknownMember("priceMinorUnit", ["priceMinorUnits", "sku"])).toBe(
      "is not known here: did you mean priceMinorUnits?",
    );
    expect(unknownMember("colour", ["sku"])).toBe("is not known here: leave it out");
  });
});
