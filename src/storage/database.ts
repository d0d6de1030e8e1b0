import type { Kysely, Migration, MigrationProvider, Transaction } from "kysely";
import { Migrator } from "kysely";
import { type Dialect, steps } from "../../schema/index.ts";
import { openSqlite, sqliteConstraint } from "./sqlite.ts";
import type { Tables } from "./tables.ts";

export type Db = Kysely<Tables>;
export type Trx = Transaction<Tables>;
/** A query runs in a transaction or outside one; only services open transactions. */
export type Queries = Db | Trx;

const migrationsFor = (dialect: Dialect): MigrationProvider => ({
  getMigrations: async () =>
    Object.fromEntries(
      steps.map(({ name, up }): [string, Migration] => [name, { up: (db) => up(db, dialect) }]),
    ),
});

/**
 * Opens the database that `url` names and brings its schema up to date.
 *
 * @param url `file:PATH` or `file::memory:`
 * @throws {Error} if the URL names another sort of database, or a migration fails (nothing of it is kept)
 */
export async function openDatabase(url: string): Promise<Db> {
  if (!url.startsWith("file:"))
    throw new Error(`DATABASE_URL must start with "file:", such as file:data/club.db, but is "${url}"`);
  const db = openSqlite<Tables>(url.slice("file:".length));
  const { error } = await new Migrator({ db, provider: migrationsFor("sqlite") }).migrateToLatest();
  if (error !== undefined) throw error instanceof Error ? error : new Error(`Migration failed: ${error}`);
  return db;
}

/** The constraint that a database error speaks of, or null: the one place that knows the dialects' error codes. */
export const brokenConstraint = (error: unknown): "unique" | "reference" | "check" | null =>
  sqliteConstraint(error);
