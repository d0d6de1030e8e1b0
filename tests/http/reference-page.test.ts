import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
beforeAll(async () => {
  service = await startTestService();
});
afterAll(() => service.close());

/** What a page or a stylesheet makes a browser fetch by itself; a link that somebody must click is not among it. */
const fetchedBy = (text: string): string[] =>
  [
    ...text.matchAll(/<(?:script|img|iframe|source)\b[^>]*\bsrc\s*=\s*["']?([^"'\s>]+)/gi),
    ...text.matchAll(/<link\b[^>]*\bhref\s*=\s*["']?([^"'\s>]+)/gi),
    ...text.matchAll(/\burl\(\s*["']?([^"')\s]+)/gi),
    ...text.matchAll(/@import\s+["']([^"']+)/gi),
  ].map((match) => match[1]!);

describe("the reference page", () => {
  it("is at /docs, where / leads, and needs no key", async () => {
    const root = await service.anyone.get("/");
    expect([root.status, root.headers.get("location")]).toEqual([302, "/docs"]);
    const page = await service.anyone.get("/docs");
    expect(page.status).toBe(200);
    expect(page.headers.get("content-type")).toMatch(/^text\/html/);
  });

  it("fetches only what this service serves, each with its media type", async () => {
    const page = await service.anyone.get("/docs");
    const fetched = fetchedBy(page.body).filter((target) => !target.startsWith("data:"));
    expect(fetched).toHaveLength(3);
    const types: Record<string, string | null> = {};
    for (const path of fetched) {
      expect(path).toMatch(/^\/docs\//);
      const { status, headers } = await service.anyone.get(path);
      expect([path, status]).toEqual([path, 200]);
      types[path] = headers.get("content-type")?.split(";")[0] ?? null;
    }
    expect(types).toEqual({
      "/docs/swagger-ui.css": "text/css",
      "/docs/swagger-ui-bundle.js": "text/javascript",
      "/docs/start.js": "text/javascript",
    });
  });

  it("has a stylesheet that loads nothing further", async () => {
    const { body } = await service.anyone.get("/docs/swagger-ui.css");
    expect(fetchedBy(body).filter((target) => !target.startsWith("data:"))).toEqual([]);
  });

  it("starts from the description of this service, and asks no validator elsewhere", async () => {
    const { body } = await service.anyone.get("/docs/start.js");
    expect(body).toContain('url: "/openapi.json"');
    expect(body).toContain("validatorUrl: null");
    expect(body).not.toMatch(/https?:/);
  });

  it("forbids the browser every other host, whatever the scripts might try", async () => {
    const { headers } = await service.anyone.get("/docs");
    const policy = Object.fromEntries(
      headers
        .get("content-security-policy")!
        .split(";")
        .map((part) => part.trim().split(" "))
        .map(([name = "", ...sources]): [string, string[]] => [name, sources]),
    );
    expect(policy["default-src"]).toEqual(["'none'"]);
    expect(policy["script-src"]).toEqual(["'self'"]);
    expect(policy["connect-src"]).toEqual(["'self'"]);
    const elsewhere = Object.values(policy)
      .flat()
      .filter((source) => !["'none'", "'self'", "'unsafe-inline'", "data:"].includes(source));
    expect(elsewhere).toEqual([]);
  });
});

describe("the description", () => {
  it("is at /openapi.json without a key, and may be read by pages from elsewhere", async () => {
    const { status, body, headers } = await service.anyone.get("/openapi.json");
    expect(status).toBe(200);
    expect(body.openapi as string).toMatch(/^3\.1\./);
    expect(headers.get("access-control-allow-origin")).toBe("*");
  });

  it("names a server, and only groups that have operations", async () => {
    const { body } = await service.anyone.get("/openapi.json");
    expect(body.servers).toHaveLength(1);
    const used = new Set(
      Object.values(body.paths as Record<string, Record<string, { tags: string[] }>>)
        .flatMap((item) => Object.values(item))
        .flatMap(({ tags }) => tags),
    );
    expect(new Set((body.tags as { name: string }[]).map(({ name }) => name))).toEqual(used);
  });
});

it("what a browser would fetch is found in a page and in a stylesheet", () => {
  const page =
    '<link rel="x" href="https://a.test/a.css"><script src=//b.test/b.js></script><a href="https://c.test">';
  expect(fetchedBy(page)).toEqual(["//b.test/b.js", "https://a.test/a.css"]);
  expect(fetchedBy('@import "d.css"; x { background: url(https://e.test/e.png) }')).toEqual([
    "https://e.test/e.png",
    "d.css",
  ]);
});
