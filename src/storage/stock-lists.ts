import { sql } from "kysely";
import type { Queries } from "./database.ts";
import { cutPage, type Page, type PageRequest } from "./records.ts";
import type { ListedRow, ShopFeedRow, ShopMatchRow, StockListRow } from "./tables.ts";

/** The rows of shops' stock lists. Each row belongs to a list; a shop's feed says which list counts. */

/** What a row has when it arrives. */
export const columns = [
  "listId",
  "sku",
  "rowNo",
  "name",
  "gtin",
  "mpn",
  "onHand",
  "priceMinorUnits",
  "availability",
  "leadTimeLeastDays",
  "leadTimeMostDays",
  "minimumOrder",
  "lineId",
  "matchedBy",
] as const satisfies readonly (keyof ListedRow)[];
/** What a shop says of a thing: a difference in one of these is a change. */
const said = [
  "name",
  "gtin",
  "mpn",
  "onHand",
  "priceMinorUnits",
  "availability",
  "leadTimeLeastDays",
  "leadTimeMostDays",
  "minimumOrder",
] as const;

/** Values of one list in a condition. */
const listed = 5000;

/** Rows of a list by SKU, or those of some lines. */
export async function selectListed(
  q: Queries,
  listId: string,
  of: { skus: readonly string[] } | { lineIds: readonly string[] },
): Promise<ListedRow[]> {
  const [column, values] = "skus" in of ? (["sku", of.skus] as const) : (["lineId", of.lineIds] as const);
  const found: ListedRow[] = [];
  for (let i = 0; i < values.length; i += listed)
    found.push(
      ...(await q
        .selectFrom("stockListRows")
        .selectAll()
        .where("listId", "=", listId)
        .where(column, "in", values.slice(i, i + listed))
        .orderBy("sku")
        .execute()),
    );
  return found;
}

/** A page of a list in the order of SKUs: all of it, or what nobody has matched with a line yet. */
export async function pageOfListed(
  q: Queries,
  listId: string,
  { limit, after }: PageRequest,
  only: { unmatched?: boolean; lineId?: string | undefined } = {},
): Promise<Page<ListedRow>> {
  const rows = await q
    .selectFrom("stockListRows")
    .selectAll()
    .where("listId", "=", listId)
    .$if(only.unmatched === true, (s) => s.where("matchedBy", "is", null))
    .$if(only.lineId !== undefined, (s) => s.where("lineId", "=", only.lineId!))
    .$if(after !== null, (s) => s.where("sku", ">", after!.id))
    .orderBy("sku")
    .limit(limit + 1)
    .execute();
  return cutPage(rows, limit, (last) => ({ key: last.sku, id: last.sku }));
}

const differs = (a: string, b: string) =>
  sql<boolean>`(${sql.join(
    said.map((column) => sql`${sql.ref(`${a}.${column}`)} is distinct from ${sql.ref(`${b}.${column}`)}`),
    sql` or `,
  )})`;
/** In a list of changes, what is not given stays as it was. */
const saysOther = (a: string, b: string) =>
  sql<boolean>`(${sql.join(
    said.map(
      (column) =>
        sql`(${sql.ref(`${a}.${column}`)} is not null and ${sql.ref(`${a}.${column}`)} is distinct from ${sql.ref(`${b}.${column}`)})`,
    ),
    sql` or `,
  )})`;

/**
 * How a list that has arrived differs from the one that counts, each with the number of its rows. What the list that
 * counts has and the other has not is the rest of a single join.
 */
export async function compareLists(
  q: Queries,
  arrived: { id: string; rows: number },
  counts: { id: string; rows: number } | null,
  mode: "full" | "changes",
): Promise<{ added: number; changed: number; gone: number }> {
  if (counts === null) return { added: arrived.rows, changed: 0, gone: 0 };
  const paired = (from: string, to: string) =>
    q
      .selectFrom("stockListRows as a")
      .where("a.listId", "=", from)
      .leftJoin("stockListRows as b", (join) => join.on("b.listId", "=", to).onRef("b.sku", "=", "a.sku"))
      .select((e) => [
        e.fn.countAll<number>().filterWhere("b.sku", "is", null).as("alone"),
        e.fn
          .countAll<number>()
          .filterWhere(
            sql<boolean>`b.sku is not null and ${(mode === "full" ? differs : saysOther)("a", "b")}`,
          )
          .as("other"),
      ])
      .executeTakeFirstOrThrow();
  const { alone, other } = await paired(arrived.id, counts.id);
  const added = Number(alone);
  const gone = mode === "full" ? counts.rows - (arrived.rows - added) : 0;
  return { added, changed: Number(other), gone };
}

/** Puts a list of changes into the list that counts; what a change does not say stays. */
export async function mergeChanges(q: Queries, changes: string, counts: string): Promise<void> {
  const others = columns.filter((column) => column !== "listId");
  await q
    .insertInto("stockListRows")
    .columns([...columns])
    .expression((e) =>
      e
        .selectFrom("stockListRows as c")
        .select([
          sql<string>`${counts}`.as("listId"),
          ...others.map((column) => sql`${sql.ref(`c.${column}`)}`.as(column)),
        ] as never)
        // SQLite needs the condition to tell "on conflict" from a join.
        .where("c.listId", "=", changes),
    )
    .onConflict((on) =>
      on.columns(["listId", "sku"]).doUpdateSet(
        Object.fromEntries([
          ...said.map((column) => [
            column,
            sql`coalesce(${sql.ref(`excluded.${column}`)}, ${sql.ref(`stockListRows.${column}`)})`,
          ]),
          // What speaks of a row says that the rest of it still is so.
          ["saidAt", null],
        ]) as never,
      ),
    )
    .execute();
}

/** Removes the rows of a list; the note that it arrived stays. */
export async function deleteListed(q: Queries, listId: string): Promise<void> {
  await q.deleteFrom("stockListRows").where("listId", "=", listId).execute();
}

/** How many rows a list has, and how many of them are lines of the club, no line of it, or not known yet. */
export async function countListed(q: Queries, listId: string) {
  const { rows, matched, unmatched } = await q
    .selectFrom("stockListRows")
    .select((e) => [
      e.fn.countAll<number>().as("rows"),
      e.fn.count<number>("lineId").as("matched"),
      e.fn.countAll<number>().filterWhere("matchedBy", "is", null).as("unmatched"),
    ])
    .where("listId", "=", listId)
    .executeTakeFirstOrThrow();
  return { rows: Number(rows), matched: Number(matched), unmatched: Number(unmatched) };
}

export type MatchColumns = Pick<ListedRow, "sku" | "gtin" | "mpn" | "lineId" | "matchedBy">;

/** What the matching of rows rests on, some thousand at a time. */
export async function* matchedRows(q: Queries, listId: string): AsyncGenerator<MatchColumns[]> {
  let after = "";
  for (;;) {
    const rows = await q
      .selectFrom("stockListRows")
      .select(["sku", "gtin", "mpn", "lineId", "matchedBy"])
      .where("listId", "=", listId)
      .where("sku", ">", after)
      .orderBy("sku")
      .limit(listed)
      .execute();
    if (rows.length > 0) yield rows;
    if (rows.length < listed) return;
    after = rows.at(-1)!.sku;
  }
}

export async function updateMatch(
  q: Queries,
  listId: string,
  { sku, lineId, matchedBy }: Pick<ListedRow, "sku" | "lineId" | "matchedBy">,
): Promise<void> {
  await q
    .updateTable("stockListRows")
    .set({ lineId, matchedBy })
    .where("listId", "=", listId)
    .where("sku", "=", sku)
    .execute();
}

/** Changes what is known of a shop's list. */
export async function updateFeed(q: Queries, shopId: string, changes: Partial<ShopFeedRow>): Promise<void> {
  await q.updateTable("shopFeeds").set(changes).where("id", "=", shopId).execute();
}

/** Changes the note of an arrival. */
export async function updateStockList(q: Queries, id: string, changes: Partial<StockListRow>): Promise<void> {
  await q.updateTable("stockLists").set(changes).where("id", "=", id).execute();
}

/**
 * Removes what arrivals left behind that never ended (the process stopped): their rows, and with `keep` notes of
 * arrivals beyond the newest.
 */
export async function sweepArrivals(q: Queries, shopId: string, before: string, keep: number): Promise<void> {
  const ended = q
    .selectFrom("stockLists")
    .select("id")
    .where("shopId", "=", shopId)
    .where("outcome", "=", "arriving")
    .where("arrivedAt", "<", before);
  await q.deleteFrom("stockListRows").where("listId", "in", ended).execute();
  await q
    .updateTable("stockLists")
    .set({ outcome: "failed", reason: "The service stopped while the list arrived" })
    .where("id", "in", ended)
    .execute();
  const old = await q
    .selectFrom("stockLists")
    .select("id")
    .where("shopId", "=", shopId)
    .where("outcome", "<>", "arriving")
    .where(
      "id",
      "not in",
      q.selectFrom("shopFeeds").select("listId").where("listId", "is not", null) as never,
    )
    .orderBy("arrivedAt", "desc")
    .orderBy("id", "desc")
    .limit(1000)
    .offset(keep)
    .execute();
  if (old.length === 0) return;
  const ids = old.map(({ id }) => id);
  await q.deleteFrom("rejectedRows").where("listId", "in", ids).execute();
  await q.deleteFrom("stockLists").where("id", "in", ids).execute();
}

/** The shops of every club whose list is to be fetched by now. */
export const selectDuePulls = (q: Queries, now: string) =>
  q
    .selectFrom("shops")
    .innerJoin("shopFeeds", "shopFeeds.id", "shops.id")
    .select(["shops.id", "shops.clubId", "shops.pullMode"])
    .where("pullUrl", "is not", null)
    .where("pullEveryMinutes", "is not", null)
    .where((e) => e.or([e("nextPullAt", "is", null), e("nextPullAt", "<=", now)]))
    .orderBy("shops.id")
    .execute();

/** Changes whenever a line of the club is added, changed or removed. */
export async function catalogueMark(q: Queries, clubId: string): Promise<string> {
  const { lines, versions } = await q
    .selectFrom("lines")
    .select((e) => [e.fn.countAll<number>().as("lines"), e.fn.sum<number>("version").as("versions")])
    .where("clubId", "=", clubId)
    .executeTakeFirstOrThrow();
  return `${lines}/${versions ?? 0}`;
}

/** Of each line, the pieces that shops hold for drivers from a day on: in all, and for one driver. */
export async function selectHeld(q: Queries, clubId: string, fromDay: string) {
  const rows = await q
    .selectFrom("reservations")
    .select((e) => ["shopId", "lineId", "driverId", e.fn.sum<number>("pieces").as("pieces")])
    .where("clubId", "=", clubId)
    .where("state", "=", "confirmed")
    .where("forDay", ">=", fromDay)
    .groupBy(["shopId", "lineId", "driverId"])
    .execute();
  return rows.map((row) => ({ ...row, pieces: Number(row.pieces) }));
}

/** Keeps what a person said that a thing on a shop's list is; a later word replaces an earlier one. */
export async function upsertMatch(q: Queries, row: ShopMatchRow): Promise<void> {
  const { lineId, confirmedAt } = row;
  await q
    .insertInto("shopMatches")
    .values(row)
    .onConflict((on) =>
      on
        .columns(["shopId", "shopSku"])
        .doUpdateSet((e) => ({ lineId, confirmedAt, version: e("shopMatches.version", "+", 1) })),
    )
    .execute();
}
