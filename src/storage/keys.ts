import { createHash, randomBytes } from "node:crypto";
import type { Actor } from "../domain/access.ts";
import type { Queries } from "./database.ts";
import type { KeyRow } from "./tables.ts";

/** What is stored of a secret that cannot be guessed. */
export const hashOf = (key: string): string => createHash("sha256").update(key).digest("hex");

/** A new key of 256 random bits. It is shown once; only its SHA-256 is stored (no salt needed: it cannot be guessed). */
export const makeKey = (): string => `ws_${randomBytes(32).toString("base64url")}`;

export async function insertKey(
  q: Queries,
  key: string,
  row: Omit<KeyRow, "hash" | "revokedAt">,
): Promise<void> {
  await q
    .insertInto("keys")
    .values({ ...row, hash: hashOf(key), revokedAt: null })
    .execute();
}

/** Who holds this key, or undefined where it is unknown or revoked. */
export async function selectActor(q: Queries, key: string): Promise<Actor | undefined> {
  return q
    .selectFrom("keys")
    .select(["clubId", "id as keyId", "name", "role", "driverId"])
    .where("hash", "=", hashOf(key))
    .where("revokedAt", "is", null)
    .executeTakeFirst();
}

/** Every key of every club, without its secret, oldest first. */
export const allKeys = (q: Queries): Promise<Omit<KeyRow, "hash">[]> =>
  q
    .selectFrom("keys")
    .select(["id", "clubId", "name", "role", "driverId", "createdAt", "revokedAt"])
    .orderBy("createdAt")
    .orderBy("id")
    .execute();

/** Ends a key from now on. @returns whether there was such a key that still held */
export async function revokeKey(q: Queries, id: string, at: string): Promise<boolean> {
  const { numUpdatedRows } = await q
    .updateTable("keys")
    .set({ revokedAt: at })
    .where("id", "=", id)
    .where("revokedAt", "is", null)
    .executeTakeFirstOrThrow();
  return numUpdatedRows > 0n;
}
