import type { Queries } from "./database.ts";
import type { PageRequest } from "./records.ts";

/** The car whose run named this pack last. */
export async function selectLastCarOfPack(q: Queries, packId: string): Promise<string | undefined> {
  const row = await q
    .selectFrom("runs")
    .select("carId")
    .where("packId", "=", packId)
    .orderBy("at", "desc")
    .limit(1)
    .executeTakeFirst();
  return row?.carId;
}

/** How many pieces of a kind a driver has that are not retired. */
export async function countPiecesInUse(q: Queries, driverId: string, kindId: string): Promise<number> {
  const row = await q
    .selectFrom("pieces")
    .innerJoin("lines", "lines.id", "pieces.lineId")
    .select((e) => e.fn.countAll<number>().as("pieces"))
    .where("pieces.driverId", "=", driverId)
    .where("lines.kindId", "=", kindId)
    .where("pieces.retiredAt", "is", null)
    .executeTakeFirstOrThrow();
  return Number(row.pieces);
}

/** Does a driver keep any piece for practice? */
export async function isAnyKeptForPractice(q: Queries, driverId: string): Promise<boolean> {
  const row = await q
    .selectFrom("pieces")
    .select("id")
    .where("driverId", "=", driverId)
    .where("keptFor", "=", "practice")
    .where("retiredAt", "is", null)
    .limit(1)
    .executeTakeFirst();
  return row !== undefined;
}

export const pieceStates = ["fitted", "spare", "retired"] as const;
export type PieceState = (typeof pieceStates)[number];

/** A page of pieces in the order in which they were made, each with where it is fitted now, if it is. */
export async function pageOfPieces(
  q: Queries,
  clubId: string,
  page: PageRequest,
  only: {
    driverId?: string | undefined;
    lineId?: string | undefined;
    carId?: string | undefined;
    state?: PieceState | undefined;
  },
) {
  const { driverId, lineId, carId, state } = only;
  const rows = await q
    .selectFrom("pieces")
    .leftJoin("fittings", (join) =>
      join.onRef("fittings.pieceId", "=", "pieces.id").on("fittings.removedAt", "is", null),
    )
    .selectAll("pieces")
    .select(["fittings.carId", "fittings.positionId", "fittings.fittedAt"])
    .where("pieces.clubId", "=", clubId)
    .$if(driverId !== undefined, (s) => s.where("pieces.driverId", "=", driverId!))
    .$if(lineId !== undefined, (s) => s.where("pieces.lineId", "=", lineId!))
    .$if(carId !== undefined, (s) => s.where("fittings.carId", "=", carId!))
    .$if(state === "retired", (s) => s.where("pieces.retiredAt", "is not", null))
    .$if(state === "fitted", (s) => s.where("fittings.id", "is not", null))
    .$if(state === "spare", (s) => s.where("fittings.id", "is", null).where("pieces.retiredAt", "is", null))
    .$if(page.after !== null, (s) => s.where("pieces.id", ">", page.after!.id))
    .orderBy("pieces.id")
    .limit(page.limit + 1)
    .execute();
  const items = rows.slice(0, page.limit).map((row) => ({ ...row, state: stateOf(row) }));
  const last = items.at(-1);
  return {
    items,
    next: rows.length > page.limit && last !== undefined ? { key: last.id, id: last.id } : null,
  };
}

const stateOf = (row: { retiredAt: string | null; carId: string | null }): PieceState =>
  row.retiredAt !== null ? "retired" : row.carId !== null ? "fitted" : "spare";
