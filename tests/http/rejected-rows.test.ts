import { v7 } from "uuid";
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from "vitest";
import { foundClub } from "../../src/services/keep-club.ts";
import { LineModels } from "../../src/services/line-models.ts";
import { pullDueLists } from "../../src/services/pull-stock-list.ts";
import { serviceItself } from "../../src/services/work.ts";
import { insertKey, makeKey } from "../../src/storage/keys.ts";
import { startListServer } from "../support/list-server.ts";
import { putList } from "../support/put-list.ts";
import { startTestService, type TestService } from "../support/service.ts";

/** What is wrong with a list can be read after it arrived: nobody waits for the answer where it is fetched on schedule. */
const pulls = { allowPrivate: true, timeMs: 1000, maxBytes: 2 ** 20 };
const noon = "2026-12-01T12:00:00.000Z";
const good = "sku,inventoryLevel,price\nA-1,4,9.00\nB-2,0,3.50\n";
/** Two things are wrong with its second row, one with its third, and one with its last. */
const bad = "sku,inventoryLevel,price\nA-1,3,9.00\nB-2,-1,cheap\nC-3,half,1.00\nA-1,1,9.00\n";
const faultsOfBad = [
  [2, "inventoryLevel", "B-2", expect.stringContaining("less than nothing")],
  [2, "price", "B-2", expect.stringContaining("digits with the decimal sign")],
  [3, "inventoryLevel", "C-3", expect.stringContaining("whole number")],
  [4, "sku", "A-1", expect.stringContaining("is there twice: row 1")],
];

let service: TestService;
let server: Awaited<ReturnType<typeof startListServer>>;
let key: string;
let shop: string;
let made = 0;

const put = (body: string, query = "", to = shop) => putList(service, key, to, body, { query });
const sends = (list: string) =>
  server.answers((_, response) => void response.setHeader("content-type", "text/csv").end(list));
const arrivals = async (of = shop) => (await service.owner.get(`/v1/shops/${of}/arrivals`)).body.items;
const pathOf = (arrivalId: string, of = shop) => `/v1/shops/${of}/arrivals/${arrivalId}/rejected-rows`;
const faultsOf = async (arrivalId: string, of = shop) =>
  (await service.owner.must("GET", pathOf(arrivalId, of))).items.map(({ row, column, sku, detail }: any) => [
    row,
    column,
    sku,
    detail,
  ]);
const listed = async () => (await service.owner.get(`/v1/shops/${shop}/stock-list`)).body.items;
const kept = async () =>
  (await service.db.selectFrom("rejectedRows").selectAll().execute()).map(({ listId, no }) => [listId, no]);
/** Fetches what is due, as the service does by itself. */
async function fetchDue(at: string): Promise<void> {
  service.clock.now = at;
  const { db, clock } = service;
  const base = { db, now: () => clock.now, newId: () => v7(), models: new LineModels(), pulls };
  const faults: Error[] = [];
  const look = (clubId: string) => ({ ...base, ...serviceItself(clubId) });
  expect(await pullDueLists(look, (fault) => faults.push(fault))).toBe(1);
  expect(faults).toEqual([]);
}

beforeAll(async () => {
  server = await startListServer();
});
beforeEach(async () => {
  service = await startTestService(noon, { pulls });
  key = await service.keyFor("shop");
  const body = { name: `Shop ${++made}`, pullUrl: server.url, pullEveryMinutes: 60 };
  shop = (await service.owner.must("POST", "/v1/shops", body)).id;
});
afterEach(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});
afterAll(() => server.close());

describe("a list that is fetched on schedule and refused", () => {
  test("keeps every fault of its rows, and the last good list counts on", async () => {
    sends(good);
    await fetchDue(noon);
    const before = await listed();
    sends(bad);
    await fetchDue("2026-12-01T13:00:00.000Z");
    const [last] = await arrivals();
    expect(last).toMatchObject({ way: "pull", outcome: "refused", rowsRead: 4, rejected: 3 });
    expect(await faultsOf(last.id)).toEqual(faultsOfBad);
    expect(await listed()).toEqual(before);
  });

  test("has its faults forgotten when a good one comes, which has none", async () => {
    sends(bad);
    await fetchDue(noon);
    const [refused] = await arrivals();
    sends(good);
    await fetchDue("2026-12-01T14:00:00.000Z");
    const [last] = await arrivals();
    expect([last.outcome, await faultsOf(last.id)]).toEqual(["kept", []]);
    const gone = await service.owner.get(pathOf(refused.id));
    expect([gone.status, gone.body.type, gone.body.detail]).toEqual([
      404,
      "/problems/not_found",
      expect.stringContaining("no longer kept, only those of the shop's last arrival are"),
    ]);
    expect(await kept()).toEqual([]);
  });

  test("has them in the place of those of the arrival before, and beside those of another shop", async () => {
    const other = (await service.owner.must("POST", "/v1/shops", { name: "Other" })).id;
    await put(bad, "", other);
    sends(bad);
    await fetchDue(noon);
    sends("sku,inventoryLevel\nD-4,-7\n");
    await fetchDue("2026-12-01T14:00:00.000Z");
    const [last, before] = await arrivals();
    expect(await faultsOf(last.id)).toEqual([[1, "inventoryLevel", "D-4", expect.stringContaining("-7")]]);
    expect((await service.owner.get(pathOf(before.id))).status).toBe(404);
    const [others] = await arrivals(other);
    expect(await faultsOf(others.id, other)).toEqual(faultsOfBad);
    expect(await kept()).toHaveLength(5);
  });
});

describe("the faults of a list", () => {
  test("that was kept in part are kept, and so are those of one that is sent and refused", async () => {
    expect((await put(bad)).status).toBe(422);
    expect(await faultsOf((await arrivals())[0].id)).toEqual(faultsOfBad);
    expect((await put(bad, "?acceptPartly=true")).body).toMatchObject({ outcome: "kept-partly", rows: 1 });
    const [partly, refused] = await arrivals();
    expect([partly.outcome, partly.rowsRead, partly.rejected]).toEqual(["kept-partly", 4, 3]);
    expect(await faultsOf(partly.id)).toEqual(faultsOfBad);
    expect((await service.owner.get(pathOf(refused.id))).status).toBe(404);
  });

  test("come in pages that end, in order", async () => {
    await put(bad);
    const [{ id }] = await arrivals();
    const first = await service.owner.get(`${pathOf(id)}?limit=3`);
    expect(first.headers.get("link")).toContain(first.body.next);
    const second = await service.owner.must("GET", `${pathOf(id)}?limit=3&after=${first.body.next}`);
    expect([first.body.items.length, second.items.length, second.next]).toEqual([3, 1, null]);
    const rows = [...first.body.items, ...second.items].map(({ row, column }: any) => [row, column]);
    expect(rows).toEqual(faultsOfBad.map(([row, column]) => [row, column]));
  });

  test("are kept as far as a refusal lists them: ten thousand, and no more", async () => {
    const rows = Array.from({ length: 10_001 }, (_, i) => `S-${i},-1`).join("\n");
    const refused = await put(`sku,inventoryLevel\n${rows}\n`);
    const [{ id, rejected }] = await arrivals();
    expect(rejected).toBe(10_001);
    const details: string[] = [];
    for (let after = ""; ; ) {
      const page = await service.owner.must("GET", `${pathOf(id)}?limit=500${after}`);
      for (const { row, column, detail } of page.items) details.push(`row ${row}, ${column}: ${detail}`);
      if (page.next === null) break;
      after = `&after=${page.next}`;
    }
    expect(details).toHaveLength(10_000);
    expect(details).toEqual(refused.body.errors.map(({ detail }: any) => detail));
  });

  test("that were found before it broke off are kept too", async () => {
    expect((await put(`${bad}"D-4,1,1.00`)).body.detail).toContain("was it cut off");
    const [{ id, outcome, rowsRead, rejected }] = await arrivals();
    expect([outcome, rowsRead, rejected]).toEqual(["refused", 0, 2]);
    expect(await faultsOf(id)).toEqual(faultsOfBad.slice(0, 3));
  });

  test("stay through a dry run, a list that cannot be fetched, and one that is the same as the list that counts", async () => {
    await put(good);
    await put(bad);
    const [{ id }] = await arrivals();
    await put("sku,inventoryLevel\nD-4,-7\n", "?dryRun=true");
    server.answers((_, response) => void response.writeHead(503).end());
    await fetchDue(noon);
    expect((await put(good)).body.outcome).toBe("unchanged");
    expect(await faultsOf(id)).toEqual(faultsOfBad);
  });

  test("stay few however many lists arrive, and so do the arrivals", async () => {
    for (let i = 0; i < 204; i++) await put(`sku,inventoryLevel\nA-1,-1\nB-2,-${i}\nB-2,x\n`);
    const { n } = await service.db
      .selectFrom("stockLists")
      .select((e) => e.fn.countAll<number>().as("n"))
      .executeTakeFirstOrThrow();
    expect(Number(n)).toBeLessThanOrEqual(202);
    const [{ id }] = await arrivals();
    expect(await kept()).toEqual([1, 2, 3].map((no) => [id, no]));
  });
});

describe("who may read what is wrong with a list", () => {
  test("is whoever may read how it arrived: each role the same", async () => {
    await put(bad);
    const [{ id }] = await arrivals();
    const { id: driverId } = await service.owner.must("POST", "/v1/drivers", { name: "Mara Tindle" });
    const keys = {
      ...{ owner: service.owner, shop: await service.as("shop"), reader: await service.as("reader") },
      ...{ driver: await service.as("driver", driverId), nobody: service.anyone },
    };
    const statuses: Record<string, number[]> = {};
    for (const [role, caller] of Object.entries(keys))
      statuses[role] = [
        (await caller.get(`/v1/shops/${shop}/arrivals`)).status,
        (await caller.get(pathOf(id))).status,
      ];
    expect(statuses).toEqual({
      ...{ owner: [200, 200], shop: [200, 200], reader: [200, 200], driver: [200, 200] },
      nobody: [401, 401],
    });
  });

  test("is nobody of another club, and an arrival is found under its own shop only", async () => {
    await put(bad);
    const [{ id }] = await arrivals();
    const clubId = v7();
    const named = { name: "Other club", currency: "NZD", timeZone: "UTC", at: noon, newId: () => v7() };
    await foundClub(service.db, { id: clubId, ...named });
    const strange = makeKey();
    const holder = { name: "owner", role: "owner" as const, driverId: null, createdAt: noon };
    await insertKey(service.db, strange, { id: v7(), clubId, ...holder });
    const stranger = service.withKey(strange);
    const own = (await stranger.must("POST", "/v1/shops", { name: "Strange" })).id;
    const other = (await service.owner.must("POST", "/v1/shops", { name: "Other" })).id;
    const asked = [
      await stranger.get(pathOf(id)),
      await stranger.get(pathOf(id, own)),
      await service.owner.get(pathOf(id, other)),
      await service.owner.get(pathOf("no-such-arrival")),
      await service.owner.get(pathOf(id, "no-such-shop")),
    ];
    expect(asked.map(({ status }) => status)).toEqual([404, 404, 404, 404, 404]);
    expect((await service.owner.get(`${pathOf(id)}?limit=0`)).status).toBe(422);
  });
});
