import { gunzipSync } from "node:zlib";
import { afterEach, describe, expect, test } from "vitest";
import { serve } from "@hono/node-server";
import { once } from "node:events";
import { request } from "node:http";
import type { AddressInfo } from "node:net";
import { settingsFrom } from "../../src/settings.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
afterEach(() => service.close());
const start = async (options: Parameters<typeof startTestService>[1] = {}) => {
  service = await startTestService(undefined, options);
  return service;
};
const club = "https://club.example";
const preflight = { origin: club, "access-control-request-method": "POST" };

describe("pages of other origins", () => {
  test("may not use the API unless the settings name their origin", async () => {
    await start();
    const read = await service.owner.send("GET", "/v1/club", undefined, { origin: club });
    expect([read.status, read.headers.get("access-control-allow-origin")]).toEqual([200, null]);
    const asked = await service.anyone.send("OPTIONS", "/v1/drivers", undefined, preflight);
    expect([asked.status, asked.headers.get("access-control-allow-origin")]).toEqual([405, null]);
  });

  test("of an origin that is named may ask, send, and read the headers that matter", async () => {
    await start({ corsOrigins: ["http://localhost:5173", club] });
    const asked = await service.anyone.send("OPTIONS", "/v1/drivers", undefined, preflight);
    expect([asked.status, asked.headers.get("access-control-allow-origin")]).toEqual([204, club]);
    expect(asked.headers.get("access-control-allow-headers")).toMatch(
      /Authorization.*Content-Encoding.*Idempotency-Key.*If-Match/,
    );
    expect(asked.headers.get("access-control-allow-methods")).toContain("PATCH");
    expect(asked.headers.get("access-control-allow-credentials")).toBe(null);
    const read = await service.owner.send("GET", "/v1/club", undefined, { origin: club });
    expect(read.headers.get("access-control-allow-origin")).toBe(club);
    expect(read.headers.get("vary")).toContain("Origin");
    const exposed = read.headers.get("access-control-expose-headers")!.split(", ");
    for (const name of [
      "ETag",
      "Link",
      "Location",
      "RateLimit",
      "RateLimit-Policy",
      "Retry-After",
      "Idempotency-Key",
    ])
      expect(exposed).toContain(name);
    // A refusal has to be readable too, or the page cannot say what went wrong.
    const refused = await service.anyone.send("GET", "/v1/club", undefined, { origin: club });
    expect([refused.status, refused.headers.get("access-control-allow-origin")]).toEqual([401, club]);
  });

  test("of an origin that is like a named one are refused", async () => {
    await start({ corsOrigins: [club] });
    for (const origin of [
      "https://club.example.evil.example",
      "http://club.example",
      "null",
      `${club}:8443`,
    ]) {
      const { headers } = await service.owner.send("GET", "/v1/club", undefined, { origin });
      expect([origin, headers.get("access-control-allow-origin")]).toEqual([origin, null]);
    }
  });

  test("CORS_ORIGINS names origins, and one that is none is refused at the start", () => {
    expect(settingsFrom({}).corsOrigins).toEqual([]);
    expect(settingsFrom({ CORS_ORIGINS: `${club}, http://localhost:5173,` }).corsOrigins).toEqual([
      club,
      "http://localhost:5173",
    ]);
    for (const wrong of ["club.example", `${club}/`, `${club}/app`, "https://*.example"])
      expect(() => settingsFrom({ CORS_ORIGINS: wrong })).toThrow("CORS_ORIGINS must be origins");
  });
});

test("answers say that they are not to be guessed at, framed, or kept for others", async () => {
  await start();
  const { headers } = await service.owner.get("/v1/club");
  const said = Object.fromEntries(headers);
  expect(said).toMatchObject({
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "content-security-policy": "default-src 'none'; frame-ancestors 'none'",
    "cache-control": "private, no-cache",
    vary: "Authorization, Accept-Encoding",
  });
  const page = await service.anyone.get("/docs");
  expect(page.headers.get("x-content-type-options")).toBe("nosniff");
  expect(page.headers.get("content-security-policy")).toContain("script-src 'self'");
});

describe("the size of bodies", () => {
  test("a JSON body over 1 MiB is refused with 413, with or without a stated length", async () => {
    await start();
    const body = JSON.stringify({ name: "Una", notes: "x".repeat(2 ** 20) });
    for (const headers of [{}, { "content-length": String(body.length) }] as Record<string, string>[]) {
      const answer = await service.owner.send("POST", "/v1/drivers", body, headers);
      expect([answer.status, answer.body.type]).toEqual([413, "/problems/too_large"]);
    }
    const fitting = JSON.stringify({ name: "Una", notes: "x".repeat(2 ** 20 - 40) });
    // It is read, and refused for what it says instead.
    expect((await service.owner.send("POST", "/v1/drivers", fitting)).status).toBe(422);
  });

  test("a list is compressed where the client takes gzip and it pays", async () => {
    await start();
    const encoded = async (path: string, accept: string) => {
      const response = await service.app.request(path, {
        headers: { authorization: `Bearer ${await service.keyFor("reader")}`, "accept-encoding": accept },
      });
      return {
        coding: response.headers.get("content-encoding"),
        bytes: Buffer.from(await response.arrayBuffer()),
      };
    };
    const plain = await encoded("/v1/kinds", "identity");
    const packed = await encoded("/v1/kinds", "br, gzip;q=0.5");
    expect([plain.coding, packed.coding]).toEqual([null, "gzip"]);
    expect(packed.bytes.length).toBeLessThan(plain.bytes.length / 3);
    expect(gunzipSync(packed.bytes)).toEqual(plain.bytes);
    expect((await encoded("/v1/kinds", "gzip;q=0, *;q=0.1")).coding).toBe(null);
    expect((await encoded("/v1/drivers", "gzip")).coding).toBe(null);
  });
});

test("HEAD answers as GET without a body, and a method that a path does not take is told which it takes", async () => {
  await start();
  const head = await service.owner.send("HEAD", "/v1/club");
  expect([head.status, head.body, head.headers.get("etag")]).toEqual([200, "", '"1"']);
  const wrong = await service.owner.send("DELETE", "/v1/club");
  expect([wrong.status, wrong.headers.get("allow")]).toEqual([405, "GET, HEAD, PATCH"]);
});

test("over a real connection, a body that is too large ends the connection and not the service", async () => {
  await start();
  const key = await service.keyFor("owner");
  const server = serve({ fetch: service.app.fetch, port: 0, hostname: "127.0.0.1" });
  await once(server, "listening");
  const { port } = server.address() as AddressInfo;
  const send = (headers: Record<string, string>, body: string) =>
    new Promise<number>((resolve, reject) => {
      const sent = request(
        {
          port,
          host: "127.0.0.1",
          method: "POST",
          path: "/v1/drivers",
          headers: { authorization: `Bearer ${key}`, "content-type": "application/json", ...headers },
        },
        (answer) => {
          answer.resume();
          resolve(answer.statusCode!);
        },
      );
      sent.on("error", reject);
      sent.end(body);
    });
  const large = JSON.stringify({ name: "Una", notes: "x".repeat(2 ** 20) });
  expect(await send({ "content-length": String(large.length) }, large)).toBe(413);
  expect(await send({ "transfer-encoding": "chunked" }, large)).toBe(413);
  expect(await send({}, '{"name":"Una Wickerley"}')).toBe(201);
  await new Promise((resolve) => server.close(resolve));
});
