import type { Kysely } from "kysely";
import { columnTypes, createTable, type Dialect, type Step } from "./types.ts";

/**
 * The feed of changes, how far each of its readers came, and which thresholds are crossed now.
 *
 * Positions rise by one for each change of a club and are given in the transaction of the change. SQLite lets one
 * transaction write at a time, so that positions become visible in their order. PostgreSQL would need a lock for each
 * club before a position is taken (`select … from clubs where id = … for update`): without it a reader could pass a
 * position that becomes visible later.
 */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { text, integer } = columnTypes(dialect);
  await createTable(db, dialect, "changes")
    .addColumn("clubId", text, (c) => c.notNull().references("clubs.id"))
    .addColumn("position", integer, (c) => c.notNull())
    .addColumn("at", text, (c) => c.notNull())
    .addColumn("type", text, (c) => c.notNull())
    .addColumn("subjectKind", text, (c) => c.notNull())
    .addColumn("subjectId", text, (c) => c.notNull())
    .addColumn("audience", text, (c) => c.notNull())
    .addColumn("driverId", text, (c) => c.references("drivers.id"))
    .addColumn("by", text)
    .addColumn("data", text, (c) => c.notNull())
    .addPrimaryKeyConstraint("changesPrimary", ["clubId", "position"])
    .execute();
  await createTable(db, dialect, "changeReaders")
    .addColumn("clubId", text, (c) => c.notNull().references("clubs.id"))
    .addColumn("name", text, (c) => c.notNull())
    .addColumn("position", integer, (c) => c.notNull())
    .addPrimaryKeyConstraint("changeReadersPrimary", ["clubId", "name"])
    .execute();
  await createTable(db, dialect, "crossings")
    .addColumn("clubId", text, (c) => c.notNull().references("clubs.id"))
    .addColumn("subjectKind", text, (c) => c.notNull())
    .addColumn("subjectId", text, (c) => c.notNull())
    .addColumn("driverId", text, (c) => c.notNull())
    .addColumn("at", text, (c) => c.notNull())
    .addPrimaryKeyConstraint("crossingsPrimary", ["clubId", "subjectKind", "subjectId", "driverId"])
    .execute();
}

export const changes: Step = { name: "0005-changes", up };
