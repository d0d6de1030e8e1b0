import { setImmediate as nextTurn } from "node:timers/promises";
import type { Kysely } from "kysely";
import type { Queries } from "./database.ts";
import { type RecordTable, refusalFor } from "./records.ts";
import type { FittingRow, PieceRow, ReadingRow, RunRow, Tables } from "./tables.ts";

/** Writing and reading many rows at once, for imports. */

/**
 * Rows of one insert. From 250 to 1000 rows of 12 columns were about equally fast; SQLite takes 32,766 parameters in a
 * statement.
 */
const rowsPerInsert = 500;
/** Values of one list in a condition. */
const listed = 5000;

// biome-ignore lint/suspicious/noExplicitAny: Kysely cannot type a query whose table is a variable
const untyped = (q: Queries) => q as unknown as Kysely<any>;

/**
 * Inserts many rows. The statement is compiled once for all batches of one size: building it anew with Kysely took
 * longer than the insert itself.
 *
 * @param rows all with the same members in the same order; taken a batch at a time, so that they can be made meanwhile
 * @param passOver where another row has the same values in these columns already, the new one is passed over
 * @returns how many rows were inserted
 * @throws {DomainError} `name_taken` or `in_use`
 */
export async function insertRows<T extends RecordTable | "changes">(
  q: Queries,
  table: T,
  rows: Iterable<Tables[T]>,
  what: string,
  passOver: readonly (keyof Tables[T] & string)[] = [],
): Promise<number> {
  let columns: (keyof Tables[T])[] = [];
  const compiled = (count: number) => {
    const blank = Object.fromEntries(columns.map((column) => [column, ""]));
    const insert = untyped(q)
      .insertInto(table)
      .values(Array.from({ length: count }, () => blank));
    return passOver.length === 0
      ? insert.compile()
      : insert.onConflict((on) => on.columns(passOver).doNothing()).compile();
  };
  let query: ReturnType<typeof compiled> | undefined;
  let size = 0;
  let inserted = 0;
  try {
    for (const batch of inBatches(rows)) {
      if (query === undefined || batch.length !== size) {
        columns = Object.keys(batch[0]!) as typeof columns;
        size = batch.length;
        query = compiled(size);
      }
      const parameters: unknown[] = [];
      for (const row of batch) for (const column of columns) parameters.push(row[column]);
      const { numAffectedRows } = await q.executeQuery({ ...query, parameters });
      inserted += Number(numAffectedRows ?? 0);
      // SQLite answers without a pause; let the rest of the process breathe between batches.
      await nextTurn();
    }
  } catch (error) {
    throw refusalFor(error, what);
  }
  return inserted;
}

function* inBatches<R>(rows: Iterable<R>): Generator<R[]> {
  let batch: R[] = [];
  for (const row of rows) {
    batch.push(row);
    if (batch.length < rowsPerInsert) continue;
    yield batch;
    batch = [];
  }
  if (batch.length > 0) yield batch;
}

async function inLists<V, R>(
  values: readonly V[],
  select: (some: readonly V[]) => Promise<R[]>,
): Promise<R[]> {
  const found: R[] = [];
  for (let i = 0; i < values.length; i += listed) {
    const rows = await select(values.slice(i, i + listed));
    for (const row of rows) found.push(row);
  }
  return found;
}

/** The runs of a car at some of these moments. */
export const selectRunsAt = (q: Queries, carId: string, moments: readonly string[]): Promise<RunRow[]> =>
  inLists(moments, (some) =>
    q.selectFrom("runs").selectAll().where("carId", "=", carId).where("at", "in", some).execute(),
  );

/** When some pieces were last inspected, for those that ever were, each with its line. */
export const selectLastInspections = (q: Queries, pieceIds: readonly string[]) =>
  inLists(pieceIds, (some) =>
    q
      .selectFrom("inspections")
      .innerJoin("pieces", "pieces.id", "inspections.pieceId")
      .select((e) => ["pieceId", "pieces.lineId", e.fn.max("at").as("at")])
      .where("pieceId", "in", some)
      .groupBy(["pieceId", "pieces.lineId"])
      .execute(),
  );

/** The fittings on some cars that end after a moment, or have not ended: how many there were before does not matter. */
export async function selectFittingsSince(
  q: Queries,
  carIds: readonly string[],
  at: string,
): Promise<FittingRow[]> {
  const ended = await inLists(carIds, (some) =>
    q.selectFrom("fittings").selectAll().where("carId", "in", some).where("removedAt", ">", at).execute(),
  );
  const fitted = await inLists(carIds, (some) =>
    q.selectFrom("fittings").selectAll().where("carId", "in", some).where("removedAt", "is", null).execute(),
  );
  return [...ended, ...fitted];
}

/** Every fitting on some cars, or of some pieces; a fitting that meets both is there twice. */
export async function selectFittingsOf(
  q: Queries,
  of: { carIds?: readonly string[]; pieceIds?: readonly string[] },
): Promise<FittingRow[]> {
  const onCars = await inLists(of.carIds ?? [], (some) =>
    q.selectFrom("fittings").selectAll().where("carId", "in", some).execute(),
  );
  const ofPieces = await inLists(of.pieceIds ?? [], (some) =>
    q.selectFrom("fittings").selectAll().where("pieceId", "in", some).execute(),
  );
  return [...onCars, ...ofPieces];
}

export const selectPiecesOfDrivers = (q: Queries, driverIds: readonly string[]): Promise<PieceRow[]> =>
  inLists(driverIds, (some) => q.selectFrom("pieces").selectAll().where("driverId", "in", some).execute());

/** Every reading of some pieces, in the order of time. */
export async function selectReadingsOfPieces(q: Queries, pieceIds: readonly string[]): Promise<ReadingRow[]> {
  const found = await inLists(pieceIds, (some) =>
    q.selectFrom("readings").selectAll().where("pieceId", "in", some).orderBy("at").orderBy("id").execute(),
  );
  return found;
}

/** Levels at some locations, each with the time of the last movement there. */
export const selectLevelsWithLast = (q: Queries, locationIds: readonly string[]) =>
  inLists(locationIds, (some) =>
    q
      .selectFrom("movements")
      .select((e) => [
        "lineId",
        "locationId",
        e.fn.sum<number>("quantity").as("pieces"),
        e.fn.max("at").as("lastAt"),
      ])
      .where("locationId", "in", some)
      .groupBy(["lineId", "locationId"])
      .execute(),
  );

/** Says that what the fits of these lines rest on has changed. */
export async function countEvidenceOfMany(q: Queries, lineIds: readonly string[]): Promise<void> {
  for (let i = 0; i < lineIds.length; i += listed)
    await q
      .updateTable("lines")
      .set((e) => ({ evidence: e("evidence", "+", 1) }))
      .where("id", "in", lineIds.slice(i, i + listed))
      .execute();
}

/** Says that the runs of these pieces have changed, and with them what is known of the breakages of their lines. */
export async function countExposureOfPieces(q: Queries, pieceIds: readonly string[]): Promise<void> {
  const lines = await inLists(pieceIds, (some) =>
    q.selectFrom("pieces").select("lineId").distinct().where("id", "in", some).execute(),
  );
  const lineIds = [...new Set(lines.map(({ lineId }) => lineId))];
  for (let i = 0; i < lineIds.length; i += listed)
    await q
      .updateTable("lines")
      .set((e) => ({ exposure: e("exposure", "+", 1) }))
      .where("id", "in", lineIds.slice(i, i + listed))
      .execute();
}
