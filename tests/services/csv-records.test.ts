import { parse } from "csv-parse/sync";
import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { CsvBroken, CsvRecords } from "../../src/services/csv-records.ts";

/** The records of a text that arrives in pieces, or "broken". */
function recordsOf(pieces: readonly string[], separator = ","): string[][] | "broken" {
  const records: string[][] = [];
  const reader = new CsvRecords(separator, 10_000, (cells) => records.push(cells));
  try {
    for (const piece of pieces) reader.write(piece);
    reader.end();
  } catch (error) {
    if (error instanceof CsvBroken) return "broken";
    throw error;
  }
  return records;
}

/** The same by csv-parse, an independent reader of RFC 4180. */
function otherReader(text: string, delimiter: string): string[][] | "broken" {
  try {
    const options = {
      delimiter,
      record_delimiter: ["\r\n", "\n"],
      relax_column_count: true,
      skip_empty_lines: true,
    };
    return parse(text, options) as unknown as string[][];
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
const anySeparator = fc.constantFrom(",", ";", "\t");

describe("records of a CSV file", () => {
  it("are those that csv-parse finds, wherever the text is cut, also in text that is no CSV", () => {
    const token = fc.constantFrom("a", "b c", ",", ";", "\t", '"', '""', "\n", "\r\n", "ü", " ");
    const text = fc.array(token, { maxLength: 40 }).map((tokens) => tokens.join(""));
    fc.assert(
      fc.property(text, anyCuts, anySeparator, (text, cuts, separator) => {
        expect(recordsOf(pieces(text, cuts), separator)).toEqual(otherReader(text, separator));
      }),
      { seed, numRuns: 3000 },
    );
  });

  it("give back any cells that were quoted by the rules", () => {
    const cell = fc.string({ unit: fc.constantFrom("a", '"', ",", "\n", "\r", "\r\n", " ", "é") });
    const table = fc.array(fc.array(cell, { minLength: 2, maxLength: 4 }), { minLength: 1, maxLength: 6 });
    fc.assert(
      fc.property(table, anyCuts, fc.boolean(), (rows, cuts, always) => {
        const quoted = (one: string) =>
          always || /[",\r\n]/.test(one) ? `"${one.replaceAll('"', '""')}"` : one;
        const text = rows.map((row) => row.map(quoted).join(",")).join("\r\n");
        expect(recordsOf(pieces(text, cuts))).toEqual(rows);
      }),
      { seed, numRuns: 2000 },
    );
  });

  it("that never end are refused before they fill the memory", () => {
    expect(recordsOf(['a,"b', ...Array<string>(200).fill("x".repeat(100))])).toBe("broken");
    expect(recordsOf(Array<string>(200).fill("x".repeat(100)))).toBe("broken");
  });
});
