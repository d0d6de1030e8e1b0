import { type CompiledQuery, type Kysely, type RawBuilder, sql } from "kysely";
import type { Queries } from "./database.ts";
import { columns, selectListed } from "./stock-lists.ts";
import type { ListedRow } from "./tables.ts";

/**
 * Rows on their way into a list: those that arrive, and those of the list before that go on counting because the newer
 * row of the same thing was rejected. No step holds more than a batch of them in memory, however long a list is.
 */

/**
 * Rows of one statement: 500 rows of 14 columns are well within SQLite's 32,766 parameters. What is left over goes in
 * few sizes: each size is a prepared statement, which takes memory of its own for as long as it is kept.
 */
const rowsAtOnce = [500, 50, 5, 1];
const sizeOf = (left: number) => rowsAtOnce.find((size) => size <= left)!;
const inserts = new Map<string, CompiledQuery>();

function insertOf(q: Queries, table: string, into: readonly string[], count: number): CompiledQuery {
  const name = `${table} ${count}`;
  let insert = inserts.get(name);
  if (insert === undefined) {
    const blank = Object.fromEntries(into.map((column) => [column, ""]));
    // biome-ignore lint/suspicious/noExplicitAny: the values are given when the query runs
    insert = (q as unknown as Kysely<any>)
      .insertInto(table)
      .values(Array.from({ length: count }, () => blank))
      .onConflict((on) => on.doNothing())
      .compile();
    inserts.set(name, insert);
  }
  return insert;
}

/** Inserts rows, passes over those whose key is there already, and says how many went in. */
export async function insertNew<C extends string>(
  q: Queries,
  table: string,
  into: readonly C[],
  rows: readonly Readonly<Record<C, unknown>>[],
): Promise<number> {
  let inserted = 0;
  let parameters: unknown[] = [];
  for (let from = 0; from < rows.length; ) {
    const count = sizeOf(rows.length - from);
    const needed = count * into.length;
    if (parameters.length !== needed) parameters = Array.from({ length: needed });
    let at = 0;
    for (const end = from + count; from < end; from++)
      for (const column of into) parameters[at++] = rows[from]![column];
    const query = { ...insertOf(q, table, into, count), parameters };
    inserted += Number((await q.executeQuery(query)).numAffectedRows ?? 0);
  }
  return inserted;
}

/**
 * Adds rows to a list that is arriving; a SKU that the list has already is passed over.
 *
 * @returns the rows passed over, each with the number of the row that was there first
 */
export async function insertListed(
  q: Queries,
  rows: readonly ListedRow[],
): Promise<{ row: ListedRow; firstRowNo: number }[]> {
  if ((await insertNew(q, "stockListRows", columns, rows)) === rows.length) return [];
  const first = new Map(
    (await selectListed(q, rows[0]!.listId, { skus: rows.map(({ sku }) => sku) })).map((row) => [
      row.sku,
      row.rowNo,
    ]),
  );
  return rows
    .filter((row) => first.get(row.sku) !== row.rowNo)
    .map((row) => ({ row, firstRowNo: first.get(row.sku)! }));
}

/**
 * Notes article numbers of rejected rows, until the list has taken effect or is given up. The table is the
 * connection's own and lies in a file that ends with it.
 */
export async function noteRejected(q: Queries, listId: string, skus: readonly string[]): Promise<void> {
  await sql`create temporary table if not exists "rejectedSkus"
    ("listId" text not null, "sku" text not null, primary key ("listId", "sku"))`.execute(q);
  const rows = skus.map((sku) => ({ listId, sku }));
  await insertNew(q, "rejectedSkus", ["listId", "sku"], rows);
}

/** Forgets what was noted of a list's rejected rows. */
export async function forgetRejected(q: Queries, listId: string): Promise<void> {
  await sql`delete from ${sql.table("rejectedSkus")} where "listId" = ${listId}`.execute(q);
}

/** A list that arrived, of which rejected rows are noted, and the one that counts. */
export interface Successor {
  arrived: string;
  before: string;
}

/** That a SKU was noted as rejected, and that no sound row of the list that arrived has it. */
const rejectedOnly = (sku: RawBuilder<unknown>, arrived: string) => sql`
  exists (select 1 from ${sql.table("rejectedSkus")} as r where r."listId" = ${arrived} and r."sku" = ${sku})
  and not exists (select 1 from ${sql.table("stockListRows")} as a where a."listId" = ${arrived} and a."sku" = ${sku})`;
/** The rows of the list before that go on counting. */
const goingOn = ({ arrived, before }: Successor) => sql`
  from ${sql.table("stockListRows")} as c where c."listId" = ${before} and ${rejectedOnly(sql`c."sku"`, arrived)}`;

/** How many rows of the list before go on counting, how many of them are lines of the club, and how many nobody matched. */
export async function countGoingOn(q: Queries, lists: Successor) {
  const { rows } = await sql<{ rows: number; matched: number; unmatched: number }>`
    select count(*) as "rows", count(c."lineId") as "matched",
      count(*) filter (where c."matchedBy" is null) as "unmatched" ${goingOn(lists)}`.execute(q);
  const all = rows[0]!;
  return { rows: Number(all.rows), matched: Number(all.matched), unmatched: Number(all.unmatched) };
}

/** Of some SKUs, those whose row in the list before goes on counting, with when it was said if that is known of the row. */
export async function selectGoingOn(
  q: Queries,
  lists: Successor,
  skus: readonly string[],
): Promise<{ sku: string; saidAt: string | null }[]> {
  const found: { sku: string; saidAt: string | null }[] = [];
  for (let from = 0; from < skus.length; ) {
    const some = skus.slice(from, from + sizeOf(skus.length - from));
    const { rows } = await sql<{ sku: string; saidAt: string | null }>`
      select c."sku", c."saidAt" ${goingOn(lists)} and c."sku" in (${sql.join(some)})`.execute(q);
    found.push(...rows);
    from += some.length;
  }
  return found;
}

/** Rows that one statement moves: it holds what it reads of a table that it writes to until it has read all of it. */
const rowsMoved = 5000;

/** SKUs beyond one, up to another or to the end. */
interface Range {
  after: string;
  last: string | undefined;
}
const within = (sku: RawBuilder<unknown>, { after, last }: Range) =>
  last === undefined ? sql`${sku} > ${after}` : sql`${sku} > ${after} and ${sku} <= ${last}`;

/** Ranges that together hold all the rows that go on counting. */
async function* rangesGoingOn(q: Queries, lists: Successor): AsyncGenerator<Range> {
  for (let after = ""; ; ) {
    const { rows } = await sql<{ sku: string }>`
      select c."sku" ${goingOn(lists)} and c."sku" > ${after}
      order by c."sku" limit 1 offset ${rowsMoved - 1}`.execute(q);
    const last = rows[0]?.sku;
    yield { after, last };
    if (last === undefined) return;
    after = last;
  }
}

/** Copies the rows that go on counting into the list that arrived, with the moment at which they were said. */
export async function carryOver(q: Queries, lists: Successor, saidAt: string): Promise<void> {
  const copied = columns.map((column) =>
    column === "listId" ? sql`${lists.arrived}` : sql`c.${sql.ref(column)}`,
  );
  const into = columns.map((column) => sql.ref(column));
  for await (const range of rangesGoingOn(q, lists))
    await sql`
      insert into "stockListRows" (${sql.join(into)}, "saidAt")
      select ${sql.join(copied)}, coalesce(c."saidAt", ${saidAt})
        ${goingOn(lists)} and ${within(sql`c."sku"`, range)}`.execute(q);
}

/** Notes when rows that go on counting were last said, where that is longer ago than the list is said to be true. */
export async function markSaid(q: Queries, lists: Successor, saidAt: string): Promise<void> {
  for await (const range of rangesGoingOn(q, lists))
    await sql`
      update "stockListRows" set "saidAt" = ${saidAt}
      where "listId" = ${lists.before} and "saidAt" is null and ${within(sql`"sku"`, range)}
        and ${rejectedOnly(sql`"stockListRows"."sku"`, lists.arrived)}`.execute(q);
}
