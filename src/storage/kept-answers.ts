import type { Queries } from "./database.ts";
import type { KeptAnswerRow } from "./tables.ts";

/** Whose request an answer belongs to: the same key of the club, method, path and Idempotency-Key. */
export type KeptFor = Pick<KeptAnswerRow, "keyId" | "method" | "path" | "idempotencyKey">;

export const selectKeptAnswer = (q: Queries, of: KeptFor): Promise<KeptAnswerRow | undefined> =>
  q
    .selectFrom("keptAnswers")
    .selectAll()
    .where("keyId", "=", of.keyId)
    .where("method", "=", of.method)
    .where("path", "=", of.path)
    .where("idempotencyKey", "=", of.idempotencyKey)
    .executeTakeFirst();

/** Keeps an answer. A second one for the same request breaks the unique key, and with it its transaction. */
export async function insertKeptAnswer(q: Queries, row: KeptAnswerRow): Promise<void> {
  await q.insertInto("keptAnswers").values(row).execute();
}

/** Forgets the answers that were given before a moment. */
export async function deleteKeptAnswers(q: Queries, before: string): Promise<void> {
  await q.deleteFrom("keptAnswers").where("answeredAt", "<", before).execute();
}
