import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { exampleParams } from "../../src/http/example-ids.ts";
import type { Spec } from "../../src/http/operation.ts";
import { operations } from "../../src/http/routes/index.ts";
import {
  copyExampleClub,
  makeExampleClub,
  openExampleClub,
  prepareExample,
} from "../support/example-club.ts";

/**
 * Every operation's example is sent to a prepared club, each to a copy of its own, and must give the answer that the operation
 * documents. What comes back is kept as the example of that answer (UPDATE=1 rewrites it).
 */
const file = "src/http/example-answers.json";
/** Longer answers are cut for the page: a list keeps its first entries, a text its first lines. */
const keptEntries = 3;
const keptText = 1500;

let folder: string;
let key: string;
beforeAll(async () => {
  folder = mkdtempSync(path.join(tmpdir(), "examples-"));
  key = await makeExampleClub(path.join(folder, "club.db"));
}, 60_000);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

function requestOf(
  spec: Spec,
  bodyType = Object.keys(spec.streamedBody ?? {})[0],
): { url: string; init: RequestInit } {
  const params = exampleParams(spec);
  const url = spec.path.replaceAll(
    /\{(\w+)\}/g,
    (_, name: string) => params[name] ?? `no-example-for-${name}`,
  );
  const query = new URLSearchParams(spec.example?.query).toString();
  const headers: Record<string, string> = { authorization: `Bearer ${key}` };
  const init: RequestInit = { method: spec.method.toUpperCase(), headers };
  if (spec.body !== undefined) {
    headers["content-type"] = "application/json";
    init.body = JSON.stringify(spec.example?.body);
  } else if (bodyType !== undefined) {
    headers["content-type"] = bodyType;
    init.body = spec.streamedBody![bodyType]!.example;
  }
  return { url: query === "" ? url : `${url}?${query}`, init };
}

/** Numbers at six digits, so that the page is readable and the last digit of a fit does not matter; lists cut short. */
function shortened(value: unknown): unknown {
  if (typeof value === "number") return Number.isInteger(value) ? value : Number(value.toPrecision(6));
  if (Array.isArray(value)) return value.slice(0, keptEntries).map(shortened);
  if (typeof value === "object" && value !== null)
    return Object.fromEntries(Object.entries(value).map(([name, member]) => [name, shortened(member)]));
  return value;
}

const longNumber = /\d+\.\d{7,}/g;

/** Text with long numbers as in JSON, in whole lines, as far as the page has room. */
function shortenedText(whole: string): string {
  const text = whole.replaceAll(longNumber, (number) => String(shortened(Number(number))));
  const end = text.length <= keptText ? text.length : text.lastIndexOf("\n", keptText - 1) + 1 || keptText;
  return text.slice(0, end);
}

/** Equal but for the last digits of numbers, which may differ from one processor to another. */
function expectAlike(got: unknown, kept: unknown, where: string): void {
  if (typeof got === "number" && typeof kept === "number" && !Number.isInteger(kept)) {
    expect(Math.abs(got - kept), where).toBeLessThanOrEqual(1e-4 * Math.abs(kept) + 1e-9);
  } else if (typeof got === "string" && typeof kept === "string" && where.endsWith(".body")) {
    const decimal = /\d+\.\d+/g;
    expect(got.replaceAll(decimal, "#"), where).toBe(kept.replaceAll(decimal, "#"));
    const numbers = (text: string) => (text.match(decimal) ?? []).map(Number);
    expectAlike(numbers(got), numbers(kept), `${where} numbers`);
  } else if (typeof got === "object" && got !== null && typeof kept === "object" && kept !== null) {
    expect(Object.keys(got), where).toEqual(Object.keys(kept));
    for (const [name, member] of Object.entries(got))
      expectAlike(member, (kept as Record<string, unknown>)[name], `${where}.${name}`);
  } else expect(got, where).toEqual(kept);
}

async function send(spec: Spec, bodyType?: string): Promise<{ status: number; body?: unknown }> {
  const copy = path.join(folder, `${spec.operationId}${bodyType?.replaceAll(/\W/g, "-") ?? ""}.db`);
  copyExampleClub(path.join(folder, "club.db"), copy);
  const { app, db } = await openExampleClub(copy);
  const tidyUp = await prepareExample(spec.operationId, app, key);
  try {
    const { url, init } = requestOf(spec, bodyType);
    if (spec.concurrency === "required") {
      // Who changes a record that several people edit has read it before, and names what was read.
      const read = await app.request(url, { headers: { authorization: `Bearer ${key}` } });
      init.headers = { ...init.headers, "if-match": read.headers.get("etag") ?? "" };
    }
    const response = await app.request(url, init);
    const text = await response.text();
    const json = (response.headers.get("content-type") ?? "").includes("json");
    const body = text === "" ? {} : { body: json ? shortened(JSON.parse(text)) : shortenedText(text) };
    return { status: response.status, ...body };
  } finally {
    tidyUp();
    await db.destroy();
  }
}

describe("examples of the description", () => {
  const kept = JSON.parse(readFileSync(file, "utf8")) as Record<string, { status: number; body?: unknown }>;
  const fresh: Record<string, unknown> = {};
  for (const { spec } of operations)
    it(`${spec.operationId}: the example gives the documented answer`, async () => {
      const statuses = Object.keys(spec.answers).map(Number);
      const documented = statuses.includes(201) ? 201 : Math.min(...statuses);
      const answer = await send(spec);
      expect([answer.status, answer.status === documented ? "" : answer.body]).toEqual([documented, ""]);
      fresh[spec.operationId] = answer;
      if (process.env["UPDATE"] === undefined) expectAlike(answer, kept[spec.operationId], spec.operationId);
    });
  for (const { spec } of operations)
    for (const bodyType of Object.keys(spec.streamedBody ?? {}).slice(1))
      it(`${spec.operationId}: the example in ${bodyType} is taken, and every row of it is read`, async () => {
        const { status, body } = await send(spec, bodyType);
        expect([status, status === 200 ? "" : body]).toEqual([200, ""]);
        const { rowsRead, rejected } = body as { rowsRead: number; rejected?: unknown[] };
        expect(rowsRead).toBeGreaterThan(0);
        expect(rejected ?? []).toEqual([]);
      });
  afterAll(() => {
    if (process.env["UPDATE"] !== undefined) writeFileSync(file, `${JSON.stringify(fresh, null, 2)}\n`);
  });
});
