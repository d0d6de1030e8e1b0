import { serve } from "@hono/node-server";
import { existsSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createServer } from "node:http";
import type { AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import path from "node:path";
import { chromium } from "playwright-core";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { buildApp } from "../../src/app.ts";
import { issueKey } from "../../src/services/keep-club.ts";
import { openDatabase } from "../../src/storage/database.ts";
import { copyExampleClub, exampleNow, makeExampleClub } from "../support/example-club.ts";
import { runPage, stepsOf } from "../support/shell-page.ts";
import { smallDocument } from "../support/small-document.ts";

/** What docs/connect says is done here, word for word, with a service behind a port. */

let folder: string;
let ownerKey: string;
beforeAll(async () => {
  folder = mkdtempSync(path.join(tmpdir(), "connect-"));
  ownerKey = await makeExampleClub(path.join(folder, "club.db"));
}, 60_000);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const portOf = (server: { address(): AddressInfo | string | null }) => (server.address() as AddressInfo).port;
const listening = (server: { once(event: "listening", done: () => void): unknown }) =>
  new Promise<void>((resolve) => server.once("listening", resolve));

/** Serves the example club, at the moment of its examples, to pages of some origin. */
async function serveClub(origin: string) {
  const copy = path.join(mkdtempSync(path.join(folder, "served-")), "club.db");
  copyExampleClub(path.join(folder, "club.db"), copy);
  const db = await openDatabase(`file:${copy}`);
  let ids = 0;
  const newId = () => `01930000-0000-7000-a000-${String(++ids).padStart(12, "0")}`;
  const faults: unknown[] = [];
  const app = buildApp({
    db,
    clock: () => new Date(exampleNow),
    corsOrigins: [origin],
    log: (level, event, members) => {
      if (level === "error") faults.push(event, members);
    },
  });
  const server = serve({ fetch: app.fetch, port: 0, hostname: "127.0.0.1" });
  await listening(server);
  return {
    address: `http://127.0.0.1:${portOf(server)}`,
    app,
    faults,
    keyFor: (role: "shop" | "owner") => issueKey(db, { name: role, role, driverId: null }, exampleNow, newId),
    async close() {
      await new Promise((resolve) => server.close(resolve));
      await db.destroy();
    },
  };
}

describe("the commands of docs/connect", () => {
  let club: Awaited<ReturnType<typeof serveClub>>;
  beforeAll(async () => {
    club = await serveClub("https://club.example");
  });
  afterAll(() => club.close());

  it.each([
    ["docs/connect/spreadsheet.md", "owner"],
    ["docs/connect/shop-list.md", "shop"],
  ] as const)(
    "%s does what it says",
    async (file, role) => {
      const work = mkdtempSync(path.join(folder, "page-"));
      const environment = { ADDRESS: club.address, KEY: await club.keyFor(role), CLUB_KEY: ownerKey };
      const done = await runPage(file, work, environment);
      expect(done.filter(({ step }) => step.printed !== null).length).toBeGreaterThan(3);
      for (const { step, printed } of done)
        if (step.printed !== null) expect([step.commands, printed]).toEqual([step.commands, step.printed]);
      expect(club.faults).toEqual([]);
    },
    40_000,
  );

  it("are found on a page with what they print", () => {
    const page = "a\n\n```sh\nls\n```\n\n```text\nb\n```\n\n```sh\ncd\n```\n\n```ts\n1;\n```\n";
    expect(stepsOf(page)).toEqual([
      { commands: "ls\n", printed: "b" },
      { commands: "cd\n", printed: null },
    ]);
  });
});

const pageFile = "docs/connect/bench.html";
const html = readFileSync(pageFile, "utf8");
const script = /<script>([\s\S]*)<\/script>/.exec(html)![1]!;

const poll = { timeout: 10_000 };

describe("the page docs/connect/bench.html", () => {
  let club: Awaited<ReturnType<typeof serveClub>>;
  const files = createServer((_, answer) => {
    answer.setHeader("content-type", "text/html; charset=utf-8").end(html);
  });
  let origin: string;
  beforeAll(async () => {
    files.listen(0, "127.0.0.1");
    await listening(files);
    origin = `http://127.0.0.1:${portOf(files)}`;
    club = await serveClub(origin);
  });
  afterAll(async () => {
    await club.close();
    await new Promise((resolve) => files.close(resolve));
  });
  const runs = async () => {
    const headers = { authorization: `Bearer ${ownerKey}` };
    const { items } = (await (await fetch(`${club.address}/v1/runs?limit=500`, { headers })).json()) as {
      items: { minutes: number; surface: string }[];
    };
    return items;
  };

  it("asks nobody but the service, and keeps the key nowhere", () => {
    expect(html).not.toMatch(/\bhttps?:\/\/(?!127\.0\.0\.1)/);
    expect(html).not.toMatch(/localStorage|sessionStorage|cookie|indexedDB|innerHTML/);
  });

  it("shows a car's bench sheet and logs a run, its script run on a small document", async () => {
    const document = smallDocument(html);
    const at = document.getElementById;
    const urls = { createObjectURL: (blob: Blob) => `blob:${blob.type}`, revokeObjectURL() {} };
    let broken = false;
    const sent: (string | undefined)[] = [];
    const send = async (url: string, options: { method?: string; headers?: Record<string, string> }) => {
      const answer = await fetch(url, options as RequestInit);
      if (options.method !== "POST") return answer;
      sent.push(options.headers?.["idempotency-key"]);
      if (broken) throw new TypeError("the line went dead");
      return answer;
    };
    class Then extends Date {
      override toISOString = () => exampleNow;
    }
    new Function("document", "fetch", "URL", "Date", script)(document, send, urls, Then);
    at("address").value = `${club.address}/`;
    at("key").value = "ws_wrong";
    await at("open").tell("submit");
    expect(at("status").textContent).toBe("This key is not known here, or was revoked");

    at("key").value = ownerKey;
    await at("open").tell("submit");
    expect(at("status").textContent).toBe("");
    expect(at("run").hidden).toBe(false);
    expect(at("heading").textContent).toMatch(/^Thornbill: (not )?ready$/);
    expect(at("entries").textContent).toContain("spur (spur 1): lasts the meeting: ");
    const used = () =>
      Number(
        /spur \(spur 1\): lasts the meeting: \d+ %; used: ([\d.]+) minutes/.exec(
          at("entries").textContent,
        )?.[1],
      );
    const usedBefore = used();
    expect(usedBefore).toBeGreaterThan(0);
    expect(at("picture").src).toBe("blob:image/svg+xml");

    const before = (await runs()).length;
    at("minutes").value = "6.5";
    broken = true;
    await at("run").tell("submit");
    expect(at("status").textContent).toContain("Press again");
    broken = false;
    await at("run").tell("submit");
    expect(at("status").textContent).toBe("6.5 minutes on asphalt are logged.");
    // The answer was lost, not the run: sent again with the same key it is there once.
    expect(sent[0]).toBe(sent[1]);
    expect((await runs()).length).toBe(before + 1);
    expect(used()).toBeCloseTo(usedBefore + 6.5, 6);
  });

  /** A browser of the system; the checks of a clean clone do not need one. */
  const browser = [process.env["CHROMIUM"], "/usr/bin/chromium", "/usr/bin/chromium-browser"].find(
    (file) => file !== undefined && existsSync(file),
  );
  it.skipIf(browser === undefined)(
    "works in a browser, from another origin (skipped where there is no Chromium: set CHROMIUM to one)",
    async () => {
      const args = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"];
      const quiet = ["--disable-background-networking", "--disable-component-update"];
      const running = await chromium.launch({ executablePath: browser!, args: [...args, ...quiet] });
      try {
        const page = await running.newPage({ viewport: { width: 375, height: 800 } });
        const complaints: string[] = [];
        page.on("console", (message) => message.type() === "error" && complaints.push(message.text()));
        page.on("pageerror", (error) => complaints.push(error.message));
        // Another moment than the run of the test before, which the same car cannot have driven.
        await page.clock.setFixedTime("2026-12-01T08:30:00.000Z");
        await page.goto(`${origin}/bench.html`);
        await page.fill("#address", club.address);
        await page.fill("#key", ownerKey);
        await page.click("#open button");
        await page.waitForSelector("#entries li");
        // Asked from outside the page: its own policy lets it evaluate no text.
        await expect
          .poll(() => page.evaluate("document.getElementById('picture').naturalWidth > 0"), poll)
          .toBe(true);
        const before = (await runs()).length;
        await page.fill("#minutes", "7");
        await page.selectOption("#surface", "carpet");
        await page.click("#run button");
        await expect.poll(() => page.textContent("#status"), poll).toContain("are logged");
        expect((await runs()).length).toBe(before + 1);
        expect((await runs()).some(({ minutes, surface }) => minutes === 7 && surface === "carpet")).toBe(
          true,
        );
        const wide = page.locator("html");
        expect(await wide.evaluate((root) => (root as any).scrollWidth)).toBe(375);
        expect(complaints).toEqual([]);
      } finally {
        await running.close();
      }
    },
    60_000,
  );
});
