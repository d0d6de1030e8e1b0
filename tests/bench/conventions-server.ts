import { type Http2Bindings, type HttpBindings, serve } from "@hono/node-server";
import { Hono, type MiddlewareHandler } from "hono";
import { bodyLimit } from "hono/body-limit";
import { compress } from "hono/compress";
import { cors } from "hono/cors";
import { etag } from "hono/etag";
import { secureHeaders } from "hono/secure-headers";
import type { AddressInfo } from "node:net";
import path from "node:path";
import { v7 } from "uuid";
import { buildApp } from "../../src/app.ts";
import { commonHeaders } from "../../src/http/common-headers.ts";
import { RateLimit } from "../../src/http/rate-limit.ts";
import { issueKey } from "../../src/services/keep-club.ts";
import { openDatabase } from "../../src/storage/database.ts";

/** The measured half of the bench of the conventions: several servers in one process, which says what CPU time it used. */
const origins = ["https://club.example"];
const limit = new RateLimit(1_000_000_000);

/** Middlewares in front of an answer of three members, so that nothing else weighs. */
const bare: Record<string, MiddlewareHandler[]> = {
  bare: [],
  "our common headers": [commonHeaders([])],
  "our common headers, CORS on": [commonHeaders(origins)],
  "our rate limit": [
    async (c, next) => {
      for (const [name, value] of Object.entries(limit.headers(limit.take("k", Date.now()))))
        c.header(name, value);
      await next();
    },
  ],
  "hono secureHeaders": [secureHeaders()],
  "hono cors": [cors({ origin: origins })],
  "hono etag": [etag()],
  "hono compress": [compress()],
  "hono bodyLimit": [bodyLimit({ maxSize: 2 ** 20 })],
};

async function main(folder: string): Promise<void> {
  const ports: Record<string, number> = {};
  const listen = async (name: string, app: { fetch: Hono["fetch"] }) => {
    const fetch = app.fetch as (
      request: Request,
      env: HttpBindings | Http2Bindings,
    ) => Response | Promise<Response>;
    const server = serve({ fetch, port: 0, hostname: "127.0.0.1" });
    await new Promise((resolve) => server.once("listening", resolve));
    ports[name] = (server.address() as AddressInfo).port;
  };
  for (const [name, middlewares] of Object.entries(bare)) {
    const app = new Hono();
    for (const one of middlewares) app.use(one);
    app.on(["GET", "POST"], "/v1/a", (c) => c.json({ id: "a", name: "b", version: 1 }));
    await listen(name, app);
  }
  const db = await openDatabase(`file:${path.join(folder, "club.db")}`);
  const key = await issueKey(
    db,
    { name: "bench", role: "owner", driverId: null },
    new Date().toISOString(),
    () => v7(),
  );
  await listen("service", buildApp({ db }) as unknown as Hono);
  await listen("service, limited", buildApp({ db, rateLimit: 1_000_000_000 }) as unknown as Hono);
  await listen("service, CORS on", buildApp({ db, corsOrigins: origins }) as unknown as Hono);
  process.on("message", () => process.send!({ cpu: process.cpuUsage() }));
  process.send!({ ports, key });
}

await main(process.argv[2]!);
