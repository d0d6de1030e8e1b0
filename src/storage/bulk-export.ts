import type { ExpressionBuilder, Kysely } from "kysely";
import type { Queries } from "./database.ts";
import type { RecordTable } from "./records.ts";
import type { Tables } from "./tables.ts";

/** Reading whole tables, a chunk at a time, for exports: no transaction and no cursor stays open in between. */

/** Whose rows: all of the club, one driver's, or those of some locations. */
export interface Within {
  driverId: string | null;
  /** null: all of them */
  locationIds: readonly string[] | null;
}

const ofDriver: Partial<Record<RecordTable, "driverId" | "carId" | "pieceId">> = {
  cars: "driverId",
  pieces: "driverId",
  positions: "carId",
  runs: "carId",
  fittings: "pieceId",
  inspections: "pieceId",
  readings: "pieceId",
};
const atLocation: Partial<Record<RecordTable, "id" | "locationId" | "orderId">> = {
  locations: "id",
  movements: "locationId",
  orders: "locationId",
  orderLines: "orderId",
};

// biome-ignore lint/suspicious/noExplicitAny: Kysely cannot type a query whose table is a variable
type Any = any;

function conditions(e: ExpressionBuilder<Any, Any>, table: RecordTable, within: Within) {
  const { driverId, locationIds } = within;
  const all = [];
  const own = ofDriver[table];
  if (own !== undefined && driverId !== null)
    all.push(
      own === "driverId"
        ? e(own, "=", driverId)
        : e(
            own,
            "in",
            e
              .selectFrom(own === "carId" ? "cars" : "pieces")
              .select("id")
              .where("driverId", "=", driverId),
          ),
    );
  const place = atLocation[table];
  if (place !== undefined && locationIds !== null)
    all.push(
      place === "orderId"
        ? e(place, "in", e.selectFrom("orders").select("id").where("locationId", "in", locationIds))
        : e(place, "in", locationIds),
    );
  return e.and(all);
}

/** Runs have an index by time; for the others the order of ids is that of their making. */
const timed: ReadonlySet<RecordTable> = new Set<RecordTable>(["runs"]);

/** Where a chunk ended. */
export interface ChunkEnd {
  at: string;
  id: string;
}
export const beforeAll: ChunkEnd = { at: "", id: "" };

/** Up to `limit` rows of a club after the end of the chunk before: runs in the order of time, others in that of ids. */
export async function chunkOfRows<T extends RecordTable>(
  q: Queries,
  table: T,
  clubId: string,
  after: ChunkEnd,
  limit: number,
  within: Within,
): Promise<{ rows: Tables[T][]; end: ChunkEnd | null }> {
  const byTime = timed.has(table);
  const rows = await (q as unknown as Kysely<Any>)
    .selectFrom(table as string)
    .selectAll()
    .where("clubId", "=", clubId)
    .where((e) =>
      byTime ? e(e.refTuple("at", "id"), ">", e.tuple(after.at, after.id)) : e("id", ">", after.id),
    )
    .where((e) => conditions(e, table, within))
    .$if(byTime, (s) => s.orderBy("at"))
    .orderBy("id")
    .limit(limit)
    .execute();
  const last = rows.at(-1);
  const end =
    rows.length < limit || last === undefined ? null : { at: byTime ? last["at"] : "", id: last["id"] };
  return { rows: rows as Tables[T][], end };
}
