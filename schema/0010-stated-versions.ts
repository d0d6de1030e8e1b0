import type { Kysely } from "kysely";
import { columnTypes, type Dialect, type Step } from "./types.ts";

/** What is stated of a car at a meeting, and of an article of a shop, counts its changes, as all that is edited does. */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { integer } = columnTypes(dialect);
  for (const table of ["entries", "shopMatches"])
    await db.schema
      .alterTable(table)
      .addColumn("version", integer, (column) => column.notNull().defaultTo(1))
      .execute();
}

export const statedVersions: Step = { name: "0010-stated-versions", up };
