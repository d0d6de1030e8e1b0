import { serve } from "@hono/node-server";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import type { AddressInfo } from "node:net";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterAll, afterEach, beforeAll, describe, expect, it } from "vitest";
import { drawSeason } from "../../seeds/draw-season.ts";
import { shippedKinds } from "../../seeds/index.ts";
import { quillbrook } from "../../seeds/quillbrook.ts";
import { buildApp } from "../../src/app.ts";
import { fillClub } from "../../src/demo/fill-club.ts";
import { loopback } from "../../src/demo/fill-shops.ts";
import { type OpenShops, openShops } from "../../src/demo/open-shops.ts";
import { pullDueLists } from "../../src/services/pull-stock-list.ts";
import { LineModels } from "../../src/services/line-models.ts";
import { issueKey } from "../../src/services/keep-club.ts";
import { serviceItself } from "../../src/services/work.ts";
import { openDatabase } from "../../src/storage/database.ts";
import { runSteps } from "../support/shell-page.ts";

/** The demo's shops with two of its cars, served as the demo serves them; then what the README says to try. */

const section = /^## The demo's two shops\n([\s\S]*?)^## /m.exec(readFileSync("README.md", "utf8"))![1]!;
/** A season in which the driver will need packs and shells; that of the whole demo takes longer. */
const [seed, cars] = [5, ["C01", "C03"]];

let folder: string;
let shops: OpenShops;
let served: { address: string; close: () => Promise<void> };
let clock: { now: string };
let ask: (who: string, method: string, where: string) => Promise<any>;
let pullDue: () => Promise<number>;
const faults: unknown[] = [];
const variables = () =>
  Object.fromEntries(
    readFileSync(path.join(folder, "data/demo/env"), "utf8")
      .trim()
      .split("\n")
      .map((line) => line.split("=") as [string, string]),
  );

beforeAll(async () => {
  folder = mkdtempSync(path.join(tmpdir(), "demo-"));
  const db = await openDatabase("file::memory:");
  const season = drawSeason({ scenario: quillbrook, kinds: shippedKinds, seed, cars });
  const filled = await fillClub(db, quillbrook, season.events);
  const { now, newId } = filled.work;
  const ownerKey = await issueKey(db, { name: "owner", role: "owner", driverId: null }, now(), newId);
  shops = await openShops(filled, quillbrook, {
    ...{ folder: path.join(folder, "data/demo"), driver: "D01", ownerKey },
  });
  clock = { now: now() };
  const pulls = { allowPrivate: [loopback] };
  const models = new LineModels();
  const app = buildApp({
    ...{ db, clock: () => new Date(clock.now), pulls, models },
    log: (level, event, members) => {
      if (level === "error") faults.push(event, members);
    },
  });
  const server = serve({ fetch: app.fetch, port: 0, hostname: loopback });
  await new Promise<void>((resolve) => server.once("listening", resolve));
  const address = `http://${loopback}:${(server.address() as AddressInfo).port}`;
  shops.writeVariables(address);
  served = {
    address,
    close: async () => {
      shops.close();
      await new Promise((resolve) => server.close(resolve));
      await db.destroy();
    },
  };
  ask = async (who, method, where) => {
    const headers = { authorization: `Bearer ${variables()[who]}` };
    const answer = await fetch(`${address}${where}`, { method, headers });
    const body = await answer.json();
    if (!answer.ok) throw new Error(JSON.stringify(body));
    return body;
  };
  const workFor = (clubId: string) => ({
    ...{ ...serviceItself(clubId), db, newId, models, pulls, now: () => clock.now },
  });
  pullDue = () =>
    pullDueLists(workFor, (error) => {
      throw error;
    });
}, 60_000);
afterEach(() => expect(faults).toEqual([]));
afterAll(async () => {
  await served.close();
  rmSync(folder, { recursive: true, force: true });
});

const listOf = async (shop: "COUNTER" | "TOWN") =>
  (await ask("SHOP_KEY", "GET", `/v1/shops/${variables()[shop]}/stock-list?limit=100`)).items as any[];
const matchOf = async (shop: "COUNTER" | "TOWN", sku: string) =>
  (await listOf(shop)).find((one) => one.sku === sku)?.matchedBy;

describe("the demo's shops", () => {
  it("arrive both ways: the counter's list is sent, that of the shop in town is fetched and fetched again", async () => {
    const { items } = await ask("SHOP_KEY", "GET", "/v1/shops");
    const [counter, town] = items;
    expect([counter.name, counter.list.ageHours, counter.pullUrl]).toEqual([
      "Quillbrook club counter",
      16,
      null,
    ]);
    expect([town.name, town.list.ageHours, town.pullEveryMinutes]).toEqual(["Vane Street Models", 0, 5]);
    const ways = await Promise.all(
      items.map(({ id }: { id: string }) => ask("SHOP_KEY", "GET", `/v1/shops/${id}/arrivals`)),
    );
    expect(ways.map(({ items }) => items.map(({ way, outcome }: any) => [way, outcome]))).toEqual([
      [["push", "kept"]],
      [["pull", "kept"]],
    ]);
    // Five minutes later it is due; the shop's server says that nothing has changed.
    expect(await pullDue()).toBe(0);
    clock.now = new Date(Date.parse(clock.now) + 5 * 60_000).toISOString();
    expect(await pullDue()).toBe(1);
    const again = await ask("SHOP_KEY", "GET", `/v1/shops/${town.id}`);
    expect([again.pulledAt, again.list.listedAt, again.lastFailure]).toEqual([clock.now, clock.now, null]);
    expect((await ask("SHOP_KEY", "GET", `/v1/shops/${town.id}/arrivals`)).items).toHaveLength(1);
  });

  it("have things known by GTIN, by SKU, by the maker's number, and by nothing yet", async () => {
    const counter = ["C-1040", "QB-SP-487", "C-1133", "C-1701"].map((sku) => matchOf("COUNTER", sku));
    expect(await Promise.all(counter)).toEqual(["gtin", "sku", "mpn", null]);
    const town = ["V-8012", "V-3051", "V-5150"].map((sku) => matchOf("TOWN", sku));
    expect(await Promise.all(town)).toEqual(["gtin", "mpn", null]);
  });

  it("sell a line that ends, and the restock list names its replacement", async () => {
    const { suppliers, enough } = await ask("KEY", "GET", "/v1/restock-list?through=2027-06-30");
    const ending = [...suppliers.flatMap(({ lines }: any) => lines), ...enough]
      .flatMap(({ shelves }) => shelves)
      .filter(({ ended }) => ended !== null);
    expect(new Set(ending.map(({ shopName }) => shopName))).toEqual(
      new Set(["Quillbrook club counter", "Vane Street Models"]),
    );
    for (const { ended } of ending)
      expect(ended).toMatch(/^ends on 2027-02-26, replaced by QB-SP-671 \(Spur 70T module 0\.6, new hub\)/);
  });

  it("can be tried as the README says: as the shop keeper, and as a driver", async () => {
    const steps = await runSteps(section, folder, {});
    const [before, keeper, driver, answered, sold] = steps.map(({ printed }) => printed.split("\n")) as [
      ...[string[], string[], string[], string[], string[]],
    ];
    expect(before[0]).toMatch(
      /Quillbrook club counter has [1-9]\d* at AUD 85\.00, by its list of 16 hours ago\./,
    );
    expect(before[0]).toContain("Vane Street Models has none (5 to 9 days to get it)");
    expect(before[0]).not.toContain("elsewhere");
    expect(before[1]).toContain("ends on 2027-02-26, replaced by QB-SP-671");

    const [tried, kept, unmatched, matched] = keeper.map((line) => JSON.parse(line));
    expect(tried).toMatchObject({ outcome: "dry-run", rowsRejected: 1, keptFromBefore: 1, changed: 2 });
    expect(tried.rejected[0]).toMatchObject({ column: "Stock", sku: "QB-BO-710" });
    expect(tried.rejected[0].detail).toContain("is -1: a shelf cannot hold less than nothing");
    expect(kept).toMatchObject({ outcome: "kept-partly", changed: 2, gone: 0, unmatched: 1 });
    expect(unmatched.items.map(({ sku, likely }: any) => [sku, likely[0].sku])).toEqual([
      ["C-1701", "QB-BO-701"],
    ]);
    expect(matched).toMatchObject({ sku: "C-1701", matchedBy: "confirmed" });

    expect(driver[0]).toMatch(
      /Quillbrook club counter has none at AUD 85\.00.* \d must come from elsewhere\.$/,
    );
    expect(JSON.parse(driver[1]!)).toMatchObject({ outcome: "kept", changed: 1, rowsRejected: 0 });
    expect(driver[2]).toMatch(
      /Vane Street Models has 3 at AUD 89\.00, by its list of less than an hour ago\.$/,
    );
    expect(JSON.parse(driver[3]!)).toMatchObject({ state: "asked", pieces: 2, driverName: "Mara Tindle" });

    expect(JSON.parse(answered[0]!)).toMatchObject({ state: "confirmed", answer: "under the counter" });
    expect(JSON.parse(answered[1]!).items[0].state).toBe("confirmed");

    // One shop's list both ways: one row is sent, and the next fetch takes the catalogue as a whole again.
    expect(JSON.parse(sold[0]!)).toMatchObject({ outcome: "kept", mode: "changes", changed: 1, gone: 0 });
    expect(sold[1]).toMatch(
      /Vane Street Models has 2 at AUD 89\.00, by its list of less than an hour ago\.$/,
    );
    const { TOWN } = variables();
    const fetched = await ask("SHOP_KEY", "POST", `/v1/shops/${TOWN}/pulls`);
    expect([fetched.outcome, fetched.changed]).toEqual(["kept", 1]);
    const { items: arrivals } = await ask("SHOP_KEY", "GET", `/v1/shops/${TOWN}/arrivals`);
    expect(arrivals.map(({ way, mode }: any) => `${way} ${mode}`)).toEqual([
      ...["pull full", "push changes", "pull full", "pull full"],
    ]);

    // The row that was wrong counts on as it was.
    const bumper = (await listOf("COUNTER")).find(({ sku }) => sku === "QB-BO-710");
    expect([bumper.saidAt, bumper.onHand > 0]).toEqual(["2026-11-30T08:00:00.000Z", true]);
    const { items } = await ask("DRIVER_KEY", "GET", "/v1/cars");
    const { carry } = await ask("DRIVER_KEY", "GET", `/v1/cars/${items[0].id}/pit-list`);
    const pack = carry.find(({ sku }: any) => sku === "QB-EL-801");
    expect(pack.shelves.map(({ shopName, packs }: any) => [shopName, packs])).toEqual([
      ["Quillbrook club counter", 0],
      ["Vane Street Models", 3],
    ]);
    const list = await ask("DRIVER_KEY", "GET", "/v1/restock-list?through=2027-06-30");
    // Two of the shells are held, for this driver.
    const shell = list.suppliers
      .flatMap(({ lines }: any) => lines)
      .find(({ sku }: any) => sku === "QB-BO-701");
    expect(shell.shelves[0]).toMatchObject({ shopSku: "C-1701", heldPieces: 2, heldForDriver: 2 });
    expect(shell).toMatchObject({ fromShelves: 2, fromElsewhere: 0 });
  }, 30_000);
});
