import type { Kysely } from "kysely";
import { columnTypes, type Dialect, type Step } from "./types.ts";

/** When a row of a shop's list was last said, where that is longer ago than the list: its newer row was wrong. */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { text } = columnTypes(dialect);
  await db.schema.alterTable("stockListRows").addColumn("saidAt", text).execute();
}

export const rowsKept: Step = { name: "0008-rows-kept", up };
