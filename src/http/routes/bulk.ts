import type { Context } from "hono";
import { z } from "zod";
import { clubDay } from "../../services/calendar-ahead.ts";
import type { ImportCounts } from "../../services/import-counts.ts";
import { clubFormat, clubText } from "../../services/export-club.ts";
import { exportedNames, exportRows, requireExport } from "../../services/export-rows.ts";
import { importPieces } from "../../services/import-pieces.ts";
import { importReadings } from "../../services/import-readings.ts";
import { importRuns } from "../../services/import-runs.ts";
import { importStock } from "../../services/import-stock.ts";

import {
  type Bytes,
  maxBytes,
  maxRows,
  TableTooLarge,
  type TableForm,
  tableTypes,
} from "../../services/tables-in.ts";
import { csvText, jsonText, linesText } from "../../services/tables-out.ts";
import type { Work } from "../../services/work.ts";
import { operation } from "../operation.ts";
import { FormError } from "../problem.ts";
import { Currency, Id, Instant, queryFlag } from "../schemas.ts";

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
  dryRun: queryFlag("true: say what would happen, and keep nothing"),
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

const writers = {
  csv: { write: csvText, type: "text/csv; charset=utf-8; header=present" },
  json: { write: jsonText, type: "application/json" },
  ndjson: { write: linesText, type: "application/x-ndjson" },
};

const fileHeaders = (name: string) => ({
  "content-disposition": `attachment; filename="${name}"`,
  "cache-control": "no-store",
});

/** Text as it is made: a chunk is read only when the one before it was taken. */
function streamOf(text: AsyncGenerator<string>): ReadableStream<Uint8Array> {
  const encoder = new TextEncoder();
  return new ReadableStream<Uint8Array>({
    async pull(controller) {
      const { value, done } = await text.next();
      if (done === true) controller.close();
      else controller.enqueue(encoder.encode(value));
    },
    async cancel() {
      await text.return(undefined);
    },
  });
}

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
      'car,at,minutes,surface,conditions,knocks\r\nMara Tindle / Thornbill,2026-11-29T10:20:00+11:00,5.5,asphalt,"dusty hot",1\r\n',
      '{"car":"Mara Tindle / Thornbill","at":"2026-11-29T10:20:00+11:00","minutes":5.5,"surface":"asphalt","conditions":["dusty","hot"],"knocks":1}',
    ),
    answers,
    problems,
    example,
  })(async ({ query }, work, c) => imported(importRuns, query, work, c)),

  operation({
    method: "post",
    path: "/v1/imports/readings",
    operationId: "importReadings",
    summary: "Import readings from a table",
    description: `A piece is named by its driver and mark, or by its id. Readings of one piece at one moment are one inspection; if they are there already they must be the same. Units are converted. Each reading is questioned as a single one is, unless the column \`confirmed\` says true. ${rules}`,
    tags: ["bulk"],
    need: "bulk:write",
    query: ImportQuery,
    streamedBody: streamed(
      "driver,mark,at,value,unit,instrument\r\nMara Tindle,spur 1,2026-11-29T19:40:00+11:00,15.45,mm,calliper\r\n",
      '{"driver":"Mara Tindle","mark":"spur 1","at":"2026-11-29T19:40:00+11:00","value":15.45,"unit":"mm"}',
    ),
    answers,
    problems,
    example,
  })(async ({ query }, work, c) => imported(importReadings, query, work, c)),

  operation({
    method: "post",
    path: "/v1/imports/pieces",
    operationId: "importPieces",
    summary: "Import pieces, with where they were fitted, from a table",
    description: `The driver is named by name or id, the line by SKU or id. A piece that was fitted several times has a row for each fitting; its other cells are then the same. Stock is not touched: a piece that is imported was never in stock. ${rules}`,
    tags: ["bulk"],
    need: "bulk:write",
    query: ImportQuery,
    streamedBody: streamed(
      "driver,sku,mark,asNew,unit,car,position,fittedAt,removedAt\r\nMara Tindle,QB-SP-487,spur 3,15.49,mm,Mara Tindle / Thornbill,second spur,2026-02-07T18:00:00+11:00,\r\n",
      '{"driver":"Mara Tindle","sku":"QB-SP-487","mark":"spur 3","asNew":15.49,"car":"Mara Tindle / Thornbill","position":"second spur","fittedAt":"2026-02-07T18:00:00+11:00"}',
    ),
    answers,
    problems,
    example,
  })(async ({ query }, work, c) => imported(importPieces, query, work, c)),

  operation({
    method: "post",
    path: "/v1/imports/stock",
    operationId: "importStock",
    summary: "Import a count of stock from a table",
    description: `A location is named by its name (with its driver where several have one of that name) or id. Each difference to what the ledger holds at \`at\` (now, if not given) is written as a \`counted\` movement; lines that are not counted stay as they are. ${rules}`,
    tags: ["bulk"],
    need: "bulk:write",
    query: ImportQuery,
    streamedBody: streamed(
      "location,driver,sku,pieces,at\r\nHome,Mara Tindle,QB-SP-487,3,2026-11-28T21:00:00+11:00\r\n",
      '{"location":"Home","driver":"Mara Tindle","sku":"QB-SP-487","pieces":3}',
    ),
    answers,
    problems,
    example,
  })(async ({ query }, work, c) => imported(importStock, query, work, c)),

  operation({
    method: "get",
    path: "/v1/exports/{resource}",
    operationId: "exportTable",
    summary: "Export a table",
    description:
      "As CSV (text/csv), a JSON array (application/json) or one JSON object a line (application/x-ndjson). " +
      "A driver gets their own rows, the shop the lines and what belongs to its shelves. It is read in chunks, not at one moment: " +
      "rows that are changed meanwhile may be there as they were or as they are. Runs, readings, pieces and stock levels " +
      "are written so that the imports take them. In a CSV file, text that a spreadsheet would take for a formula has an apostrophe in front.",
    tags: ["bulk"],
    need: "bulk:read",
    params: z.object({
      resource: z.enum(exportedNames, { error: `must be one of ${exportedNames.join(", ")}` }),
    }),
    query: z.strictObject({
      format: z
        .enum(["csv", "json", "ndjson"], { error: "must be csv, json or ndjson" })
        .optional()
        .meta({ description: "csv if not given" }),
    }),
    answers: {
      200: {
        description: "The table, as a file to save.",
        type: "text/csv",
        headers: { "content-disposition": { description: "a name for the file" } },
        example: "id,name,notes,sharesDemand,createdAt,version\r\n",
        others: {
          "application/json": [{ name: "Mara Tindle" }],
          "application/x-ndjson": '{"name":"Mara Tindle"}\n',
        },
      },
    },
    example: { params: { resource: "drivers" }, query: { format: "csv" } },
  })(async ({ params: { resource }, query: { format = "csv" } }, work) => {
    requireExport(work, resource);
    const { write, type } = writers[format];
    const name = `${resource}-${await clubDay(work)}.${format}`;
    return {
      status: 200,
      headers: { ...fileHeaders(name), "content-type": type },
      body: streamOf(write(resource, exportRows(work, resource))),
    };
  }),

  operation({
    method: "get",
    path: "/v1/export",
    operationId: "exportClub",
    summary: "Export everything within reach as one document",
    description:
      "One array for each resource that the key may read, as /v1/exports/{resource} gives it, in one JSON document.",
    tags: ["bulk"],
    need: "bulk:read",
    answers: {
      200: {
        description: 'The document: `format` is "wear-and-spares/1".',
        type: "application/json",
        body: z
          .looseObject({
            format: z.literal(clubFormat),
            exportedAt: Instant,
            club: z.object({
              id: Id,
              name: z.string(),
              currency: Currency,
              timeZone: z.string(),
              createdAt: Instant,
            }),
          })
          .meta({ id: "ClubExport", description: "and an array of rows for each resource" }),
        headers: { "content-disposition": { description: "a name for the file" } },
      },
    },
  })(async (_, work) => ({
    status: 200,
    headers: fileHeaders(`club-${await clubDay(work)}.json`),
    body: streamOf(clubText(work)),
  })),
];
