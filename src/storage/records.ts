import { type Kysely, sql } from "kysely";
import { DomainError, notFound } from "../domain/errors.ts";
import { brokenConstraint, type Queries } from "./database.ts";
import type { Tables } from "./tables.ts";

/** The tables whose rows are kept as records: made, read, listed, changed and deleted by id, always within a club. */
export type RecordTable = {
  [T in keyof Tables]: Tables[T] extends { clubId: string; id: string } ? T : never;
}[keyof Tables];

/** A page by keyset: the rows after a position in the order of `sort`, then id. */
export interface PageRequest {
  limit: number;
  /** the sort key and id of the last row seen */
  after: { key: string | number; id: string } | null;
  descending?: boolean;
}
export interface Page<Row> {
  items: Row[];
  next: { key: string | number; id: string } | null;
}

/** A page out of one row more than it holds, and where the next one begins. */
export function cutPage<Row>(
  rows: readonly Row[],
  limit: number,
  placeOf: (last: Row) => { key: string | number; id: string },
): Page<Row> {
  const items = rows.slice(0, limit);
  const last = items.at(-1);
  return { items, next: rows.length > limit && last !== undefined ? placeOf(last) : null };
}

/** Equalities that rows must meet; undefined members are no condition. */
export type Conditions<Row> = { [K in keyof Row]?: Row[K] | readonly Row[K][] | undefined };

/**
 * Kysely cannot type a query whose table is a variable, so the functions below work on this plain view of the
 * database and give the rows their types back at the border.
 */
// biome-ignore lint/suspicious/noExplicitAny: see above
const untyped = (q: Queries) => q as unknown as Kysely<any>;

/** Turns a broken constraint into the refusal that it means; any other error stays what it is. */
export function refusalFor(error: unknown, what: string): unknown {
  const constraint = brokenConstraint(error);
  if (constraint === "unique")
    return new DomainError("name_taken", `Another ${what} already has that name or code`);
  if (constraint === "reference")
    return new DomainError(
      "in_use",
      `Something else refers to this ${what}, or it refers to something unknown`,
    );
  return error;
}

export async function insertRecord<T extends RecordTable>(
  q: Queries,
  table: T,
  row: Tables[T],
  what: string,
): Promise<void> {
  try {
    await untyped(q).insertInto(table).values(row).execute();
  } catch (error) {
    throw refusalFor(error, what);
  }
}

export async function findRecord<T extends RecordTable>(
  q: Queries,
  table: T,
  clubId: string,
  id: string,
): Promise<Tables[T] | undefined> {
  return (await untyped(q)
    .selectFrom(table)
    .selectAll()
    .where("id", "=", id)
    .where("clubId", "=", clubId)
    .executeTakeFirst()) as Tables[T] | undefined;
}

/** @throws {DomainError} `not_found`, naming `what` and the id */
export async function getRecord<T extends RecordTable>(
  q: Queries,
  table: T,
  clubId: string,
  id: string,
  what: string,
): Promise<Tables[T]> {
  const row = await findRecord(q, table, clubId, id);
  if (row === undefined) throw notFound(what, id);
  return row;
}

/** The tables whose rows count their changes. */
export type VersionedTable = {
  [T in keyof Tables]: Tables[T] extends { id: string; version: number } ? T : never;
}[keyof Tables];

/**
 * The version that a record of a club is at, or undefined where there is no such record. Ask in the transaction of
 * the change: in SQLite that transaction holds the write lock from its start; PostgreSQL would need `for update` here.
 */
export async function selectVersion(
  q: Queries,
  table: VersionedTable,
  clubId: string,
  id: string,
): Promise<number | undefined> {
  const row = await untyped(q)
    .selectFrom(table as string)
    .select("version")
    .where("id", "=", id)
    .where(table === "clubs" ? "id" : "clubId", "=", clubId)
    .executeTakeFirst();
  return row?.version as number | undefined;
}

/** Rows of a club that meet the conditions, a page at a time, in the order of `sort` and id. */
export async function pageOfRecords<T extends RecordTable>(
  q: Queries,
  table: T,
  clubId: string,
  page: PageRequest,
  conditions: Conditions<Tables[T]> = {},
  sort: keyof Tables[T] & string = "id",
): Promise<Page<Tables[T]>> {
  const direction = page.descending === true ? "desc" : "asc";
  const beyond = page.descending === true ? "<" : ">";
  let query = untyped(q).selectFrom(table).selectAll().where("clubId", "=", clubId);
  for (const [column, value] of Object.entries(conditions))
    if (value !== undefined)
      query = Array.isArray(value)
        ? query.where(column, "in", value)
        : value === null
          ? query.where(column, "is", null)
          : query.where(column, "=", value);
  const { after } = page;
  if (after !== null)
    query =
      sort === "id"
        ? query.where("id", beyond, after.id)
        : query.where(sql<boolean>`(${sql.ref(sort)}, id) ${sql.raw(beyond)} (${after.key}, ${after.id})`);
  const rows = (await query
    .orderBy(sort, direction)
    .$if(sort !== "id", (s) => s.orderBy("id", direction))
    .limit(page.limit + 1)
    .execute()) as Tables[T][];
  const items = rows.slice(0, page.limit);
  const last = items.at(-1);
  const next =
    rows.length > page.limit && last !== undefined
      ? { key: last[sort] as unknown as string | number, id: (last as { id: string }).id }
      : null;
  return { items, next };
}

/** All rows of a club that meet the conditions; for tables that stay small (cars, positions, suppliers). */
export async function allRecords<T extends RecordTable>(
  q: Queries,
  table: T,
  clubId: string,
  conditions: Conditions<Tables[T]> = {},
): Promise<Tables[T][]> {
  return (await pageOfRecords(q, table, clubId, { limit: 1_000_000, after: null }, conditions)).items;
}

/**
 * Changes a record and counts its version up.
 *
 * @throws {DomainError} `not_found`, `name_taken` or `in_use`
 */
export async function updateRecord<T extends RecordTable>(
  q: Queries,
  table: T,
  clubId: string,
  id: string,
  changes: Partial<Tables[T]>,
  what: string,
): Promise<Tables[T]> {
  try {
    const row = await untyped(q)
      .updateTable(table as string)
      .set({ ...changes, version: sql`version + 1` })
      .where("id", "=", id)
      .where("clubId", "=", clubId)
      .returningAll()
      .executeTakeFirst();
    if (row === undefined) throw notFound(what, id);
    return row as Tables[T];
  } catch (error) {
    throw refusalFor(error, what);
  }
}

/** @throws {DomainError} `not_found`, or `in_use` where other rows refer to it */
export async function deleteRecord(
  q: Queries,
  table: RecordTable,
  clubId: string,
  id: string,
  what: string,
): Promise<void> {
  try {
    const { numDeletedRows } = await untyped(q)
      .deleteFrom(table)
      .where("id", "=", id)
      .where("clubId", "=", clubId)
      .executeTakeFirstOrThrow();
    if (Number(numDeletedRows) === 0) throw notFound(what, id);
  } catch (error) {
    throw refusalFor(error, what);
  }
}
