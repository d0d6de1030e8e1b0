import type { Kysely } from "kysely";
import { columnTypes, createTable, type Dialect, type Step } from "./types.ts";

/**
 * Answers to requests that carried an Idempotency-Key: a repeat of the request is answered from here. A row is
 * written in the transaction of what the request did, and goes a day later.
 */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { text, integer } = columnTypes(dialect);
  await createTable(db, dialect, "keptAnswers")
    .addColumn("id", text, (c) => c.primaryKey().notNull())
    .addColumn("clubId", text, (c) => c.notNull().references("clubs.id"))
    .addColumn("keyId", text, (c) => c.notNull().references("keys.id"))
    .addColumn("method", text, (c) => c.notNull())
    .addColumn("path", text, (c) => c.notNull())
    .addColumn("idempotencyKey", text, (c) => c.notNull())
    .addColumn("fingerprint", text, (c) => c.notNull())
    .addColumn("status", integer, (c) => c.notNull())
    .addColumn("headers", text, (c) => c.notNull())
    .addColumn("body", text)
    .addColumn("answeredAt", text, (c) => c.notNull())
    .addUniqueConstraint("keptAnswersUnique1", ["keyId", "method", "path", "idempotencyKey"])
    .execute();
  await db.schema.createIndex("keptAnswersByTime").on("keptAnswers").column("answeredAt").execute();
}

export const keptAnswers: Step = { name: "0002-kept-answers", up };
