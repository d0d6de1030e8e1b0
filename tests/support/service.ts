import { type AppOptions, buildApp } from "../../src/app.ts";
import type { Role } from "../../src/domain/access.ts";
import { foundClub, issueKey } from "../../src/services/keep-club.ts";
import { LineModels } from "../../src/services/line-models.ts";
import { serviceItself } from "../../src/services/work.ts";
import { firstClub } from "../../src/storage/clubs.ts";
import { openDatabase } from "../../src/storage/database.ts";
import { insistOnDocumented } from "./documented.ts";
import { Watch } from "../../src/watch.ts";

/** A test reads any member of a body, and fails on what is not there. */
export type Answer = { status: number; body: any; headers: Headers };

/** Ids that are the same in each run of a test: what is drawn by chance for a line is drawn with a seed from its id. */
function countedIds(): () => string {
  let made = 0;
  return () => `01930000-0000-7000-8000-${String(++made).padStart(12, "0")}`;
}

/**
 * A whole service on a database in memory, called without a port, with a clock that tests set. `as.owner.get(path)`
 * and its like send a request with that role's key.
 */
export async function startTestService(
  now = "2026-12-01T09:00:00.000Z",
  options: Pick<AppOptions, "corsOrigins" | "rateLimit" | "pulls"> = {},
  watching = false,
) {
  const clock = { now };
  const newId = countedIds();
  const db = await openDatabase("file::memory:");
  await foundClub(db, {
    id: newId(),
    name: "Our club",
    currency: "AUD",
    timeZone: "UTC",
    at: now,
    newId,
  });
  const faults: unknown[] = [];
  const models = new LineModels();
  const watch = new Watch({
    workFor: (clubId) => ({ ...serviceItself(clubId), db, now: () => clock.now, newId, models }),
    onFault: (error) => faults.push(error),
    gatherMs: 0,
  });
  const app = buildApp({
    ...options,
    ...(watching && { onChange: (clubId: string) => watch.wake(clubId) }),
    models,
    db,
    newId,
    clock: () => new Date(clock.now),
    log: (level, event, members) => {
      if (level === "error") faults.push(event, members);
    },
  });
  const keyFor = (role: Role, driverId: string | null = null) =>
    issueKey(db, { name: role, role, driverId }, now, newId);
  const caller = (key: string | null) => {
    const send = async (
      method: string,
      path: string,
      body?: unknown,
      headers: Record<string, string> = {},
    ): Promise<Answer> => {
      const response = await app.request(path, {
        method,
        headers: {
          ...(key === null ? {} : { authorization: `Bearer ${key}` }),
          ...(body === undefined ? {} : { "content-type": "application/json" }),
          ...headers,
        },
        ...(body === undefined ? {} : { body: typeof body === "string" ? body : JSON.stringify(body) }),
      });
      insistOnDocumented(method, path, response);
      const text = await response.text();
      const json = (response.headers.get("content-type") ?? "").includes("json");
      return {
        status: response.status,
        body: json && text !== "" ? JSON.parse(text) : text,
        headers: response.headers,
      };
    };
    /** Sends a change of what several people edit with the ETag that it has now, as a careful client would. */
    const edit = async (method: string, path: string, body?: unknown): Promise<Answer> => {
      if (!/^\/v1\/(?:club|(?:kinds|suppliers|lines|meetings)\/[^/]+)$/.test(path))
        return send(method, path, body);
      const etag = (await send("GET", path)).headers.get("etag");
      return send(method, path, body, etag === null ? {} : { "if-match": etag });
    };
    const changes = new Set(["PATCH", "PUT", "DELETE"]);
    /** Sends and insists on success, so that a failing preparation of a test says why. */
    const must = async (method: string, path: string, body?: unknown) => {
      const answer = await (changes.has(method) ? edit : send)(method, path, body);
      if (answer.status >= 300)
        throw new Error(`${method} ${path}: ${answer.status} ${JSON.stringify(answer.body)}`);
      return answer.body;
    };
    return {
      send,
      must,
      get: (path: string) => send("GET", path),
      post: (path: string, body: unknown) => send("POST", path, body),
      patch: (path: string, body: unknown) => edit("PATCH", path, body),
      put: (path: string, body: unknown) => edit("PUT", path, body),
      delete: (path: string) => edit("DELETE", path),
    };
  };
  const owner = caller(await keyFor("owner"));
  return {
    db,
    app,
    clock,
    faults,
    owner,
    anyone: caller(null),
    withKey: caller,
    keyFor,
    as: async (role: Role, driverId: string | null = null) => caller(await keyFor(role, driverId)),
    club: async () => (await firstClub(db))!,
    watch,
    close: async () => {
      await watch.stop();
      await db.destroy();
    },
  };
}
export type TestService = Awaited<ReturnType<typeof startTestService>>;
