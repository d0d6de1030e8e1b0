import { createHmac, randomBytes } from "node:crypto";
import type { Actor } from "../domain/access.ts";
import type { Queries } from "./database.ts";
import { hashOf } from "./keys.ts";
import type { Page, PageRequest } from "./records.ts";
import type { CalendarFeedRow } from "./tables.ts";

/** A feed as it can be shown: its address is known to its maker alone. */
export type ShownFeed = Omit<CalendarFeedRow, "hash">;

const shown = ["id", "clubId", "keyId", "name", "daysAhead", "createdAt"] as const;

/** A new token of 256 random bits: all that guards an address, which is sent without a key. */
export const makeFeedToken = (): string => `cal_${randomBytes(32).toString("base64url")}`;

/**
 * The token of a request that names itself: the same again for the same request of the same key of the club, so that nothing secret has
 * to be kept, and nobody without that key can tell it.
 *
 * @param secret the key of the club, as it was sent
 */
export const feedTokenOf = (secret: string, request: string): string =>
  `cal_${createHmac("sha256", secret).update(`calendar feed ${request}`).digest("base64url")}`;

/** Keeps a feed under the hash of its token. */
export async function insertCalendarFeed(q: Queries, token: string, row: ShownFeed): Promise<void> {
  await q
    .insertInto("calendarFeeds")
    .values({ ...row, hash: hashOf(token) })
    .execute();
}

/** The feed of a token and the holder of the key that made it, or undefined where either is gone or the key revoked. */
export async function selectFeedOf(
  q: Queries,
  token: string,
): Promise<{ id: string; actor: Actor; name: string; daysAhead: number } | undefined> {
  const row = await q
    .selectFrom("calendarFeeds")
    .innerJoin("keys", "keys.id", "calendarFeeds.keyId")
    .select([
      ...(["keys.clubId", "keys.id as keyId", "keys.name as keyName", "keys.role", "keys.driverId"] as const),
      ...(["calendarFeeds.id", "calendarFeeds.name", "calendarFeeds.daysAhead"] as const),
    ])
    .where("calendarFeeds.hash", "=", hashOf(token))
    .where("keys.revokedAt", "is", null)
    .executeTakeFirst();
  if (row === undefined) return undefined;
  const { id, name, daysAhead, keyName, ...actor } = row;
  return { id, actor: { ...actor, name: keyName }, name, daysAhead };
}

/** The feed of a token, whoever made it. */
export const selectFeedBy = (q: Queries, token: string): Promise<ShownFeed | undefined> =>
  q.selectFrom("calendarFeeds").select(shown).where("hash", "=", hashOf(token)).executeTakeFirst();

/** Feeds of one key, or of every key of the club, the oldest first. */
export async function pageOfFeeds(
  q: Queries,
  clubId: string,
  keyId: string | null,
  { limit, after }: PageRequest,
): Promise<Page<ShownFeed>> {
  const rows = await q
    .selectFrom("calendarFeeds")
    .select(shown)
    .where("clubId", "=", clubId)
    .$if(keyId !== null, (s) => s.where("keyId", "=", keyId!))
    .$if(after !== null, (s) =>
      s.where((e) =>
        e.or([
          e("createdAt", ">", String(after!.key)),
          e.and([e("createdAt", "=", String(after!.key)), e("id", ">", after!.id)]),
        ]),
      ),
    )
    .orderBy("createdAt")
    .orderBy("id")
    .limit(limit + 1)
    .execute();
  const items = rows.slice(0, limit);
  const last = items.at(-1);
  const next = rows.length > limit && last !== undefined ? { key: last.createdAt, id: last.id } : null;
  return { items, next };
}

/** Ends a feed, of one key or of any of the club; says whether there was one. */
export async function deleteFeed(
  q: Queries,
  clubId: string,
  keyId: string | null,
  id: string,
): Promise<boolean> {
  const { numDeletedRows } = await q
    .deleteFrom("calendarFeeds")
    .where("clubId", "=", clubId)
    .where("id", "=", id)
    .$if(keyId !== null, (s) => s.where("keyId", "=", keyId!))
    .executeTakeFirst();
  return numDeletedRows > 0n;
}
