import { serve } from "@hono/node-server";
import { mkdtempSync, rmSync } from "node:fs";
import type { AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterAll, expect, it } from "vitest";
import { buildApp } from "../../src/app.ts";
import { issueKey } from "../../src/services/keep-club.ts";
import { openDatabase } from "../../src/storage/database.ts";
import { exampleNow, makeExampleClub, prepareExample } from "../support/example-club.ts";
import { runPage } from "../support/shell-page.ts";

const folder = mkdtempSync(path.join(tmpdir(), "shop-keeper-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

it("docs/guides/shop-stock-list.md does what it says, with a key of the shop", async () => {
  const ownerKey = await makeExampleClub(path.join(folder, "club.db"));
  const db = await openDatabase(`file:${path.join(folder, "club.db")}`);
  const app = buildApp({ db, clock: () => new Date(exampleNow) });
  await prepareExample("orderProposals", app, ownerKey);
  const newId = () => "01930000-0000-7000-a000-00000000ce01";
  const key = await issueKey(db, { name: "counter", role: "shop", driverId: null }, exampleNow, newId);
  const server = serve({ fetch: app.fetch, port: 0, hostname: "127.0.0.1" });
  await new Promise<void>((resolve) => server.once("listening", resolve));
  const ADDRESS = `http://127.0.0.1:${(server.address() as AddressInfo).port}`;
  const work = mkdtempSync(path.join(folder, "page-"));
  const done = await runPage("docs/guides/shop-stock-list.md", work, { ADDRESS, KEY: key });
  await new Promise((resolve) => server.close(resolve));
  await db.destroy();
  expect(done.filter(({ step }) => step.printed !== null)).toHaveLength(3);
  for (const { step, printed } of done)
    if (step.printed !== null) expect([step.commands, printed]).toEqual([step.commands, step.printed]);
}, 40_000);
