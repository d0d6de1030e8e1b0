import type { Context } from "hono";
import { type Need, reachOf } from "../domain/access.ts";
import { DomainError } from "../domain/errors.ts";
import type { Db } from "../storage/database.ts";
import { selectFeedOf } from "../storage/calendar-feeds.ts";
import { selectActor } from "../storage/keys.ts";
import type { AppEnv } from "./operation.ts";
import { FormError } from "./problem.ts";
import { type Allowance, RateLimit } from "./rate-limit.ts";

const challenge = (error?: string) => ({
  "www-authenticate": `Bearer realm="wear-and-spares"${error === undefined ? "" : `, error="${error}"`}`,
});

/** How often a minute a calendar may be asked for by its address: programs that subscribe ask a few times a day. */
const feedsPerMinute = 60;

/** Says what is left to who asks, in the answer whatever it will be. @throws {FormError} `too_many_requests` (429) */
function countRequest(
  c: Context<AppEnv>,
  limit: RateLimit,
  { who, allowance }: { who: "key" | "address"; allowance: Allowance },
): void {
  for (const [name, value] of Object.entries(limit.headers(allowance))) c.header(name, value);
  if (allowance.allowed) return;
  const { retrySeconds } = allowance;
  throw new FormError(
    "too_many_requests",
    `This ${who} may ask ${limit.perMinute} times a minute; ask again in ${retrySeconds} ${retrySeconds === 1 ? "second" : "seconds"}`,
    [],
    { "retry-after": String(retrySeconds) },
  );
}

/**
 * Finds out who asks and whether they may: the only place where an operation's need meets a key. The header and the
 * refusals are those of RFC 6750, section 3.
 */
export const admission =
  (
    db: Db,
    limit: RateLimit | null = null,
    nowMs: () => number = Date.now,
    feedLimit = limit === null ? null : new RateLimit(Math.min(feedsPerMinute, limit.perMinute)),
  ) =>
  async (c: Context<AppEnv>, need: Need | null): Promise<void> => {
    const token = c.req.param("token");
    if (need === null && token !== undefined && feedLimit !== null) {
      // Only addresses that exist are counted, so that made-up ones take no memory.
      const feed = await selectFeedOf(db, token);
      const allowance = feed && feedLimit.take(feed.id, nowMs());
      if (allowance !== undefined) countRequest(c, feedLimit, { who: "address", allowance });
    }
    if (need === null) return;
    const header = c.req.header("authorization");
    if (header === undefined)
      throw new FormError("no_key", "Send your key as `Authorization: Bearer KEY`", [], challenge());
    const key = /^Bearer +([\w-]+)$/i.exec(header)?.[1];
    const actor = key === undefined ? undefined : await selectActor(db, key);
    if (actor === undefined)
      throw new FormError(
        "unknown_key",
        "This key is not known here, or was revoked",
        [],
        challenge("invalid_token"),
      );
    if (limit !== null) countRequest(c, limit, { who: "key", allowance: limit.take(actor.keyId, nowMs()) });
    const reach = reachOf(actor.role, need);
    if (reach === "none")
      throw new DomainError("not_allowed", `A ${actor.role}'s key may not do this (it needs ${need})`);
    c.set("actor", actor);
    c.set("reach", reach);
  };
