import type { Cell } from "../../services/csv-sheet.ts";
import { csvSheet } from "../../services/csv-sheet.ts";
import { dateOf } from "../charts/frame.ts";
import { type Content, element, type Markup, trusted } from "../markup.ts";

/**
 * An answer as people take it along: a table for a spreadsheet, and a page for the printer or the phone in the pits.
 * Both are made from one sheet, so that they say the same.
 */
export interface Column<Row> {
  /** name of the column in the CSV file: that of the answer's member where it is one */
  name: string;
  of: (row: Row) => Cell;
  /** what stands on the page, if not only in the file: its heading, and the cell if it reads differently there */
  page?: { heading: string; of?: (row: Row) => Content; number?: true };
}

export interface Section<Row> {
  caption: string;
  /** facts above the table */
  facts?: string[];
  rows: readonly Row[];
  /** said where there are no rows; the section is left out if there is nothing to say */
  none?: string;
  /** names of columns that its rows have nothing in: they are in the file, and not on the page */
  without?: readonly string[];
}

export interface Sheet<Row> {
  title: string;
  facts: string[];
  sections: Section<Row>[];
  /** what a person must know, such as cautions at the bench */
  notes?: { heading: string; items: readonly string[] };
  /** the same, under the tables: what goes with parts that are bought and carried */
  cautions?: readonly string[];
  columns: readonly Column<Row>[];
}

/** Every row of the sheet under one header. */
export const sheetCsv = <Row>({ columns, sections }: Sheet<Row>): string =>
  csvSheet(
    columns.map(({ name }) => name),
    sections.flatMap(({ rows }) => rows.map((row) => columns.map(({ of }) => of(row)))),
  );

export const yesNo = (value: boolean): string => (value ? "yes" : "no");
const short = new Intl.DateTimeFormat("en-GB", {
  timeZone: "UTC",
  day: "numeric",
  month: "short",
  year: "numeric",
});
/** A day in a cell, which is not broken into lines; which day a moment is, `dayIn` tells. */
export const dayOrNone = (day: string | null): string =>
  day === null ? "–" : short.format(dateOf(day)).replaceAll(" ", "\u00a0");

/** Only what a page needs to be read and printed. Nothing is loaded, nothing runs, and nothing is sent. */
export const pageHeaders = {
  "content-security-policy":
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
};

/** A table of more columns needs a wide screen, and paper that lies across. */
const fewColumns = 8;

/**
 * On a narrow screen every row becomes a block with the heading beside each cell; roles are stated, because browsers
 * drop those of tables that are laid out otherwise.
 */
const styleFor = (wide: boolean) => `
:root{color-scheme:light dark;--line:#8b939c;--soft:#565e67}
@media (prefers-color-scheme:dark){:root{--line:#6c757f;--soft:#aeb6bf}}
body{font:16px/1.45 system-ui,"Segoe UI","DejaVu Sans",sans-serif;margin:1rem auto;max-width:${wide ? 76 : 70}rem;padding:0 1rem}
h1{font-size:1.4rem;margin:.2rem 0}h2,caption{font-size:1.1rem;font-weight:600;text-align:left;margin:1.2rem 0 .3rem}
p{margin:.25rem 0}.soft{color:var(--soft)}
table{border-collapse:collapse;width:100%;margin-top:1rem}
th,td{border-bottom:1px solid var(--line);padding:.3rem .5rem;text-align:left;vertical-align:top;overflow-wrap:break-word}
thead th{border-bottom-width:2px}.number{text-align:right;font-variant-numeric:tabular-nums}
td.number{white-space:nowrap}caption p{font-weight:400;font-size:1rem}ul{margin:.3rem 0;padding-left:1.2rem;font-size:.93rem}
@media screen and (max-width:${wide ? 74 : 44}rem){
table,tbody,tr,td,tbody th,caption{display:block}thead{position:absolute;clip-path:inset(50%);width:1px;height:1px;overflow:hidden}
tr{border:1px solid var(--line);border-radius:.4rem;margin:.5rem 0;padding:.3rem .2rem}
td,tbody th,td.number{border:0;padding:.12rem .5rem;text-align:left;white-space:normal;overflow-wrap:anywhere}
td::before{content:attr(data-heading) ": ";color:var(--soft)}}
@media print{:root{color-scheme:light;--line:#444;--soft:#222}body{margin:0;max-width:none;font-size:${wide ? "9.5pt" : "10.5pt"}}
${wide ? "@page{size:landscape}" : ""}
tr,h2{break-inside:avoid}h2,caption{break-after:avoid}thead{display:table-header-group}}
`;

/** The sheet as a page of its own. */
export function sheetPage<Row>(sheet: Sheet<Row>): string {
  const shown = sheet.columns.filter((column) => column.page !== undefined);
  const page = element(
    "html",
    { lang: "en" },
    element(
      "head",
      {},
      element("meta", { charset: "utf-8" }),
      element("meta", { name: "viewport", content: "width=device-width, initial-scale=1" }),
      element("title", {}, sheet.title),
      element("style", {}, trusted(styleFor(shown.length > fewColumns))),
    ),
    element(
      "body",
      {},
      element(
        "main",
        {},
        element("h1", {}, sheet.title),
        ...sheet.facts.map((fact) => element("p", {}, fact)),
        ...notesOf(sheet.notes),
        ...sheet.sections.map((section) => sectionOf(section, shown)),
        ...notesOf(sheet.cautions && { heading: "Take care", items: sheet.cautions }),
      ),
    ),
  );
  return `<!doctype html>\n${page.markup}\n`;
}

const notesOf = (notes: { heading: string; items: readonly string[] } | undefined): Markup[] =>
  notes === undefined || notes.items.length === 0
    ? []
    : [
        element("h2", {}, notes.heading),
        element("ul", {}, ...[...new Set(notes.items)].map((item) => element("li", {}, item))),
      ];

function sectionOf<Row>(
  { caption, facts = [], rows, none, without = [] }: Section<Row>,
  all: readonly Column<Row>[],
): Content {
  const columns = all.filter(({ name }) => !without.includes(name));
  const above = facts.map((fact) => element("p", { class: "soft" }, fact));
  if (rows.length === 0)
    return none === undefined ? null : [element("h2", {}, caption), ...above, element("p", {}, none)];
  return [
    element(
      "table",
      { role: "table" },
      element("caption", {}, caption, ...above),
      element(
        "thead",
        { role: "rowgroup" },
        element(
          "tr",
          { role: "row" },
          ...columns.map(({ page }) =>
            element(
              "th",
              { scope: "col", role: "columnheader", class: page!.number ? "number" : null },
              page!.heading,
            ),
          ),
        ),
      ),
      element("tbody", { role: "rowgroup" }, ...rows.map((row) => rowOf(row, columns))),
    ),
  ];
}

const rowOf = <Row>(row: Row, columns: readonly Column<Row>[]): Markup =>
  element(
    "tr",
    { role: "row" },
    ...columns.map(({ of, page }, i) => {
      const { heading, number = false } = page!;
      const cell = (page!.of ?? ((one: Row) => pageCell(of(one))))(row);
      const look = number ? "number" : null;
      return i === 0
        ? element("th", { scope: "row", role: "rowheader", class: look }, cell)
        : element("td", { role: "cell", class: look, "data-heading": heading }, cell);
    }),
  );

const pageCell = (cell: Cell): string | number =>
  cell === null ? "–" : typeof cell === "boolean" ? yesNo(cell) : cell;
