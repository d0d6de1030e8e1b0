import { DomainError, type Fault } from "../domain/errors.ts";
import { count } from "./in-words.ts";
import { refusedList } from "./read-stock-list.ts";
import type { Rejected } from "./rejected-rows.ts";

/**
 * Refuses a list with rejected rows, unless its sound rows are to be kept all the same, and one that would empty the
 * shelf.
 *
 * @throws {DomainError} `import_refused`, with every fault that is listed
 */
export function requireSound(
  rejected: Rejected,
  rowsRead: number,
  { mode, acceptPartly }: { mode: "full" | "changes"; acceptPartly?: boolean },
): void {
  const sound = rowsRead - rejected.total;
  if (rejected.total > 0 && acceptPartly !== true) {
    const first = rejected.listed[0]!;
    const faults: Fault[] = rejected.listed.map(({ row, column, detail }) => ({
      pointer: `#/rows/${row - 1}${column === null ? "" : `/${column.replaceAll("~", "~0").replaceAll("/", "~1")}`}`,
      detail: `row ${row}${column === null ? "" : `, ${column}`}: ${detail}`,
    }));
    const listed = new Set(rejected.listed.map(({ row }) => row)).size;
    const more = rejected.total > listed ? `, of which the first ${listed} are listed` : "";
    throw new DomainError(
      "import_refused",
      `${count(rejected.total, "row")} of ${rowsRead} ${rejected.total === 1 ? "is" : "are"} wrong${more}; the first: row ${first.row}${first.column === null ? "" : `, ${first.column}`}: ${first.detail}. Nothing was kept; the last good list still counts. With ?acceptPartly=true the other rows are kept, and of these the last good row of each article number`,
      faults,
    );
  }
  if (sound === 0 && mode === "full")
    throw refusedList(
      rowsRead === 0
        ? "A full list without a row would empty the shelf"
        : "Not one row of the list can be kept",
    );
}
