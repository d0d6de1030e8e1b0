import type { Kysely } from "kysely";
import { columnTypes, type Dialect, type Step } from "./types.ts";

/** Whether a driver lets what their cars will need count in the shelf's plan: nobody does unless they say so. */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { integer } = columnTypes(dialect);
  await db.schema
    .alterTable("drivers")
    .addColumn("sharesDemand", integer, (c) => c.notNull().defaultTo(0))
    .execute();
}

export const sharedDemand: Step = { name: "0003-shared-demand", up };
