import type { Kysely } from "kysely";
import { columnTypes, createTable, type Dialect, type Step } from "./types.ts";

/**
 * Addresses under which a calendar can be subscribed to. Whoever has an address reads the calendar as the key would
 * that made it, for as long as that key holds; only a hash of the address is kept.
 */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { text, integer } = columnTypes(dialect);
  await createTable(db, dialect, "calendarFeeds")
    .addColumn("id", text, (c) => c.primaryKey().notNull())
    .addColumn("clubId", text, (c) => c.notNull().references("clubs.id"))
    .addColumn("keyId", text, (c) => c.notNull().references("keys.id"))
    .addColumn("name", text, (c) => c.notNull())
    .addColumn("daysAhead", integer, (c) => c.notNull())
    .addColumn("hash", text, (c) => c.notNull().unique())
    .addColumn("createdAt", text, (c) => c.notNull())
    .execute();
  await db.schema
    .createIndex("calendarFeedsByKey")
    .on("calendarFeeds")
    .columns(["clubId", "keyId"])
    .execute();
}

export const calendarFeeds: Step = { name: "0006-calendar-feeds", up };
