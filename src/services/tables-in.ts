import { setImmediate as nextTurn } from "node:timers/promises";
import { DomainError } from "../domain/errors.ts";
import { CsvBroken, CsvRecords } from "./csv-records.ts";
import { type Faults, unreadable } from "./import-faults.ts";
import { type CellForm, type Columns, type Given, Wrong } from "./import-cells.ts";
import { JsonBroken, JsonElements } from "./json-elements.ts";
import { nearestName } from "./nearest-name.ts";

/**
 * Reads a table as it arrives: a CSV file (RFC 4180 with a header), a JSON array of objects, or one JSON object a line.
 * The text is never held as a whole; what is kept of each row is up to the caller.
 */
export const tableTypes = ["text/csv", "application/json", "application/x-ndjson"] as const;
export interface TableForm {
  type: (typeof tableTypes)[number];
  /** between the cells of a CSV file */
  separator: string;
  decimal: "." | ",";
  /** what the sender said the length is, bytes; null if not said */
  length: number | null;
}

export interface Table<C extends Columns> {
  columns: C;
  /** columns of an export that an import has no use for */
  unused: readonly string[];
  /** of each of these groups, a row must give one */
  needs: readonly (readonly (keyof C & string)[])[];
}

export type Bytes = AsyncIterable<Uint8Array>;

export const maxRows = 500_000;
export const maxBytes = 64 * 2 ** 20;
/** A row longer than this is a mistake, such as a quote that is never closed. */
const maxRowLength = 2 ** 20;

/** More than one import takes: to be sent in parts. */
export class TableTooLarge extends Error {}

/** The body as text, in pieces that are short enough for the limit on a row to be noticed. */
async function* textOf(body: Bytes, length: number | null): AsyncGenerator<string> {
  const decoder = new TextDecoder("utf-8", { fatal: true });
  const piece = 2 ** 16;
  let bytes = 0;
  const decoded = (some?: Uint8Array) => {
    try {
      return some === undefined ? decoder.decode() : decoder.decode(some, { stream: true });
    } catch {
      throw unreadable(
        `The body is not UTF-8 text (the first wrong byte comes after byte ${Math.max(0, bytes - (some?.length ?? 0))}): save the file as UTF-8 (in a spreadsheet "CSV UTF-8") and send it again`,
      );
    }
  };
  try {
    for await (const chunk of body) {
      bytes += chunk.length;
      if (bytes > maxBytes)
        throw new TableTooLarge(`An import takes at most ${maxBytes / 2 ** 20} MiB; send the file in parts`);
      for (let i = 0; i < chunk.length; i += piece) {
        yield decoded(chunk.subarray(i, i + piece));
        // A body that is there already would be read without letting anybody else in.
        await nextTurn();
      }
    }
  } catch (error) {
    const known = error instanceof TableTooLarge || error instanceof DomainError;
    throw known ? error : unreadable(`The body broke off after ${bytes} bytes; send it again`);
  }
  if (length !== null && bytes !== length)
    throw unreadable(`The body broke off: ${length} bytes were announced and ${bytes} came; send it again`);
  yield decoded();
}

/** Turns cells into rows: each checked by its column, and handed on if nothing is wrong with it. */
class Rows<C extends Columns> {
  readonly #table: Table<C>;
  readonly #form: CellForm;
  readonly #faults: Faults;
  readonly #keep: (given: Given<C>, row: number) => void;
  readonly #blank: Given<C>;
  readonly #unused: ReadonlySet<string>;
  count = 0;

  constructor(table: Table<C>, form: CellForm, faults: Faults, keep: (given: Given<C>, row: number) => void) {
    this.#table = table;
    this.#form = form;
    this.#faults = faults;
    this.#keep = keep;
    this.#unused = new Set(table.unused);
    this.#blank = Object.fromEntries(Object.keys(table.columns).map((name) => [name, null])) as Given<C>;
  }

  /** Why a column is refused, or null where it is known. */
  strange(name: string): string | null {
    if (Object.hasOwn(this.#table.columns, name) || this.#unused.has(name)) return null;
    const known = Object.keys(this.#table.columns);
    const near = this.#faults.total < 20 ? nearestName(name, known) : null;
    return `there is no column "${name.slice(0, 60)}"${near === null ? `; the columns are ${known.join(", ")}` : `; is "${near}" meant?`}`;
  }

  missing(has: (name: string) => boolean): readonly string[] | undefined {
    return this.#table.needs.find((group) => !group.some(has));
  }

  /** Takes one row as pairs of name and cell; null cells say nothing. */
  take(names: readonly string[], cells: readonly unknown[]): void {
    const row = this.#next();
    const before = this.#faults.total;
    const given = { ...this.#blank } as Record<string, unknown>;
    for (let i = 0; i < names.length; i++) {
      const cell = cells[i];
      if (cell === null || cell === undefined || (this.#form.csv && (cell as string).trim() === "")) continue;
      const name = names[i]!;
      if (!Object.hasOwn(this.#table.columns, name)) continue;
      const value = this.#table.columns[name]!(cell, this.#form);
      if (value instanceof Wrong) this.#faults.add(row, name, value.detail);
      else given[name] = value;
    }
    const missing = this.missing((name) => given[name] !== null);
    if (this.#faults.total > before) return;
    if (missing === undefined) this.#keep(given as Given<C>, row);
    else this.#faults.add(row, missing[0]!, `must be given (${missing.join(" or ")})`);
  }

  /** Takes one value of JSON, which should be an object. */
  takeValue(value: unknown): void {
    if (typeof value !== "object" || value === null || Array.isArray(value)) {
      this.wrongRow("must be an object with the columns as members");
      return;
    }
    const names = Object.keys(value);
    const before = this.#faults.total;
    for (const name of names) {
      const why = this.strange(name);
      if (why !== null) this.#faults.add(this.count, name, why);
    }
    if (this.#faults.total > before) this.#next();
    else this.take(names, Object.values(value));
  }

  wrongRow(detail: string): void {
    this.#faults.add(this.#next(), null, detail);
  }

  #next(): number {
    if (this.count >= maxRows)
      throw new TableTooLarge(`An import takes at most ${maxRows} rows; send the file in parts`);
    this.count += 1;
    return this.count - 1;
  }
}

function headerOf<C extends Columns>(cells: readonly string[], rows: Rows<C>, faults: Faults): string[] {
  const names = cells.map((cell) => cell.trim());
  for (const [i, name] of names.entries()) {
    if (names.indexOf(name) !== i) faults.addToHeader(name, `the column "${name}" is there twice`);
    const why = rows.strange(name);
    const separator = /[;\t|,]/.exec(name);
    if (why !== null && names.length === 1 && separator !== null)
      faults.addToHeader(
        name,
        `the header is one cell; if the cells are separated by ${JSON.stringify(separator[0])}, state it as ?separator=${encodeURIComponent(separator[0])}`,
      );
    else if (why !== null) faults.addToHeader(name, why);
  }
  const missing = rows.missing((name) => names.includes(name));
  if (faults.total === 0 && missing !== undefined)
    faults.addToHeader(null, `the header needs the column ${missing.join(" or ")}`);
  faults.refuse();
  return names;
}

async function readCsv<C extends Columns>(
  body: AsyncIterable<string>,
  separator: string,
  rows: Rows<C>,
  faults: Faults,
): Promise<void> {
  let header: string[] | null = null;
  const records = new CsvRecords(separator, maxRowLength, (cells) => {
    // Spreadsheets write such lines after the last row.
    if (cells.every((cell) => cell.trim() === "")) return;
    if (header === null) header = headerOf(cells, rows, faults);
    else if (cells.length === header.length) rows.take(header, cells);
    else rows.wrongRow(`has ${cells.length} cells, but the header has ${header.length} columns`);
  });
  try {
    for await (const some of body) records.write(some);
    records.end();
  } catch (error) {
    if (!(error instanceof CsvBroken)) throw error;
    rows.wrongRow(error.message);
  }
  if (header === null && faults.total === 0)
    throw unreadable("The body is empty: it needs a header, and a row for each thing");
}

async function readJson<C extends Columns>(body: AsyncIterable<string>, rows: Rows<C>): Promise<void> {
  const elements = new JsonElements(maxRowLength, (value) => rows.takeValue(value));
  try {
    for await (const some of body) elements.write(some);
    elements.end();
  } catch (error) {
    if (!(error instanceof JsonBroken)) throw error;
    throw unreadable(
      `The body must be a JSON array of objects, one for each row, but after ${rows.count} rows it is not (${error.message}): was it cut off?`,
    );
  }
}

async function readLines<C extends Columns>(body: AsyncIterable<string>, rows: Rows<C>): Promise<void> {
  let rest = "";
  const take = (line: string) => {
    if (line.trim() === "") return;
    let value: unknown;
    try {
      value = JSON.parse(line);
    } catch (error) {
      rows.wrongRow(`the line is no JSON (${(error as Error).message}): was it cut off?`);
      return;
    }
    rows.takeValue(value);
  };
  for await (const some of body) {
    const lines = (rest + some).split("\n");
    rest = lines.pop()!;
    for (const line of lines) take(line);
    if (rest.length > maxRowLength) throw unreadable(`Row ${rows.count + 1} is longer than a row can be`);
  }
  take(rest);
}

/**
 * Reads every row of a table, and hands on those that are sound by themselves.
 *
 * @returns how many rows there were
 * @throws {DomainError} `import_refused` where it cannot be read as a table at all, or its columns are wrong; what is
 * wrong with single rows is added to `faults`
 * @throws {TableTooLarge} beyond `maxRows` or `maxBytes`
 */
export async function readTable<C extends Columns>(
  body: Bytes,
  form: TableForm,
  table: Table<C>,
  faults: Faults,
  keep: (given: Given<C>, row: number) => void,
): Promise<number> {
  const { type, separator, decimal, length } = form;
  const rows = new Rows(table, { csv: type === "text/csv", decimal }, faults, keep);
  const text = textOf(body, length);
  if (type === "text/csv") await readCsv(text, separator, rows, faults);
  else if (type === "application/json") await readJson(text, rows);
  else await readLines(text, rows);
  return rows.count;
}
