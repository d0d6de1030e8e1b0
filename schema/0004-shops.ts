import { type Kysely, sql } from "kysely";
import { columnTypes, createTable, type Dialect, type Step } from "./types.ts";

/**
 * Shops, the stock lists they publish, and what drivers ask them to hold. The rows of a list are written under the
 * list's id while it arrives; a shop's feed names the list that counts, so that a list takes effect in one update and
 * never by halves.
 */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { text, integer } = columnTypes(dialect);
  const owned = (name: string) =>
    createTable(db, dialect, name)
      .addColumn("id", text, (c) => c.primaryKey().notNull())
      .addColumn("clubId", text, (c) => c.notNull().references("clubs.id"));

  await owned("shops")
    .addColumn("name", text, (c) => c.notNull())
    .addColumn("currency", text, (c) => c.notNull())
    .addColumn("locationId", text, (c) => c.references("locations.id"))
    .addColumn("pullUrl", text)
    .addColumn("pullEveryMinutes", integer)
    .addColumn("pullMode", text, (c) => c.notNull())
    .addColumn("columns", text)
    .addColumn("encoding", text, (c) => c.notNull())
    .addColumn("decimal", text, (c) => c.notNull())
    .addColumn("separator", text, (c) => c.notNull())
    .addColumn("notes", text)
    .addColumn("createdAt", text, (c) => c.notNull())
    .addColumn("version", integer, (c) => c.notNull())
    .addUniqueConstraint("shopsUnique1", ["clubId", "name"])
    .addCheckConstraint("shopsCheck1", sql`"pullMode" in ('full', 'changes')`)
    .addCheckConstraint("shopsCheck2", sql`"pullEveryMinutes" >= 5`)
    .execute();

  await owned("stockLists")
    .addColumn("shopId", text, (c) => c.notNull().references("shops.id"))
    .addColumn("arrivedAt", text, (c) => c.notNull())
    .addColumn("way", text, (c) => c.notNull())
    .addColumn("mode", text, (c) => c.notNull())
    .addColumn("outcome", text, (c) => c.notNull())
    .addColumn("bytes", integer, (c) => c.notNull())
    .addColumn("rowsRead", integer, (c) => c.notNull())
    .addColumn("rejected", integer, (c) => c.notNull())
    .addColumn("added", integer, (c) => c.notNull())
    .addColumn("changed", integer, (c) => c.notNull())
    .addColumn("gone", integer, (c) => c.notNull())
    .addColumn("reason", text)
    .addCheckConstraint("stockListsCheck1", sql`"way" in ('push', 'pull') and "mode" in ('full', 'changes')`)
    .addCheckConstraint(
      "stockListsCheck2",
      sql`"outcome" in ('arriving', 'kept', 'kept-partly', 'refused', 'failed')`,
    )
    .execute();
  await db.schema.createIndex("stockListsByShop").on("stockLists").columns(["shopId", "arrivedAt"]).execute();

  const rows = createTable(db, dialect, "stockListRows")
    .addColumn("listId", text, (c) => c.notNull().references("stockLists.id"))
    .addColumn("sku", text, (c) => c.notNull())
    .addColumn("rowNo", integer, (c) => c.notNull())
    .addColumn("name", text)
    .addColumn("gtin", text)
    .addColumn("mpn", text)
    .addColumn("onHand", integer)
    .addColumn("priceMinorUnits", integer)
    .addColumn("availability", text)
    .addColumn("leadTimeLeastDays", integer)
    .addColumn("leadTimeMostDays", integer)
    .addColumn("minimumOrder", integer)
    .addColumn("lineId", text, (c) => c.references("lines.id"))
    .addColumn("matchedBy", text)
    .addPrimaryKeyConstraint("stockListRowsKey", ["listId", "sku"])
    .addCheckConstraint("stockListRowsCheck1", sql`"onHand" >= 0 and "priceMinorUnits" >= 0`)
    .addCheckConstraint(
      "stockListRowsCheck2",
      sql`"matchedBy" in ('gtin', 'sku', 'mpn', 'confirmed') or ("matchedBy" = 'none' and "lineId" is null)`,
    );
  // Rows are looked up by list and SKU only: without a rowid they are written once and not twice.
  await (dialect === "sqlite" ? rows.modifyEnd(sql`, without rowid`) : rows).execute();
  await sql
    .raw(
      'create index "stockListRowsByLine" on "stockListRows" ("listId", "lineId") where "lineId" is not null',
    )
    .execute(db);

  await owned("shopFeeds")
    .addColumn("listId", text, (c) => c.references("stockLists.id"))
    .addColumn("listedAt", text)
    .addColumn("rows", integer, (c) => c.notNull())
    .addColumn("matched", integer, (c) => c.notNull())
    .addColumn("unmatched", integer, (c) => c.notNull())
    .addColumn("digest", text)
    .addColumn("catalogueMark", text)
    .addColumn("etag", text)
    .addColumn("lastModified", text)
    .addColumn("pulledAt", text)
    .addColumn("failures", integer, (c) => c.notNull())
    .addColumn("failedAt", text)
    .addColumn("failedFor", text)
    .addColumn("nextPullAt", text)
    .execute();

  await owned("shopMatches")
    .addColumn("shopId", text, (c) => c.notNull().references("shops.id"))
    .addColumn("shopSku", text, (c) => c.notNull())
    .addColumn("lineId", text, (c) => c.references("lines.id"))
    .addColumn("confirmedAt", text, (c) => c.notNull())
    .addUniqueConstraint("shopMatchesUnique1", ["shopId", "shopSku"])
    .execute();

  await owned("reservations")
    .addColumn("shopId", text, (c) => c.notNull().references("shops.id"))
    .addColumn("lineId", text, (c) => c.notNull().references("lines.id"))
    .addColumn("driverId", text, (c) => c.notNull().references("drivers.id"))
    .addColumn("pieces", integer, (c) => c.notNull())
    .addColumn("forDay", text, (c) => c.notNull())
    .addColumn("meetingId", text, (c) => c.references("meetings.id"))
    .addColumn("notes", text)
    .addColumn("state", text, (c) => c.notNull())
    .addColumn("answer", text)
    .addColumn("answeredAt", text)
    .addColumn("createdAt", text, (c) => c.notNull())
    .addColumn("version", integer, (c) => c.notNull())
    .addCheckConstraint("reservationsCheck1", sql`"pieces" >= 1`)
    .addCheckConstraint("reservationsCheck2", sql`"state" in ('asked', 'confirmed', 'refused', 'withdrawn')`)
    .execute();
  await db.schema
    .createIndex("reservationsByShop")
    .on("reservations")
    .columns(["shopId", "forDay"])
    .execute();
}

export const shops: Step = { name: "0004-shops", up };
