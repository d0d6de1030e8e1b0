import { stringify } from "csv-stringify/sync";
import { defused } from "./tables-out.ts";

export type Cell = string | number | boolean | null;

/**
 * A sheet as CSV (RFC 4180): a header row, CRLF, numbers with a decimal point. Text that a spreadsheet would take for a
 * formula is defused as in the exports; nothing is written where a value is not known.
 */
export function csvSheet(columns: readonly string[], rows: readonly (readonly Cell[])[]): string {
  const written = (cell: Cell) =>
    cell === null ? "" : typeof cell === "string" ? defused(cell) : String(cell);
  // Without the match, a cell with a bare line feed would not be quoted, for it is not the end of a record.
  return stringify([columns, ...rows.map((row) => row.map(written))], {
    record_delimiter: "\r\n",
    quoted_match: /[\r\n]/,
  });
}
