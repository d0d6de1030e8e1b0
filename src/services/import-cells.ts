import { earliestMoment, tooEarly } from "../domain/moment.ts";

/**
 * Cells of a table that comes in: from the text of a CSV file, or from a member of a JSON object. The ranges are those
 * of the single calls (a test compares them). Nothing is guessed: not the decimal sign, not the order of a date.
 */
export interface CellForm {
  /** cells are text, and an empty one says nothing */
  csv: boolean;
  decimal: "." | ",";
}

/** What is wrong with a cell, as words that follow its column's name: "must be …". */
export class Wrong {
  readonly detail: string;
  constructor(detail: string) {
    this.detail = detail;
  }
}

/** What is wrong with a row, at one of its columns. */
export class WrongAt extends Wrong {
  readonly column: string;
  constructor(column: string, detail: string) {
    super(detail);
    this.column = column;
  }
}

export type Reader<T> = (cell: unknown, form: CellForm) => T | Wrong;
export type Columns = Record<string, Reader<unknown>>;
/** A row by the names of its columns; null where nothing is given. */
export type Given<C extends Columns> = {
  [K in keyof C]: C[K] extends Reader<infer T> ? Exclude<T, Wrong> | null : never;
};

const shown = (cell: unknown): string => {
  const said = JSON.stringify(cell) ?? "nothing";
  return said.length > 60 ? `${said.slice(0, 57)}…` : said;
};

/** Undoes what an export does to text that a spreadsheet would take for a formula. */
const undefused = (cell: string): string => (/^'+[=+\-@\t\r]/.test(cell) ? cell.slice(1) : cell);

/** Text that is only looked up, such as a name or an id. */
export const name =
  (max: number): Reader<string> =>
  (cell, { csv }) => {
    if (typeof cell !== "string") return new Wrong(`must be text, but is ${shown(cell)}`);
    const said = (csv ? undefused(cell) : cell).trim();
    if (said === "") return new Wrong("must not be empty");
    if (said.length > max) return new Wrong(`must have at most ${max} characters, but has ${said.length}`);
    return said.includes("\0") ? new Wrong("must not contain the character NUL") : said;
  };

/** Text that is kept. A cell is a part of a longer text, which would stay in memory with it: hence the copy. */
export const text = (max: number): Reader<string> => {
  const read = name(max);
  return (cell, form) => {
    const said = read(cell, form);
    return form.csv && typeof said === "string" ? Buffer.from(said).toString() : said;
  };
};

const written = {
  ".": /^[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?$/,
  ",": /^[+-]?(?:\d+(?:,\d*)?|,\d+)(?:[eE][+-]?\d+)?$/,
};
const otherSign = { ".": ",", ",": "." } as const;

function numberIn(cell: unknown, { csv, decimal }: CellForm): number {
  if (!csv) return typeof cell === "number" ? cell : Number.NaN;
  const said = (cell as string).trim();
  if (!written[decimal].test(said)) return Number.NaN;
  return Number(decimal === "," ? said.replace(",", ".") : said);
}

const hintOn = (cell: unknown, { csv, decimal }: CellForm): string => {
  if (!csv) return "";
  const other = otherSign[decimal];
  return written[other].test(String(cell).trim())
    ? `; numbers are read with the decimal sign "${decimal}" unless ?decimal=${other} is stated`
    : "";
};

export const number =
  (min: number, max: number): Reader<number> =>
  (cell, form) => {
    const value = numberIn(cell, form);
    return value >= min && value <= max
      ? value
      : new Wrong(`must be a number from ${min} to ${max}, but is ${shown(cell)}${hintOn(cell, form)}`);
  };

export const whole =
  (min: number, max: number): Reader<number> =>
  (cell, form) => {
    const value = numberIn(cell, form);
    return Number.isInteger(value) && value >= min && value <= max
      ? value
      : new Wrong(`must be a whole number from ${min} to ${max}, but is ${shown(cell)}`);
  };

export const word =
  <const W extends string>(words: readonly W[]): Reader<W> =>
  (cell, { csv }) => {
    const said = csv ? (cell as string).trim() : cell;
    return words.includes(said as W)
      ? (said as W)
      : new Wrong(`must be one of ${words.join(", ")}, but is ${shown(cell)}`);
  };

/** Several words: a list in JSON, separated by spaces in a cell. */
export const words =
  <const W extends string>(known: readonly W[]): Reader<W[]> =>
  (cell, { csv }) => {
    const said: unknown = csv ? (cell as string).split(/\s+/).filter((one) => one !== "") : cell;
    if (!Array.isArray(said)) return new Wrong(`must be a list of words, but is ${shown(cell)}`);
    const strange: unknown = said.find((one) => !known.includes(one as W));
    if (strange !== undefined)
      return new Wrong(`must be of the words ${known.join(", ")}, but has ${shown(strange)}`);
    return said.length > known.length ? new Wrong(`must have at most ${known.length} words`) : (said as W[]);
  };

export const truth: Reader<boolean> = (cell, { csv }) => {
  const said = csv ? (cell as string).trim().toLowerCase() : JSON.stringify(cell);
  if (said === "true") return true;
  return said === "false" ? false : new Wrong(`must be true or false, but is ${shown(cell)}`);
};

const dayForm = /^(\d{4})-(\d\d)-(\d\d)$/;
const momentForm =
  /^(\d{4})-(\d\d)-(\d\d)T(?:[01]\d|2[0-3]):[0-5]\d:[0-5]\d(?:\.\d+)?(?:Z|[+-](?:[01]\d|2[0-3]):[0-5]\d)$/;

const firstMs = Date.parse(earliestMoment);
const lastMs = Date.parse("9999-12-31T23:59:59.999Z");

/** Does the text begin with a day of the calendar? JavaScript itself takes 30 February for 2 March. */
function isDay(parts: RegExpExecArray | null): boolean {
  if (parts === null) return false;
  const [, year, month, day] = parts as unknown as [string, string, string, string];
  if (month < "01" || month > "12" || day < "01") return false;
  return day <= "28" || Number(day) <= new Date(Date.UTC(Number(year), Number(month), 0)).getUTCDate();
}

export const day: Reader<string> = (cell) => {
  const said = typeof cell === "string" ? cell.trim() : "";
  return isDay(dayForm.exec(said))
    ? said
    : new Wrong(`must be a day as YYYY-MM-DD, such as 2027-02-07, but is ${shown(cell)}`);
};

/** A moment with its offset, turned into UTC with milliseconds. */
export const moment: Reader<string> = (cell) => {
  const said = typeof cell === "string" ? cell.trim() : "";
  const at = isDay(momentForm.exec(said)) ? Date.parse(said) : Number.NaN;
  if (at < firstMs) return new Wrong(tooEarly);
  // Times are compared as text, which holds up to year 9999.
  return Number.isNaN(at) || at > lastMs
    ? new Wrong(
        `must be an RFC 3339 time with an offset, such as 2026-11-29T18:30:00+11:00, but is ${shown(cell)}`,
      )
    : new Date(at).toISOString();
};
