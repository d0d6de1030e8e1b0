import { type Kysely, sql } from "kysely";
import { columnTypes, createTable, type Dialect, type Step } from "./types.ts";

/**
 * The ledger: catalogue, log and stock. Every row belongs to a club. Times are text in UTC with milliseconds
 * (they sort as text), days are text YYYY-MM-DD, money is whole minor units, booleans are 0 or 1, and documents
 * that are always read whole are JSON text.
 */
type Column = [name: string, type: "text" | "integer" | "real", rule?: string];

const tables: { name: string; columns: Column[]; unique?: string[][]; checks?: string[] }[] = [
  {
    name: "clubs",
    columns: [
      ["name", "text", "!"],
      ["currency", "text", "!"],
      ["timeZone", "text", "!"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
  },
  {
    name: "drivers",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["name", "text", "!"],
      ["notes", "text"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
    unique: [["clubId", "name"]],
  },
  {
    name: "keys",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["name", "text", "!"],
      ["role", "text", "!"],
      ["driverId", "text", ">drivers"],
      ["hash", "text", "!"],
      ["createdAt", "text", "!"],
      ["revokedAt", "text"],
    ],
    unique: [["hash"]],
    checks: [
      `"role" in ('owner', 'driver', 'shop', 'reader')`,
      `("role" = 'driver') = ("driverId" is not null)`,
    ],
  },
  {
    name: "kinds",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["code", "text", "!"],
      ["name", "text", "!"],
      ["clock", "text", "!"],
      ["shipped", "integer", "!"],
      ["details", "text", "!"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
    unique: [["clubId", "code"]],
    checks: [`"clock" in ('minutes', 'runs', 'cycles', 'knocks', 'days')`, `"shipped" in (0, 1)`],
  },
  {
    name: "suppliers",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["name", "text", "!"],
      ["leadTimeDays", "real", "!"],
      ["leadTimeSdDays", "real", "!"],
      ["minimumOrderMinorUnits", "integer", "!"],
      ["notes", "text"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
    unique: [["clubId", "name"]],
    checks: [`"leadTimeDays" >= 0 and "leadTimeSdDays" >= 0 and "minimumOrderMinorUnits" >= 0`],
  },
  {
    name: "carModels",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["name", "text", "!"],
      ["discipline", "text", "!"],
      ["internalRatio", "real"],
      ["notes", "text"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
    unique: [["clubId", "name"]],
  },
  {
    name: "lines",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["sku", "text", "!"],
      ["gtin", "text"],
      ["makersPartNumber", "text"],
      ["name", "text", "!"],
      ["kindId", "text", "!>kinds"],
      ["supplierId", "text", ">suppliers"],
      ["packSize", "integer", "!"],
      ["orderMultiplePacks", "integer", "!"],
      ["priceMinorUnits", "integer", "!"],
      ["currency", "text", "!"],
      ["leadTimeDays", "real"],
      ["shelfLifeDays", "integer"],
      ["asNew", "real"],
      ["limits", "text"],
      ["usualLife", "text"],
      ["supersededById", "text", ">lines"],
      ["endedOn", "text"],
      ["notes", "text"],
      ["evidence", "integer", "!"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
    unique: [["clubId", "sku"]],
    checks: [`"packSize" >= 1 and "orderMultiplePacks" >= 1 and "priceMinorUnits" >= 0`],
  },
  {
    name: "lineFits",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["lineId", "text", "!>lines"],
      ["carModelId", "text", "!>carModels"],
    ],
    unique: [["lineId", "carModelId"]],
  },
  {
    name: "cars",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["driverId", "text", "!>drivers"],
      ["carModelId", "text", ">carModels"],
      ["name", "text", "!"],
      ["raceClass", "text"],
      ["gearCase", "text"],
      ["spurTeeth", "integer"],
      ["pinionTeeth", "integer"],
      ["meshNote", "text"],
      ["notes", "text"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
    unique: [["driverId", "name"]],
    checks: [`"gearCase" in ('open', 'vented', 'closed')`],
  },
  {
    name: "positions",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["carId", "text", "!>cars"],
      ["name", "text", "!"],
      ["kindId", "text", "!>kinds"],
      ["changedWith", "text"],
      ["createdAt", "text", "!"],
    ],
    unique: [["carId", "name"]],
  },
  {
    name: "pieces",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["driverId", "text", "!>drivers"],
      ["lineId", "text", "!>lines"],
      ["mark", "text", "!"],
      ["asNew", "real"],
      ["priorUsage", "real"],
      ["priorUsageSd", "real"],
      ["boughtOn", "text"],
      ["retiredAt", "text"],
      ["retiredFor", "text"],
      ["notes", "text"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
    unique: [["driverId", "mark"]],
    checks: [
      `"retiredFor" in ('worn', 'broken', 'precaution', 'lost', 'aged', 'rule-change', 'sold')`,
      `("retiredAt" is null) = ("retiredFor" is null)`,
    ],
  },
  {
    name: "fittings",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["pieceId", "text", "!>pieces"],
      ["carId", "text", "!>cars"],
      ["positionId", "text", "!>positions"],
      ["fittedAt", "text", "!"],
      ["removedAt", "text"],
      ["version", "integer", "!"],
    ],
    checks: [`"removedAt" is null or "removedAt" > "fittedAt"`],
  },
  {
    name: "venues",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["name", "text", "!"],
      ["surface", "text", "!"],
      ["direction", "text"],
      ["notes", "text"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
    unique: [["clubId", "name"]],
    checks: [`"direction" in ('clockwise', 'anticlockwise')`],
  },
  {
    name: "meetings",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["name", "text", "!"],
      ["startsOn", "text", "!"],
      ["days", "integer", "!"],
      ["venueId", "text", ">venues"],
      ["surface", "text", "!"],
      ["discipline", "text"],
      ["plannedRuns", "integer", "!"],
      ["minutesPerRun", "real", "!"],
      ["notes", "text"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
    checks: [`"days" >= 1 and "plannedRuns" >= 0 and "minutesPerRun" > 0`],
  },
  {
    name: "entries",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["meetingId", "text", "!>meetings"],
      ["carId", "text", "!>cars"],
      ["attends", "integer", "!"],
      ["plannedRuns", "integer"],
    ],
    unique: [["meetingId", "carId"]],
    checks: [`"attends" in (0, 1)`],
  },
  {
    name: "runs",
    columns: [
      ["clubId", "text", "!"],
      ["carId", "text", "!>cars"],
      ["at", "text", "!"],
      ["minutes", "real", "!"],
      ["surface", "text", "!"],
      ["conditions", "text"],
      ["packId", "text", ">pieces"],
      ["knocks", "integer", "!"],
      ["meetingId", "text", ">meetings"],
      ["notes", "text"],
      ["version", "integer", "!"],
    ],
    checks: [`"minutes" >= 0 and "knocks" >= 0`],
  },
  {
    name: "inspections",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["pieceId", "text", "!>pieces"],
      ["at", "text", "!"],
      ["grade", "integer"],
      ["findings", "text", "!"],
      ["services", "text", "!"],
      ["notes", "text"],
      ["version", "integer", "!"],
    ],
    checks: [`"grade" between 0 and 4`],
  },
  {
    name: "readings",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["inspectionId", "text", "!>inspections"],
      ["pieceId", "text", "!>pieces"],
      ["at", "text", "!"],
      ["value", "real", "!"],
      ["sd", "real", "!"],
      ["instrument", "text", "!"],
      ["enteredValue", "real", "!"],
      ["enteredUnit", "text", "!"],
      ["confirmed", "integer", "!"],
    ],
    checks: [`"sd" > 0`, `"confirmed" in (0, 1)`],
  },
  {
    name: "locations",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["name", "text", "!"],
      ["sort", "text", "!"],
      ["driverId", "text", ">drivers"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
    checks: [`"sort" in ('home', 'pit-box', 'shelf')`, `("sort" = 'shelf') = ("driverId" is null)`],
  },
  {
    name: "orders",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["supplierId", "text", "!>suppliers"],
      ["locationId", "text", "!>locations"],
      ["placedAt", "text", "!"],
      ["promisedOn", "text"],
      ["closedAt", "text"],
      ["notes", "text"],
      ["createdAt", "text", "!"],
      ["version", "integer", "!"],
    ],
  },
  {
    name: "orderLines",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["orderId", "text", "!>orders"],
      ["lineId", "text", "!>lines"],
      ["packs", "integer", "!"],
      ["pieces", "integer", "!"],
      ["priceMinorUnits", "integer", "!"],
    ],
    unique: [["orderId", "lineId"]],
    checks: [`"packs" >= 1 and "pieces" >= 1 and "priceMinorUnits" >= 0`],
  },
  {
    name: "movements",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["lineId", "text", "!>lines"],
      ["locationId", "text", "!>locations"],
      ["quantity", "integer", "!"],
      ["reason", "text", "!"],
      ["at", "text", "!"],
      ["pieceId", "text", ">pieces"],
      ["orderId", "text", ">orders"],
      ["undoesId", "text", ">movements"],
      ["pairId", "text"],
      ["notes", "text"],
      ["recordedAt", "text", "!"],
    ],
    unique: [["undoesId"]],
    checks: [
      `"reason" in ('received', 'fitted', 'returned', 'counted', 'sold', 'written-off', 'moved', 'undone')`,
    ],
  },
  {
    name: "lineModels",
    columns: [
      ["clubId", "text", "!>clubs"],
      ["lineId", "text", "!>lines"],
      ["evidence", "integer", "!"],
      ["fit", "text", "!"],
      ["fittedAt", "text", "!"],
    ],
    unique: [["lineId"]],
  },
];

/** [name, table, columns, unique?, where?] Only what a query of src/storage needs. */
const indexes: [string, string, string[], ("unique" | "")?, string?][] = [
  ["linesByKind", "lines", ["clubId", "kindId"]],
  ["linesByGtin", "lines", ["clubId", "gtin"]],
  ["carsByDriver", "cars", ["clubId", "driverId"]],
  ["piecesByLine", "pieces", ["lineId", "id"]],
  ["fittingsByPiece", "fittings", ["pieceId", "fittedAt"]],
  ["fittingsByPosition", "fittings", ["positionId", "fittedAt"]],
  ["fittingsOnCarNow", "fittings", ["carId"], "", `"removedAt" is null`],
  ["fittingsOnCarBefore", "fittings", ["carId", "removedAt"], "", `"removedAt" is not null`],
  ["onePiecePerPosition", "fittings", ["positionId"], "unique", `"removedAt" is null`],
  ["onePositionPerPiece", "fittings", ["pieceId"], "unique", `"removedAt" is null`],
  ["runsByCar", "runs", ["carId", "at"], "unique"],
  ["runsByPack", "runs", ["packId", "at"], "", `"packId" is not null`],
  ["runsByClub", "runs", ["clubId", "at", "id"]],
  ["meetingsByDay", "meetings", ["clubId", "startsOn"]],
  ["inspectionsByPiece", "inspections", ["pieceId", "at"]],
  ["readingsByPiece", "readings", ["pieceId", "at"]],
  ["readingsByInspection", "readings", ["inspectionId"]],
  ["ordersBySupplier", "orders", ["clubId", "supplierId"]],
  ["movementsByLine", "movements", ["lineId", "locationId", "quantity"]],
  ["movementsByPiece", "movements", ["pieceId"], "", `"pieceId" is not null`],
  ["movementsByOrder", "movements", ["orderId"], "", `"orderId" is not null`],
];

const quoted = (columns: string[]) => columns.map((column) => `"${column}"`).join(", ");

// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const types = columnTypes(dialect);
  for (const { name, columns, unique = [], checks = [] } of tables) {
    let table = createTable(db, dialect, name).addColumn("id", "text", (c) => c.primaryKey().notNull());
    for (const [column, type, rule = ""] of columns) {
      const refersTo = rule.split(">")[1];
      table = table.addColumn(column, sql.raw(types[type]), (c) => {
        const required = rule.startsWith("!") ? c.notNull() : c;
        return refersTo === undefined ? required : required.references(`${refersTo}.id`);
      });
    }
    unique.forEach((key, i) => {
      table = table.addUniqueConstraint(`${name}Unique${i + 1}`, key as never);
    });
    checks.forEach((check, i) => {
      table = table.addCheckConstraint(`${name}Check${i + 1}`, sql.raw(check));
    });
    await table.execute();
  }
  for (const [name, table, columns, unique = "", where] of indexes)
    await sql
      .raw(
        `create ${unique} index "${name}" on "${table}" (${quoted(columns)})${where ? ` where ${where}` : ""}`,
      )
      .execute(db);
}

export const ledger: Step = { name: "0001-ledger", up };
