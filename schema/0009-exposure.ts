import type { Kysely } from "kysely";
import { columnTypes, type Dialect, type Step } from "./types.ts";

/** Counts what changes the runs of a line's pieces: what was learned of breakages with another number is out of date. */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { integer } = columnTypes(dialect);
  await db.schema
    .alterTable("lines")
    .addColumn("exposure", integer, (column) => column.notNull().defaultTo(0))
    .execute();
}

export const exposure: Step = { name: "0009-exposure", up };
