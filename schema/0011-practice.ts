import type { Kysely } from "kysely";
import { columnTypes, type Dialect, type Step } from "./types.ts";

/** Part-worn sets are kept for practice, and a meeting says how many of its runs are practice. */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { integer, text } = columnTypes(dialect);
  await db.schema.alterTable("meetings").addColumn("practiceRuns", integer).execute();
  await db.schema.alterTable("pieces").addColumn("keptFor", text).execute();
}

export const practice: Step = { name: "0011-practice", up };
