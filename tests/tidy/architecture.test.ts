import path from "node:path";
import { describe, expect, it } from "vitest";
import { bareCodeOf, importsOf, type Source, sourcesIn } from "./source.ts";

interface Layer {
  /** the layers that a file of this one may import from */
  reaches: readonly string[];
  /** the packages that it may import, each with its reason where that is not plain */
  packages: readonly string[];
}

/**
 * http → services → storage → domain → stats, and beside them: schema (the migrations, run by storage), seeds
 * (starting values, given to a club by services), openapi (the typed client) and the wiring (the files directly in src/), which may use all.
 */
const layers: Record<string, Layer> = {
  stats: { reaches: ["stats"], packages: ["simple-statistics", "pure-rand"] },
  domain: { reaches: ["domain", "stats"], packages: [] },
  schema: { reaches: ["schema"], packages: ["kysely"] },
  // The invented seasons of the demo are drawn from a seed, so that everyone sees the same ones.
  seeds: { reaches: ["seeds", "domain", "stats"], packages: ["pure-rand"] },
  storage: {
    reaches: ["storage", "domain", "stats", "schema"],
    packages: ["kysely", "better-sqlite3", "node:"],
  },
  services: {
    reaches: ["services", "storage", "domain", "stats", "seeds"],
    // An import or export is read and written as a stream, row by row, within one service.
    // A calculation of many parts lets other requests in between them (node:timers/promises).
    // A shop's list is fetched with checks on every address that is connected to (node:http, https, dns, net), and
    // its rows are compared with the club's lines (minisearch).
    packages: [
      ...["csv-parse", "csv-stringify", "@streamparser/json", "node:stream", "node:timers/promises"],
      ...["node:http", "node:https", "node:dns", "node:net", "minisearch"],
    ],
  },
  http: {
    reaches: ["http", "services", "storage", "domain", "stats"],
    // The reference page is served from the folder of swagger-ui-dist.
    // Pictures are drawn with the scales and shapes of d3.
    packages: [
      ...["hono", "@hono/node-server", "zod", "zod-openapi", "swagger-ui-dist", "node:"],
      ...["d3-scale", "d3-shape"],
    ],
  },
  // The typed client knows the service by its published description only.
  openapi: { reaches: ["openapi"], packages: ["openapi-fetch"] },
  wiring: {
    reaches: ["wiring", "http", "services", "storage", "domain", "stats", "schema", "seeds"],
    // New ids are made where the service is put together, so that the layers below take them as arguments.
    packages: ["hono", "@hono/node-server", "uuid", "node:"],
  },
};

/** Numbers and values in, numbers and values out: time and seeds are arguments. */
const pure = ["stats", "domain", "seeds"];
const impure =
  /\bDate\.now\b|\bnew Date\(\s*\)|\bDate\(\s*\)|\bperformance\.|\bMath\.random\b|\bcrypto\.|\bprocess\.(?:env|argv|pid|hrtime|cwd|uptime|exit|std\w+)\b|\bfetch\(|\bconsole\.|\bset(?:Timeout|Interval|Immediate)\(|\bimport\.meta\b|\bglobalThis\b/;

function layerOf(file: string): string {
  const [top, second] = file.split("/");
  if (top === "src") return second !== undefined && second in layers ? second : "wiring";
  return top!;
}

const isPackage = (target: string, allowed: string) =>
  allowed.endsWith(":") ? target.startsWith(allowed) : target === allowed || target.startsWith(`${allowed}/`);

/** Every breach of the rules above in one file, in words. */
function breachesIn({ file, text }: Source): string[] {
  const from = layerOf(file);
  const rules = layers[from];
  if (rules === undefined) return [`${file} is in no layer`];
  const breaches: string[] = [];
  for (const target of importsOf(text)) {
    if (!target.startsWith(".")) {
      if (!rules.packages.some((allowed) => isPackage(target, allowed)))
        breaches.push(`${file} may not use the package ${target}`);
      continue;
    }
    const to = path.posix.join(path.posix.dirname(file), target);
    if (!rules.reaches.includes(layerOf(to))) breaches.push(`${file} may not import ${to}`);
    if (layerOf(to) === "stats" && from !== "stats" && to !== "src/stats/index.ts")
      breaches.push(`${file} must import src/stats/index.ts, not ${to}`);
  }
  const found = pure.includes(from) ? impure.exec(bareCodeOf(text)) : null;
  if (found !== null) breaches.push(`${file} must be pure, but has ${found[0]}`);
  return breaches;
}

const sources = ["src", "schema", "seeds", "openapi/client"].flatMap((root) => sourcesIn(root, [".ts"]));

describe("the layers of the project", () => {
  it("each have files", () => {
    const inhabited = new Set(sources.map(({ file }) => layerOf(file)));
    expect(Object.keys(layers).filter((layer) => !inhabited.has(layer))).toEqual([]);
  });

  it("import only from their own or from one below, only the packages named for them, and stay pure where they must", () => {
    expect(sources.flatMap(breachesIn)).toEqual([]);
  });
});

describe("the detector", () => {
  it.each([
    ["src/storage/a.ts", 'import { x } from "../services/x.ts";', "may not import src/services/x.ts"],
    ["src/services/a.ts", 'export type { X } from "../http/x.ts";', "may not import src/http/x.ts"],
    ["src/domain/a.ts", 'import type { X } from "../storage/x.ts";', "may not import src/storage/x.ts"],
    ["src/stats/a.ts", 'import { x } from "../domain/x.ts";', "may not import src/domain/x.ts"],
    ["src/http/routes/a.ts", 'import { x } from "../../app.ts";', "may not import src/app.ts"],
    ["src/domain/a.ts", 'const x = await import("../services/x.ts");', "may not import src/services/x.ts"],
    ["src/domain/a.ts", 'import { x } from "../stats/weibull.ts";', "must import src/stats/index.ts"],
    ["src/main.ts", 'import {\n  x,\n} from "./stats/weibull.ts";', "must import src/stats/index.ts"],
    ["schema/a.ts", 'import { x } from "../src/storage/x.ts";', "may not import src/storage/x.ts"],
    ["seeds/a.ts", 'import { x } from "../src/services/x.ts";', "may not import src/services/x.ts"],
    ["openapi/client/a.ts", 'import { x } from "../../src/app.ts";', "may not import src/app.ts"],
    ["src/domain/a.ts", 'import { sql } from "kysely";', "may not use the package kysely"],
    ["src/services/a.ts", 'import { sql } from "kysely";', "may not use the package kysely"],
    ["src/stats/a.ts", 'import "node:fs";', "may not use the package node:fs"],
    ["src/http/a.ts", 'import Database from "better-sqlite3";', "may not use the package better-sqlite3"],
    ["seeds/a.ts", "const u = Math.random();", "must be pure, but has Math.random"],
    ["src/stats/a.ts", "const now = Date.now();", "must be pure, but has Date.now"],
    ["src/domain/a.ts", "const now = new Date();", "must be pure, but has new Date()"],
    ["src/stats/a.ts", "const u = Math.random();", "must be pure, but has Math.random"],
    ["src/stats/a.ts", 'const u = "//" + process.pid;', "must be pure, but has process.pid"],
  ])("finds what is wrong in %s: %s", (file, text, breach) => {
    expect(breachesIn({ file, text })).toEqual([expect.stringContaining(breach)]);
  });

  it.each([
    ["src/storage/a.ts", 'import { sql } from "kysely";\nimport { steps } from "../../schema/index.ts";'],
    ["src/http/routes/a.ts", 'import { x } from "../../services/x.ts";\nimport { z } from "zod";'],
    [
      "src/stats/a.ts",
      '/** import { x } from "../domain/x.ts"; Date.now() */\nexport const x = "demand-process.ts"; // Math.random()',
    ],
    ["src/domain/a.ts", 'const words = { a: "in force from", b: "undone" };'],
    ["src/domain/a.ts", 'import { x } from "../stats/index.ts";\nconst at = new Date(text);'],
  ])("lets pass what is right in %s: %s", (file, text) => {
    expect(breachesIn({ file, text })).toEqual([]);
  });
});
