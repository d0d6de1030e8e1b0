import { JSONParser } from "@streamparser/json";
import { CsvError, parse } from "csv-parse";
import { DomainError } from "../domain/errors.ts";
import { cellsOfSchemaOrg } from "../domain/read-offer.ts";
import {
  readStockRow,
  type RowTerms,
  type ShopItem,
  type StockMember,
  stockMembers,
} from "../domain/stock-row.ts";
import type { Rejected } from "./rejected-rows.ts";

/** Reads a shop's stock list as a stream: CSV with a header row, JSON, or schema.org in JSON-LD. */
export const listTypes = ["text/csv", "application/json", "application/ld+json"] as const;
export type ListType = (typeof listTypes)[number];

export interface ListForm {
  type: ListType;
  /** label of the WHATWG Encoding Standard, such as utf-8 or windows-1252 */
  encoding: string;
  separator: string;
  terms: RowTerms;
  /** the shop's own names of columns, where they differ from ours */
  columns: Partial<Record<StockMember, string>>;
}

export const maxListRows = 500_000;
export const maxListBytes = 32 * 2 ** 20;
/** A row longer than this is a mistake, such as a quote that is never closed. */
const maxRowLength = 2 ** 18;

/** Refuses a list as a whole. */
export const refusedList = (detail: string): DomainError =>
  new DomainError("import_refused", `${detail}. Nothing of it was kept; the last good list still counts.`);

/** Whether a label is one of the WHATWG Encoding Standard. */
export function isEncoding(label: string): boolean {
  try {
    return new TextDecoder(label).encoding !== "";
  } catch {
    return false;
  }
}

const isUtf8 = (encoding: string) => new TextDecoder(encoding).encoding === "utf-8";

/** Byte order marks, each with the encoding that it announces. */
const marks: [bytes: number[], encoding: string][] = [
  [[0xef, 0xbb, 0xbf], "utf-8"],
  [[0xff, 0xfe], "utf-16le"],
  [[0xfe, 0xff], "utf-16be"],
];

/** The body as text, or a refusal that says what its encoding seems to be. */
async function* textOf(body: AsyncIterable<Uint8Array>, encoding: string): AsyncGenerator<string> {
  const decoder = new TextDecoder(encoding, { fatal: true });
  // Any bytes are text in most encodings of one byte a character. What is UTF-8 too, and not ASCII, is surely UTF-8.
  const suspect = isUtf8(encoding) ? null : new TextDecoder("utf-8", { fatal: true });
  let couldBeUtf8 = suspect !== null;
  let beyondAscii = false;
  let bytes = 0;
  const wrong = (is: string) =>
    refusedList(
      `The list is read as ${decoder.encoding}, but ${is}: save it so, or set the shop's encoding to what it is (such as utf-8, windows-1252, utf-16le)`,
    );
  const decodedPart = (part?: Uint8Array) => {
    try {
      return part === undefined ? decoder.decode() : decoder.decode(part, { stream: true });
    } catch {
      throw wrong(`after byte ${Math.max(0, bytes - (part?.length ?? 0))} it is not text of that encoding`);
    }
  };
  for await (const chunk of body) {
    if (bytes === 0) {
      const mark = marks.find(([start]) => start.every((byte, i) => chunk[i] === byte));
      if (mark !== undefined && mark[1] !== decoder.encoding)
        throw wrong(`it begins with the mark of ${mark[1]}`);
    }
    bytes += chunk.length;
    if (suspect !== null && couldBeUtf8) {
      beyondAscii ||= chunk.some((byte) => byte > 0x7f);
      try {
        suspect.decode(chunk, { stream: true });
      } catch {
        couldBeUtf8 = false;
      }
    }
    yield decodedPart(chunk);
  }
  const last = decodedPart();
  if (suspect !== null && couldBeUtf8 && beyondAscii) throw wrong("it looks like utf-8");
  yield last;
}

/** What becomes of the rows: `keep` takes a sound one, `pause` is awaited now and then. */
export interface RowTaker {
  keep: (item: ShopItem, row: number) => void;
  pause: () => Promise<void>;
}

class Rows {
  readonly #form: ListForm;
  readonly #rejected: Rejected;
  readonly #keep: RowTaker["keep"];
  count = 0;
  constructor(form: ListForm, rejected: Rejected, keep: RowTaker["keep"]) {
    this.#form = form;
    this.#rejected = rejected;
    this.#keep = keep;
  }
  get currency(): string {
    return this.#form.terms.currency;
  }
  named(member: StockMember): string {
    return this.#form.columns[member] ?? member;
  }
  take(cellOf: (member: StockMember) => unknown): void {
    const row = this.#next();
    const item = readStockRow(cellOf, this.#form.terms);
    if (!Array.isArray(item)) {
      this.#keep(item, row);
      return;
    }
    const cell = cellOf("sku");
    const sku =
      typeof cell === "string" || typeof cell === "number" ? String(cell).trim().slice(0, 60) : null;
    for (const [i, { member, detail }] of item.entries())
      this.#rejected[i === 0 ? "add" : "also"](row, this.named(member), sku, detail);
  }
  wrong(detail: string, sku: string | null = null): void {
    this.#rejected.add(this.#next(), null, sku === null ? null : sku.trim().slice(0, 60), detail);
  }
  #next(): number {
    if (this.count >= maxListRows) throw refusedList(`A list takes at most ${maxListRows} rows`);
    this.count += 1;
    return this.count;
  }
}

/** Where each member stands in a header; columns that we have no use for are passed over. */
function placesIn(header: readonly string[], rows: Rows, separator: string): Map<StockMember, number> {
  const names = header.map((cell) => cell.trim().toLowerCase());
  const places = new Map<StockMember, number>();
  for (const member of stockMembers) {
    const wanted = rows.named(member).trim().toLowerCase();
    const at = names.indexOf(wanted);
    if (at < 0) continue;
    if (names.indexOf(wanted, at + 1) >= 0)
      throw refusedList(`The column "${rows.named(member)}" is there twice`);
    places.set(member, at);
  }
  if (places.has("sku")) return places;
  const other = [";", "\t", ",", "|"].find((one) => one !== separator && names[0]?.includes(one));
  if (names.length === 1 && other !== undefined)
    throw refusedList(
      `The header is one cell: the cells seem to be separated by ${JSON.stringify(other)}, and this shop's list by ${JSON.stringify(separator)}; set the shop's separator`,
    );
  const seen = header.map((cell) => `"${cell.trim().slice(0, 40)}"`).slice(0, 30);
  throw refusedList(
    `The header has no column "${rows.named("sku")}" for the article number; it has ${seen.join(", ")}. Save in the shop's \`columns\` which of them is which`,
  );
}

const csvFaults: Partial<Record<CsvError["code"], string>> = {
  CSV_QUOTE_NOT_CLOSED: "the list ends inside a quoted cell: was it cut off, or is a closing quote missing?",
  INVALID_OPENING_QUOTE:
    'a quote stands inside a cell that is not quoted: quote the whole cell and double the quote (""), as in RFC 4180',
  CSV_INVALID_CLOSING_QUOTE:
    'a quoted cell goes on after its closing quote: double a quote that is part of the text (""), as in RFC 4180',
  CSV_MAX_RECORD_SIZE: "the row is longer than a row can be: is a closing quote missing?",
};

async function readCsv(
  text: AsyncIterable<string>,
  separator: string,
  rows: Rows,
  pause: RowTaker["pause"],
): Promise<void> {
  let places: Map<StockMember, number> | null = null;
  let width = 0;
  let cells: string[] = [];
  const cellOf = (member: StockMember) => {
    const at = places!.get(member);
    return at === undefined ? undefined : cells[at];
  };
  const take = (record: string[]) => {
    cells = record;
    if (places === null) {
      places = placesIn(record, rows, separator);
      width = record.length;
    } else if (record.length === width) rows.take(cellOf);
    else
      rows.wrong(
        `has ${record.length} cells, but the header has ${width} columns: was the list cut off here, or is a cell with the sign ${JSON.stringify(separator)} not quoted?`,
        cellOf("sku") ?? null,
      );
  };
  const parser = parse({
    delimiter: separator,
    relax_column_count: true,
    skip_empty_lines: true,
    skip_records_with_empty_values: true,
    max_record_size: maxRowLength,
  });
  // Not `on_record`: for it the library makes an object of its counters with each row, which V8 moves among its old
  // objects, where 300 bytes a row lie until four times what is alive is garbage; reading also takes twice as long.
  let fault: Error | null = null;
  parser.on("data", (record: string[]) => {
    if (fault !== null) return;
    try {
      take(record);
    } catch (error) {
      fault = error as Error;
    }
  });
  // The errors are those of the calls below; without a listener they would end the process as well.
  parser.on("error", () => {});
  const write = (some: string) =>
    new Promise<void>((resolve, reject) => {
      parser.write(some, (error) => (error ? reject(error) : resolve()));
    });
  try {
    for await (const some of text) {
      if (some !== "") await write(some);
      if (fault !== null) throw fault;
      await pause();
    }
    await new Promise<void>((resolve, reject) => {
      parser.once("error", reject);
      parser.once("end", resolve);
      parser.end();
    });
    if (fault !== null) throw fault;
  } catch (error) {
    parser.destroy();
    if (!(error instanceof CsvError)) throw error;
    throw refusedList(`Row ${rows.count + 1}: ${csvFaults[error.code] ?? error.message}`);
  }
  if (places === null)
    throw refusedList("The list is empty: it needs a header row, and a row for each thing");
}

/** Members of one JSON object, by the shop's names. */
function takeObject(value: unknown, rows: Rows): void {
  if (typeof value !== "object" || value === null || Array.isArray(value)) {
    rows.wrong("must be an object with the columns as members");
    return;
  }
  const members = value as Record<string, unknown>;
  rows.take((member) => members[rows.named(member)]);
}

function takeSchemaOrg(value: unknown, rows: Rows): void {
  const cells = cellsOfSchemaOrg(value, rows.currency);
  if (typeof cells === "string") rows.wrong(cells);
  else rows.take(cells);
}

/** The arrays that products stand in, where a document is an object. */
const graphs = ["@graph", "itemListElement", "dataFeedElement"];

async function readJson(
  text: AsyncIterable<string>,
  rows: Rows,
  take: (value: unknown, rows: Rows) => void,
  linked: boolean,
  pause: RowTaker["pause"],
): Promise<void> {
  let parser: JSONParser | null = null;
  let whole = "";
  let sinceRow = 0;
  const start = (some: string): JSONParser | null => {
    const first = some.trimStart()[0];
    if (first !== "[" && !(linked && first === "{"))
      throw refusedList(
        linked
          ? "The list must be a JSON-LD document: an array of products, or an object with @graph or itemListElement"
          : "The list must be a JSON array of objects, one for each row",
      );
    const path = graphs.find((name) => some.includes(`"${name}"`));
    if (first === "{" && path === undefined) return null;
    const made = new JSONParser({ paths: [first === "[" ? "$.*" : `$.${path}.*`], keepStack: false });
    made.onValue = ({ value }) => {
      sinceRow = 0;
      take(value, rows);
    };
    return made;
  };
  let begun = false;
  try {
    for await (const some of text) {
      if (!begun && some.trim() === "") continue;
      if (!begun) parser = start(some);
      begun = true;
      sinceRow += some.length;
      // Also bounds how deep brackets can be nested before anything is noticed.
      if (sinceRow > maxRowLength + some.length)
        throw refusedList(`Row ${rows.count + 1} is longer than a row can be`);
      if (parser === null) whole += some;
      else parser.write(some);
      await pause();
    }
    if (parser !== null && !parser.isEnded) parser.end();
    if (whole !== "") take(JSON.parse(whole), rows);
  } catch (error) {
    if (error instanceof DomainError) throw error;
    throw refusedList(
      `After ${rows.count} rows the list is no JSON any more (${(error as Error).message}): was it cut off?`,
    );
  }
  if (!begun) throw refusedList("The list is empty");
}

/**
 * Reads every row of a list and hands on those that are sound; the others are added to `rejected`.
 *
 * @returns how many rows there were
 * @throws {DomainError} `import_refused` where it cannot be read as a list at all
 */
export async function readStockList(
  body: AsyncIterable<Uint8Array>,
  form: ListForm,
  rejected: Rejected,
  { keep, pause }: RowTaker,
): Promise<number> {
  const rows = new Rows(form, rejected, keep);
  if (form.type === "text/csv") await readCsv(textOf(body, form.encoding), form.separator, rows, pause);
  else {
    // JSON is UTF-8 (RFC 8259, section 8.1), whatever the shop's spreadsheet is saved in.
    const linked = form.type === "application/ld+json";
    await readJson(textOf(body, "utf-8"), rows, linked ? takeSchemaOrg : takeObject, linked, pause);
  }
  return rows.count;
}
