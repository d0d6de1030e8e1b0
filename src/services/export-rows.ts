import { setImmediate as nextTurn } from "node:timers/promises";
import { type Area, reachOf } from "../domain/access.ts";
import { DomainError } from "../domain/errors.ts";
import { selectFittingsOf } from "../storage/bulk.ts";
import { beforeAll, type ChunkEnd, chunkOfRows, type Within } from "../storage/bulk-export.ts";
import { allRecords, type Page, type PageRequest, type RecordTable } from "../storage/records.ts";
import { type NamedLevel, pageOfLevels } from "../storage/stock-ledger.ts";
import type { Tables } from "../storage/tables.ts";
import { Referred } from "./export-referred.ts";
import { groupedBy } from "./grouped-by.ts";
import { kindFromRow } from "./keep-kinds.ts";
import { reachableLocations, visibleLocations } from "./reach-locations.ts";
import { driverSeenBy } from "./keep-drivers.ts";
import { onlyDriver, type Work } from "./work.ts";

/** What can be exported, and which need of a key it falls under. */
export const exported = {
  kinds: "catalogue",
  suppliers: "lines",
  lines: "lines",
  "car-models": "catalogue",
  venues: "catalogue",
  meetings: "catalogue",
  drivers: "club",
  cars: "log",
  positions: "log",
  pieces: "log",
  fittings: "log",
  runs: "log",
  inspections: "log",
  readings: "log",
  locations: "stock",
  movements: "stock",
  orders: "stock",
  "order-lines": "stock",
  "stock-levels": "stock",
} as const satisfies Record<string, Area>;
export type Exported = keyof typeof exported;
export const exportedNames = Object.keys(exported) as Exported[];

export type ExportedRow = Record<string, unknown>;

/** May this key read the resource at all? */
export const mayExport = (work: Work, resource: Exported): boolean =>
  reachOf(work.actor.role, `${exported[resource]}:read`) !== "none";

/** @throws {DomainError} `not_allowed` */
export function requireExport(work: Work, resource: Exported): void {
  if (!mayExport(work, resource))
    throw new DomainError(
      "not_allowed",
      `A ${work.actor.role}'s key may not export ${resource} (it needs ${exported[resource]}:read)`,
    );
}

/** Rows of one query; between queries nothing is held. */
const rowsPerChunk = 1000;

async function* rowsOf<T extends RecordTable>(
  work: Work,
  table: T,
  locations: "visible" | "movable" = "movable",
): AsyncGenerator<Tables[T][]> {
  const within: Within = { driverId: onlyDriver(work), locationIds: null };
  if (work.reach !== "all") {
    const reached = locations === "visible" ? visibleLocations : reachableLocations;
    within.locationIds = (await reached(work, work.db)).map(({ id }) => id);
  }
  for (let after: ChunkEnd | null = beforeAll; after !== null; ) {
    const { clubId } = work.actor;
    const chunk: { rows: Tables[T][]; end: ChunkEnd | null } = await chunkOfRows(
      work.db,
      table,
      clubId,
      after,
      rowsPerChunk,
      within,
    );
    if (chunk.rows.length > 0) yield chunk.rows;
    after = chunk.end;
    // A client that takes everything at once would keep others waiting to the end.
    await nextTurn();
  }
}

const json = (text: string | null): unknown => (text === null ? null : JSON.parse(text));

/** Without what is the service's own business. */
function plain<R extends { clubId: string }>({ clubId: _, ...row }: R): Omit<R, "clubId"> {
  return row;
}

async function* mapped<T extends RecordTable>(
  work: Work,
  table: T,
  shown: (row: Tables[T]) => ExportedRow,
  locations: "visible" | "movable" = "movable",
): AsyncGenerator<ExportedRow[]> {
  for await (const rows of rowsOf(work, table, locations)) yield rows.map(shown);
}

/** A row for each fitting of a piece, and one for a piece that was never fitted: as imports take them. */
async function* piecesWithFittings(work: Work, referred: Referred): AsyncGenerator<ExportedRow[]> {
  for await (const pieces of rowsOf(work, "pieces")) {
    const pieceIds = pieces.map(({ id }) => id);
    const fittings = groupedBy(await selectFittingsOf(work.db, { pieceIds }), ({ pieceId }) => pieceId);
    yield pieces.flatMap((piece) => {
      const { id, driverId, lineId, createdAt, version, ...said } = plain(piece);
      const own = (fittings.get(id) ?? []).sort((a, b) => (a.fittedAt < b.fittedAt ? -1 : 1));
      return (own.length === 0 ? [null] : own).map((fitting) => ({
        id,
        driverId,
        driver: referred.driver(driverId),
        lineId,
        sku: referred.sku(lineId),
        unit: referred.unit(lineId),
        ...said,
        carId: fitting?.carId ?? null,
        car: referred.car(fitting?.carId ?? null),
        position: referred.get("positions", fitting?.positionId ?? null)?.name ?? null,
        fittedAt: fitting?.fittedAt ?? null,
        removedAt: fitting?.removedAt ?? null,
        createdAt,
        version,
      }));
    });
  }
}

/** The rows of a resource within reach, in chunks; members have the names of the API. */
export async function* exportRows(work: Work, resource: Exported): AsyncGenerator<ExportedRow[]> {
  requireExport(work, resource);
  const r = new Referred(work);
  switch (resource) {
    case "kinds":
      return yield* mapped(work, "kinds", (row) => ({ ...kindFromRow(row) }));
    case "suppliers":
      return yield* mapped(work, "suppliers", plain);
    case "car-models":
      return yield* mapped(work, "carModels", plain);
    case "venues":
      return yield* mapped(work, "venues", plain);
    case "meetings":
      return yield* mapped(work, "meetings", plain);
    case "drivers":
      return yield* mapped(work, "drivers", (row) => {
        const { notes, sharesDemand } = driverSeenBy(work)(row);
        return { ...plain(row), notes, sharesDemand };
      });
    case "lines":
      await r.load("kinds", "suppliers");
      return yield* exportLines(work, r);
    case "cars":
      await r.load("drivers", "carModels");
      return yield* mapped(work, "cars", (row) => ({
        ...plain(row),
        driver: r.driver(row.driverId),
        carModel: r.get("carModels", row.carModelId)?.name ?? null,
      }));
    case "positions":
      await r.load("drivers", "cars", "kinds");
      return yield* mapped(work, "positions", (row) => ({
        ...plain(row),
        car: r.car(row.carId),
        kindCode: r.kindCode(row.kindId),
      }));
    case "pieces":
      await r.load("drivers", "lines", "kinds", "cars", "positions");
      return yield* piecesWithFittings(work, r);
    case "fittings":
      await r.load("drivers", "cars", "pieces", "positions");
      return yield* mapped(work, "fittings", (row) => ({
        ...plain(row),
        ...r.piece(row.pieceId),
        car: r.car(row.carId),
        position: r.get("positions", row.positionId)?.name ?? null,
      }));
    case "runs":
      await r.load("drivers", "cars", "pieces", "meetings");
      return yield* mapped(work, "runs", (row) => ({
        ...plain(row),
        car: r.car(row.carId),
        conditions: json(row.conditions) ?? [],
        pack: r.get("pieces", row.packId)?.mark ?? null,
        meeting: r.meeting(row.meetingId),
      }));
    case "inspections":
      await r.load("drivers", "pieces");
      return yield* mapped(work, "inspections", (row) => ({
        ...plain(row),
        ...r.piece(row.pieceId),
        findings: json(row.findings),
        services: json(row.services),
      }));
    case "readings":
      await r.load("drivers", "pieces", "lines", "kinds");
      return yield* mapped(work, "readings", (row) => ({
        ...plain(row),
        ...r.piece(row.pieceId),
        unit: r.unit(r.get("pieces", row.pieceId)!.lineId),
        confirmed: row.confirmed === 1,
      }));
    case "locations":
      await r.load("drivers");
      return yield* mapped(
        work,
        "locations",
        (row) => ({ ...plain(row), driver: r.driver(row.driverId) }),
        "visible",
      );
    case "movements":
      await r.load("lines", "locations");
      return yield* mapped(work, "movements", (row) => ({
        ...plain(row),
        sku: r.sku(row.lineId),
        location: r.get("locations", row.locationId)?.name ?? null,
      }));
    case "orders":
      await r.load("suppliers", "locations");
      return yield* mapped(work, "orders", (row) => ({
        ...plain(row),
        supplierName: r.get("suppliers", row.supplierId)?.name ?? null,
        location: r.get("locations", row.locationId)?.name ?? null,
      }));
    case "order-lines":
      await r.load("lines");
      return yield* mapped(work, "orderLines", (row) => ({ ...plain(row), sku: r.sku(row.lineId) }));
    case "stock-levels":
      await r.load("drivers");
      return yield* exportLevels(work, r);
  }
}

async function* exportLines(work: Work, r: Referred): AsyncGenerator<ExportedRow[]> {
  const fits = groupedBy(await allRecords(work.db, "lineFits", work.actor.clubId), ({ lineId }) => lineId);
  for await (const rows of rowsOf(work, "lines"))
    yield rows.map((line) => {
      const { evidence: _, exposure: __, ...row } = plain(line);
      return {
        ...row,
        kindCode: r.kindCode(row.kindId),
        supplierName: r.get("suppliers", row.supplierId)?.name ?? null,
        limits: json(row.limits),
        usualLife: json(row.usualLife),
        fits: (fits.get(row.id) ?? []).map(({ carModelId }) => carModelId),
      };
    });
}

async function* exportLevels(work: Work, r: Referred): AsyncGenerator<ExportedRow[]> {
  const locationIds = (await visibleLocations(work, work.db)).map(({ id }) => id);
  let after: PageRequest["after"] = null;
  do {
    const page: Page<NamedLevel> = await pageOfLevels(
      work.db,
      work.actor.clubId,
      { limit: rowsPerChunk, after },
      { locationIds },
    );
    yield page.items.map(({ locationName, ...level }) => ({
      ...level,
      location: locationName,
      driver: r.driver(level.driverId),
    }));
    after = page.next;
  } while (after !== null);
}
