import type { Context } from "hono";
import { z } from "zod";
import type { ImportCounts } from "../../services/import-counts.ts";
import { importRuns } from "../../services/import-runs.ts";
import {
  type Bytes,
  maxBytes,
  maxRows,
  TableTooLarge,
  type TableForm,
  tableTypes,
} from "../../services/tables-in.ts";
import type { Work } from "../../services/work.ts";
import { operation } from "../operation.ts";
import { FormError } from "../problem.ts";

const count = z.number().int().min(0);
const ImportResult = z
  .object({
    dryRun: z.boolean().meta({ description: "true: nothing was kept" }),
    rowsRead: count.meta({ description: "rows of the table, without its header", example: 240 }),
    rowsKept: count.meta({ description: "rows that are new", example: 236 }),
    rowsAlreadyThere: count.meta({ description: "rows that say what is known already", example: 4 }),
  })
  .meta({ id: "ImportResult" });

const separators = { ",": ",", ";": ";", "\t": "\t", tab: "\t", "|": "|" } as const;
const ImportQuery = z.strictObject({
  dryRun: z
    .stringbool({ error: "must be true or false" })
    .optional()
    .meta({ description: "true: say what would happen, and keep nothing", override: { type: "boolean" } }),
  separator: z
    .enum([",", ";", "\t", "tab", "|"], { error: 'must be a comma, ";", "|" or "tab"' })
    .optional()
    .meta({ description: "what stands between the cells of a CSV file; a comma if not stated" }),
  decimal: z
    .enum([".", ","], { error: "must be . or ," })
    .optional()
    .meta({ description: "the decimal sign of the numbers of a CSV file; a point if not stated" }),
});

/** How the body is written, from its headers and the query; nothing is guessed from the body itself. */
function formOf(c: Context, query: z.output<typeof ImportQuery>): TableForm {
  const header = c.req.header("content-type") ?? "";
  const [name = "", ...parameters] = header.split(";").map((part) => part.trim().toLowerCase());
  const type = tableTypes.find((known) => known === name);
  if (type === undefined)
    throw new FormError(
      "unsupported_media_type",
      `Send the body as ${tableTypes.join(", ")}, not "${header}"`,
    );
  const charset = parameters.find((one) => one.startsWith("charset="))?.replace(/^charset="?|"$/g, "");
  if (charset !== undefined && charset !== "utf-8" && charset !== "utf8")
    throw new FormError("unsupported_media_type", `Send the body as UTF-8, not ${charset}`);
  const coding = c.req.header("content-encoding") ?? "identity";
  if (coding !== "identity")
    throw new FormError("unsupported_media_type", `Send the body as it is, not with the coding ${coding}`);
  const { separator, decimal } = query;
  if (type !== "text/csv" && (separator !== undefined || decimal !== undefined))
    throw new FormError("invalid_request", "In the query: separator and decimal are for text/csv only", [
      { pointer: `#/${separator === undefined ? "decimal" : "separator"}`, detail: "is for text/csv only" },
    ]);
  const length = c.req.header("content-length");
  return {
    type,
    separator: separators[separator ?? ","],
    decimal: decimal ?? ".",
    length: length === undefined ? null : Number(length),
  };
}

type Import = (work: Work, body: Bytes, form: TableForm, dryRun: boolean) => Promise<ImportCounts>;

async function* nothing(): AsyncGenerator<Uint8Array> {}

/** Runs an import on the body as it arrives. */
async function imported(run: Import, query: z.output<typeof ImportQuery>, work: Work, c: Context) {
  const form = formOf(c, query);
  const { dryRun = false } = query;
  if ((form.length ?? 0) > maxBytes)
    throw new FormError(
      "too_large",
      `An import takes at most ${maxBytes / 2 ** 20} MiB; send the file in parts`,
    );
  const body = (c.req.raw.body as Bytes | null) ?? nothing();
  try {
    return { status: 200 as const, body: { dryRun, ...(await run(work, body, form, dryRun)) } };
  } catch (error) {
    throw error instanceof TableTooLarge ? new FormError("too_large", error.message) : error;
  }
}

const rules =
  `The body is read as it arrives and checked row by row; either all of it is kept, or nothing. At most ` +
  `${maxRows} rows and ${maxBytes / 2 ** 20} MiB. ` +
  "Columns have the names of the API; each error names its row (counted from 0) and column.";
const csv = "UTF-8, RFC 4180, with a header row; a byte order mark is passed over";
const json = "an array of objects, one for each row";
const lines = "one JSON object a line";
const streamed = (table: string, object: string) => ({
  "text/csv": { description: csv, example: table },
  "application/json": { description: json, example: `[${object}]` },
  "application/x-ndjson": { description: lines, example: object },
});
const problems = [413, 415];
const answers = { 200: { description: "What became of the rows.", body: ImportResult } } as const;
const example = { query: { dryRun: "true" } };

export const bulkOperations = [
  operation({
    method: "post",
    path: "/v1/imports/runs",
    operationId: "importRuns",
    summary: "Import runs from a table",
    description: `A car is named as "driver / car" or by its id, a pack by its mark or id, a meeting as "day / name" or by its id. A run of the same car at the same time is already there if it says the same, and an error otherwise. ${rules}`,
    tags: ["bulk"],
    need: "bulk:write",
    query: ImportQuery,
    streamedBody: streamed(
      'car,at,minutes,surface,conditions,knocks\r\nMara Quill / Club car,2026-11-29T10:20:00+11:00,5.5,asphalt,"dusty hot",1\r\n',
      '{"car":"Mara Quill / Club car","at":"2026-11-29T10:20:00+11:00","minutes":5.5,"surface":"asphalt","conditions":["dusty","hot"],"knocks":1}',
    ),
    answers,
    problems,
    example,
  })(async ({ query }, work, c) => imported(importRuns, query, work, c)),
];
