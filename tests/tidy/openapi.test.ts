import { execFileSync } from "node:child_process";
import { existsSync, readFileSync, writeFileSync } from "node:fs";
import { expect, it } from "vitest";
import { version } from "../../src/app.ts";
import { openApiDocument } from "../../src/http/document.ts";
import { operations } from "../../src/http/routes/index.ts";

const file = "openapi/openapi.json";
const inClient = (script: string) =>
  execFileSync("npm", ["run", "-s", script, "-w", "openapi/client"], { stdio: "pipe" });

it("openapi/openapi.json is what the routes generate (UPDATE=1 npm test rewrites it)", () => {
  const generated = `${JSON.stringify(openApiDocument(operations, version), null, 2)}\n`;
  if (process.env["UPDATE"] !== undefined) writeFileSync(file, generated);
  expect(existsSync(file) ? readFileSync(file, "utf8") : "").toBe(generated);
});

it("openapi/client/schema.d.ts is what openapi/openapi.json generates (UPDATE=1 npm test rewrites it)", () => {
  if (process.env["UPDATE"] !== undefined) inClient("generate");
  // Exits with 1, and this call throws, where the file is out of date.
  inClient("current");
}, 60_000);

it("the version described is the version of the package", () => {
  expect(version).toBe((JSON.parse(readFileSync("package.json", "utf8")) as { version: string }).version);
});
