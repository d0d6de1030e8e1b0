import type { Kysely } from "kysely";
import { columnTypes, type Dialect, type Step } from "./types.ts";

/** What a piece of a line weighs, in grams: the box for the pits is packed by it. */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { real } = columnTypes(dialect);
  await db.schema.alterTable("lines").addColumn("weightGrams", real).execute();
}

export const weights: Step = { name: "0007-weights", up };
