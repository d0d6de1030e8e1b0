import Database from "better-sqlite3";
import {
  CompiledQuery,
  type DatabaseConnection,
  Kysely,
  SqliteAdapter,
  type SqliteDatabase,
  SqliteDialect,
  SqliteDriver,
} from "kysely";

/**
 * Everything that is SQLite's alone: how it is opened, how it locks, and how its errors are told apart.
 * Three departures from Kysely's own dialect, each for a measured reason:
 * - A transaction takes the write lock at BEGIN; a plain BEGIN that reads and then writes fails with
 *   SQLITE_BUSY_SNAPSHOT if another connection wrote in between, and no time-out helps.
 * - Schema changes are transactional, so that a failing migration leaves nothing behind.
 * - Prepared statements are kept; preparing on every call made a read by key 1.6 times as slow.
 */
class ImmediateDriver extends SqliteDriver {
  override async beginTransaction(connection: DatabaseConnection): Promise<void> {
    await connection.executeQuery(CompiledQuery.raw("begin immediate"));
  }
}

class TransactionalDdlAdapter extends SqliteAdapter {
  override get supportsTransactionalDdl(): boolean {
    return true;
  }
}

class LedgerSqliteDialect extends SqliteDialect {
  readonly #database: SqliteDatabase;
  constructor(database: SqliteDatabase) {
    super({ database });
    this.#database = database;
  }
  override createDriver(): SqliteDriver {
    return new ImmediateDriver({ database: this.#database });
  }
  override createAdapter(): SqliteAdapter {
    return new TransactionalDdlAdapter();
  }
}

/** Statements are few; the limit only guards against SQL with varying text, such as lists of parameters. */
const statementsKept = 500;

function keepStatements(raw: Database.Database): SqliteDatabase {
  const kept = new Map<string, Database.Statement>();
  return {
    close: () => {
      raw.pragma("optimize");
      raw.close();
    },
    prepare(sql) {
      let statement = kept.get(sql);
      if (statement === undefined) {
        statement = raw.prepare(sql);
        if (kept.size >= statementsKept) kept.delete(kept.keys().next().value as string);
        kept.set(sql, statement);
      }
      return statement as never;
    },
  };
}

/** Opens one file (or ":memory:") with foreign keys on and a write-ahead log that survives a loss of power. */
export function openSqlite<DB>(file: string): Kysely<DB> {
  const raw = new Database(file);
  raw.pragma("journal_mode = wal");
  // In WAL mode SQLite's own default here is NORMAL, which may lose the last commits when the power fails.
  raw.pragma("synchronous = full");
  // With half of the 16,000 KiB that the library takes a long list is kept as fast: the system has the file's pages too.
  raw.pragma("cache_size = -8000");
  raw.pragma("temp.cache_size = -2000");
  raw.pragma("foreign_keys = on");
  raw.pragma("busy_timeout = 5000");
  raw.pragma("trusted_schema = off");
  return new Kysely<DB>({ dialect: new LedgerSqliteDialect(keepStatements(raw)) });
}

/** The constraint that an error of this dialect speaks of, or null where it is another sort of error. */
export function sqliteConstraint(error: unknown): "unique" | "reference" | "check" | null {
  const code = error instanceof Error && "code" in error ? String(error.code) : "";
  if (code === "SQLITE_CONSTRAINT_UNIQUE" || code === "SQLITE_CONSTRAINT_PRIMARYKEY") return "unique";
  if (code === "SQLITE_CONSTRAINT_FOREIGNKEY") return "reference";
  if (code === "SQLITE_CONSTRAINT_CHECK") return "check";
  return null;
}
