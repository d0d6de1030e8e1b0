import { stringify } from "csv-stringify/sync";
import type { Exported, ExportedRow } from "./export-rows.ts";

/** Writes rows as they come, in chunks of text: CSV, one JSON object a line, or JSON arrays. */

const made = ["createdAt", "version"];
const named = ["id", "name"];
/** The columns of a CSV file, in its order; a test holds them to the members of the rows. */
export const exportColumns: Record<Exported, readonly string[]> = {
  kinds: [
    ...[
      "id",
      "code",
      "name",
      "clock",
      "shipped",
      "benchStep",
      "measure",
      "limits",
      "usualLife",
      "pieceSpread",
    ],
    ...["runSpread", "surfaces", "usedBy", "changeRule", "changedTogether", "mateCode", "breakagePerRun"],
    ...["shelfLifeDays", "carStopper", "checkMinutes", "check", "cautions", "source", ...made],
  ],
  suppliers: [...named, "leadTimeDays", "leadTimeSdDays", "minimumOrderMinorUnits", "notes", ...made],
  lines: [
    ...["id", "sku", "gtin", "makersPartNumber", "name", "kindId", "kindCode", "supplierId", "supplierName"],
    ...[
      "packSize",
      "orderMultiplePacks",
      "priceMinorUnits",
      "currency",
      "leadTimeDays",
      "shelfLifeDays",
      "weightGrams",
      "asNew",
    ],
    ...["limits", "usualLife", "supersededById", "endedOn", "fits", "notes", ...made],
  ],
  "car-models": [...named, "discipline", "internalRatio", "notes", ...made],
  venues: [...named, "surface", "direction", "notes", ...made],
  meetings: [
    ...[
      ...named,
      "startsOn",
      "days",
      "venueId",
      "surface",
      "discipline",
      "plannedRuns",
      "practiceRuns",
      "minutesPerRun",
      "notes",
    ],
    ...made,
  ],
  drivers: [...named, "notes", "sharesDemand", ...made],
  cars: [
    ...["id", "driverId", "driver", "name", "carModelId", "carModel", "raceClass", "gearCase", "spurTeeth"],
    ...["pinionTeeth", "meshNote", "notes", ...made],
  ],
  positions: ["id", "carId", "car", "name", "kindId", "kindCode", "changedWith", "createdAt"],
  pieces: [
    ...["id", "driverId", "driver", "lineId", "sku", "mark", "asNew", "unit", "priorUsage", "priorUsageSd"],
    ...[
      "boughtOn",
      "keptFor",
      "notes",
      "carId",
      "car",
      "position",
      "fittedAt",
      "removedAt",
      "retiredAt",
      "retiredFor",
      ...made,
    ],
  ],
  fittings: [
    ...["id", "pieceId", "driverId", "driver", "mark", "carId", "car", "positionId", "position", "fittedAt"],
    ...["removedAt", "version"],
  ],
  runs: [
    ...[
      "id",
      "carId",
      "car",
      "at",
      "minutes",
      "surface",
      "conditions",
      "packId",
      "pack",
      "knocks",
      "meetingId",
    ],
    ...["meeting", "notes", "version"],
  ],
  inspections: [
    ...[
      "id",
      "pieceId",
      "driverId",
      "driver",
      "mark",
      "at",
      "grade",
      "findings",
      "services",
      "notes",
      "version",
    ],
  ],
  readings: [
    ...[
      "id",
      "inspectionId",
      "pieceId",
      "driverId",
      "driver",
      "mark",
      "at",
      "value",
      "unit",
      "sd",
      "instrument",
    ],
    ...["enteredValue", "enteredUnit", "confirmed"],
  ],
  locations: [...named, "sort", "driverId", "driver", ...made],
  movements: [
    ...["id", "lineId", "sku", "locationId", "location", "quantity", "reason", "at", "pieceId", "orderId"],
    ...["undoesId", "pairId", "notes", "recordedAt"],
  ],
  orders: [
    ...["id", "supplierId", "supplierName", "locationId", "location", "placedAt", "promisedOn", "closedAt"],
    ...["notes", ...made],
  ],
  "order-lines": ["id", "orderId", "lineId", "sku", "packs", "pieces", "priceMinorUnits"],
  "stock-levels": [
    "lineId",
    "sku",
    "lineName",
    "locationId",
    "location",
    "sort",
    "driverId",
    "driver",
    "pieces",
  ],
};

/** Lists of words and ids, which have no spaces; every other list or object is written as JSON. */
const spaced = new Set(["conditions", "findings", "services", "fits"]);

/**
 * Text that a spreadsheet would take for a formula gets an apostrophe in front; an import takes it off again. Text
 * that begins with apostrophes before such a sign gets one more, so that nothing is lost on the way back.
 */
export const defused = (text: string): string => (/^'*[=+\-@\t\r]/.test(text) ? `'${text}` : text);

function cell(column: string, value: unknown): string {
  if (value === null || value === undefined) return "";
  if (typeof value === "string") return defused(value);
  if (typeof value !== "object") return String(value);
  return spaced.has(column) && Array.isArray(value) ? value.join(" ") : JSON.stringify(value);
}

type Chunks = AsyncIterable<readonly ExportedRow[]>;

/** RFC 4180, with a header row. Numbers are written with a decimal point and are not touched otherwise. */
export async function* csvText(resource: Exported, chunks: Chunks): AsyncGenerator<string> {
  const columns = exportColumns[resource];
  // Without the match, a cell with a bare line feed would not be quoted, for it is not the end of a record.
  const options = { record_delimiter: "\r\n", quoted_match: /[\r\n]/ };
  yield stringify([columns], options);
  for await (const rows of chunks)
    yield stringify(
      rows.map((row) => columns.map((column) => cell(column, row[column]))),
      options,
    );
}

const ordered = (resource: Exported, row: ExportedRow) =>
  JSON.stringify(Object.fromEntries(exportColumns[resource].map((column) => [column, row[column] ?? null])));

export async function* linesText(resource: Exported, chunks: Chunks): AsyncGenerator<string> {
  for await (const rows of chunks) yield rows.map((row) => `${ordered(resource, row)}\n`).join("");
}

export async function* jsonText(resource: Exported, chunks: Chunks): AsyncGenerator<string> {
  let before = "[\n";
  for await (const rows of chunks) {
    if (rows.length === 0) continue;
    yield before + rows.map((row) => ordered(resource, row)).join(",\n");
    before = ",\n";
  }
  yield before === "[\n" ? "[]" : "\n]";
}
