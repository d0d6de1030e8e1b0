import { type Page, type PageRequest, refusalFor } from "./records.ts";
import type { Queries } from "./database.ts";
import type { MovementRow } from "./tables.ts";

/**
 * The stock ledger: it only grows. What lies at a location is the sum of its movements, never a stored number.
 */

/** How many pieces of a line lie at a location. */
export interface Level {
  lineId: string;
  locationId: string;
  pieces: number;
}

/** Adds a movement to the ledger. @throws {DomainError} `name_taken` where the id is used already */
export async function insertMovement(q: Queries, row: MovementRow): Promise<void> {
  try {
    await q.insertInto("movements").values(row).execute();
  } catch (error) {
    throw refusalFor(error, "movement");
  }
}

/** Pieces of a line at a location, at the end of the ledger or counting only what happened up to `through`. */
export async function levelOf(
  q: Queries,
  clubId: string,
  lineId: string,
  locationId: string,
  through?: string,
): Promise<number> {
  const { pieces } = await q
    .selectFrom("movements")
    .select((e) => e.fn.sum<number | null>("quantity").as("pieces"))
    .where("clubId", "=", clubId)
    .where("lineId", "=", lineId)
    .where("locationId", "=", locationId)
    .$if(through !== undefined, (s) => s.where("at", "<=", through!))
    .executeTakeFirstOrThrow();
  return Number(pieces ?? 0);
}

/** Every level that is not zero, narrowed to lines or locations where those are given. */
export async function levelsOf(
  q: Queries,
  clubId: string,
  only: { lineIds?: readonly string[]; locationIds?: readonly string[] } = {},
): Promise<Level[]> {
  const { lineIds, locationIds } = only;
  if (lineIds?.length === 0 || locationIds?.length === 0) return [];
  const rows = await q
    .selectFrom("movements")
    .select((e) => ["lineId", "locationId", e.fn.sum<number>("quantity").as("pieces")])
    .where("clubId", "=", clubId)
    .$if(lineIds !== undefined, (s) => s.where("lineId", "in", lineIds!))
    .$if(locationIds !== undefined, (s) => s.where("locationId", "in", locationIds!))
    .groupBy(["lineId", "locationId"])
    .having((e) => e(e.fn.sum("quantity"), "<>", 0))
    .orderBy("lineId")
    .orderBy("locationId")
    .execute();
  return rows.map((row) => ({ ...row, pieces: Number(row.pieces) }));
}

/** A level with the names that a person knows the line and the location by. */
export interface NamedLevel extends Level {
  sku: string;
  lineName: string;
  locationName: string;
  sort: "home" | "pit-box" | "shelf";
  driverId: string | null;
}

/**
 * A page of levels at some locations, by line and then location. With a line given, locations without a piece of it
 * are listed too, with 0; otherwise only levels that are not zero.
 */
export async function pageOfLevels(
  q: Queries,
  clubId: string,
  { limit, after }: PageRequest,
  { lineId, locationIds }: { lineId?: string | undefined; locationIds: readonly string[] },
): Promise<Page<NamedLevel>> {
  if (locationIds.length === 0) return { items: [], next: null };
  const rows = await q
    .selectFrom("locations")
    .innerJoin("lines", "lines.clubId", "locations.clubId")
    .leftJoin("movements", (join) =>
      join
        .onRef("movements.lineId", "=", "lines.id")
        .onRef("movements.locationId", "=", "locations.id")
        .on("movements.clubId", "=", clubId),
    )
    .select((e) => [
      "lines.id as lineId",
      "locations.id as locationId",
      "lines.sku",
      "lines.name as lineName",
      "locations.name as locationName",
      "locations.sort",
      "locations.driverId",
      e.fn.coalesce(e.fn.sum<number>("movements.quantity"), e.val(0)).as("pieces"),
    ])
    .where("locations.clubId", "=", clubId)
    .where("locations.id", "in", locationIds)
    .$if(lineId !== undefined, (s) => s.where("lines.id", "=", lineId!))
    .$if(after !== null, (s) =>
      s.where((e) =>
        e.or([
          e("lines.id", ">", String(after!.key)),
          e.and([e("lines.id", "=", String(after!.key)), e("locations.id", ">", after!.id)]),
        ]),
      ),
    )
    .groupBy(["lines.id", "locations.id", "lines.sku", "lines.name"])
    .groupBy(["locations.name", "locations.sort", "locations.driverId"])
    .$if(lineId === undefined, (s) =>
      // The first condition lets SQLite turn the left join into an inner one that starts from the movements.
      s.where("movements.id", "is not", null).having((e) => e(e.fn.sum("movements.quantity"), "<>", 0)),
    )
    .orderBy("lines.id")
    .orderBy("locations.id")
    .limit(limit + 1)
    .execute();
  const items = rows.slice(0, limit).map((row) => ({ ...row, pieces: Number(row.pieces) }));
  const last = items.at(-1);
  return {
    items,
    next: rows.length > limit && last !== undefined ? { key: last.lineId, id: last.locationId } : null,
  };
}

/** The movements that were written as one with `pairId`, such as the two ends of a move. */
export const selectPair = (q: Queries, clubId: string, pairId: string): Promise<MovementRow[]> =>
  q
    .selectFrom("movements")
    .selectAll()
    .where("clubId", "=", clubId)
    .where("pairId", "=", pairId)
    .orderBy("quantity")
    .execute();

/** The movement that undid another, if one did. */
export const selectUndoOf = (q: Queries, clubId: string, id: string): Promise<MovementRow | undefined> =>
  q
    .selectFrom("movements")
    .selectAll()
    .where("clubId", "=", clubId)
    .where("undoesId", "=", id)
    .executeTakeFirst();
