import fc from "fast-check";
import { expect, it } from "vitest";
import { JsonBroken, JsonElements } from "../../src/services/json-elements.ts";

function elementsOf(pieces: readonly string[], longest = 10_000): unknown[] | "broken" {
  const found: unknown[] = [];
  const reader = new JsonElements(longest, (element) => found.push(element));
  try {
    for (const piece of pieces) reader.write(piece);
    reader.end();
  } catch (error) {
    if (error instanceof JsonBroken) return "broken";
    throw error;
  }
  return found;
}

function parsed(text: string): unknown[] | "broken" {
  try {
    const value: unknown = JSON.parse(text);
    return Array.isArray(value) ? value : "broken";
  } catch {
    return "broken";
  }
}

const pieces = (text: string, cuts: readonly number[]) => {
  const at = [0, ...cuts.map((cut) => cut % (text.length + 1)).sort((a, b) => a - b), text.length];
  return at.slice(1).map((end, i) => text.slice(at[i], end));
};
const seed = 20261129;
const anyCuts = fc.array(fc.nat(), { maxLength: 6 });

it("elements of an array are those of JSON.parse, wherever the text is cut", () => {
  fc.assert(
    fc.property(
      fc.array(fc.jsonValue(), { maxLength: 6 }),
      anyCuts,
      fc.constantFrom(0, 1, "\t"),
      (value, cuts, space) => {
        const text = `\n ${JSON.stringify(value, null, space)} \r\n`;
        expect(elementsOf(pieces(text, cuts))).toEqual(JSON.parse(text));
      },
    ),
    { seed, numRuns: 2000 },
  );
});

it("text that is no array is refused exactly where JSON.parse refuses it", () => {
  const token = fc.constantFrom(
    "[",
    "]",
    "{",
    "}",
    '"',
    "\\",
    '\\"',
    "\\\\",
    ",",
    ":",
    "1",
    "null",
    '"a"',
    " ",
    '{"a":[1]}',
    '"]"',
  );
  const text = fc.array(token, { maxLength: 12 }).map((tokens) => tokens.join(""));
  const either = fc.oneof(
    text,
    text.map((inner) => `[${inner}]`),
  );
  fc.assert(
    fc.property(either, anyCuts, (text, cuts) => {
      expect(elementsOf(pieces(text, cuts))).toEqual(parsed(text));
    }),
    { seed, numRuns: 5000 },
  );
});

it("an element without end is refused before it fills the memory", () => {
  expect(elementsOf(["[", ...Array<string>(50).fill("[".repeat(1000))])).toBe("broken");
  expect(elementsOf(['["', ...Array<string>(50).fill("x".repeat(1000))])).toBe("broken");
});
