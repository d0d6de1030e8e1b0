import { type Kysely, sql } from "kysely";

export type Dialect = "sqlite" | "postgres";

/**
 * Column types that mean the same in both dialects. PostgreSQL's `real` has 4 bytes and SQLite's strict tables
 * know no `double precision`, so neither name serves both.
 */
export const columnTypes = (dialect: Dialect) =>
  ({
    text: "text",
    integer: dialect === "sqlite" ? "integer" : "bigint",
    real: dialect === "sqlite" ? "real" : "double precision",
  }) as const;

/** Starts a table; in SQLite a strict one, so that a text in a number column is an error there too. */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
export const createTable = (db: Kysely<any>, dialect: Dialect, name: string) =>
  dialect === "sqlite" ? db.schema.createTable(name).modifyEnd(sql`strict`) : db.schema.createTable(name);

export interface Step {
  name: string;
  // biome-ignore lint/suspicious/noExplicitAny: as above
  up: (db: Kysely<any>, dialect: Dialect) => Promise<void>;
}
