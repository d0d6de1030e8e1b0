import { gzipSync } from "node:zlib";
import { afterAll, beforeAll, beforeEach, describe, expect, test } from "vitest";
import { startGarage } from "../support/garage.ts";
import { putList } from "../support/put-list.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
let shopKey: TestService["owner"];
let key: string;
let shop: string;

beforeAll(async () => {
  service = await startTestService();
  garage = await startGarage(service);
  key = await service.keyFor("shop");
  shopKey = service.withKey(key);
});
afterAll(() => service.close());

let made = 0;
const newShop = async (members: object = {}) => {
  const name = `Shop ${++made}`;
  return (await shopKey.must("POST", "/v1/shops", { name, ...members })).id as string;
};
const put = (
  id: string,
  body: string | Uint8Array,
  { query = "", type = "text/csv", headers = {} as Record<string, string> } = {},
) => putList(service, key, id, body, { query, headers: { "content-type": type, ...headers } });
const listed = async (id: string) =>
  (await shopKey.get(`/v1/shops/${id}/stock-list?limit=500`)).body.items as any[];
const state = async (id: string) => (await shopKey.get(`/v1/shops/${id}`)).body;

const good =
  "sku,name,inventoryLevel,price,priceCurrency\nT-SP-1,Spur 87T,4,9.00,AUD\nB-2,Bush 5 mm,0,3.5,AUD\n";

describe("a list that arrives", () => {
  beforeEach(async () => {
    shop = await newShop();
  });

  test("as CSV with a header is kept, in minor units, and matched with the club's lines", async () => {
    const answer = await put(shop, good);
    expect(answer.body).toMatchObject({
      ...{ outcome: "kept", rowsRead: 2, rowsRejected: 0, added: 2, changed: 0, gone: 0 },
      ...{ rows: 2, matched: 1, unmatched: 1 },
    });
    expect(await listed(shop)).toMatchObject([
      { sku: "B-2", onHand: 0, priceMinorUnits: 350, lineId: null, matchedBy: null },
      {
        sku: "T-SP-1",
        name: "Spur 87T",
        onHand: 4,
        priceMinorUnits: 900,
        lineId: garage.line.id,
        matchedBy: "sku",
      },
    ]);
    expect((await state(shop)).list).toMatchObject({ rows: 2, matched: 1, unmatched: 1, ageHours: 0 });
  });

  test("as JSON and as JSON-LD says the same as the CSV", async () => {
    await put(shop, good);
    const before = await listed(shop);
    const rows = [
      { sku: "T-SP-1", name: "Spur 87T", inventoryLevel: 4, price: "9.00", priceCurrency: "AUD" },
      { sku: "B-2", name: "Bush 5 mm", inventoryLevel: 0, price: 3.5 },
    ];
    const asJson = await put(shop, JSON.stringify(rows), { type: "application/json" });
    expect([asJson.status, asJson.body.changed, asJson.body.gone]).toEqual([200, 0, 0]);
    const level = (value: number) => ({ "@type": "QuantitativeValue", value });
    const graph = [
      {
        "@type": "Product",
        sku: "T-SP-1",
        name: "Spur 87T",
        offers: { "@type": "Offer", price: "9.00", priceCurrency: "AUD", inventoryLevel: level(4) },
      },
      {
        "@type": "Offer",
        price: 3.5,
        inventoryLevel: level(0),
        itemOffered: { "@type": "Product", sku: "B-2", name: "Bush 5 mm" },
      },
    ];
    for (const document of [{ "@context": "https://schema.org", "@graph": graph }, graph]) {
      const linked = await put(shop, JSON.stringify(document), { type: "application/ld+json" });
      expect([linked.status, linked.body.changed, linked.body.added, linked.body.gone]).toEqual([
        200, 0, 0, 0,
      ]);
    }
    expect(await listed(shop)).toEqual(before);
  });

  test("a second time is unchanged, keeps nothing anew and counts as new knowledge", async () => {
    await put(shop, good);
    service.clock.now = "2026-12-01T15:00:00.000Z";
    expect((await state(shop)).list.ageHours).toBe(6);
    expect((await put(shop, good)).body).toMatchObject({ outcome: "unchanged", rowsRead: 0, rows: 2 });
    expect((await state(shop)).list.ageHours).toBe(0);
    expect((await shopKey.get(`/v1/shops/${shop}/arrivals`)).body.items).toHaveLength(1);
    service.clock.now = "2026-12-01T09:00:00.000Z";
  });

  test("in full: what is not on it is gone; as changes: what it does not say stays", async () => {
    await put(shop, good);
    const changes = await put(shop, "sku,inventoryLevel\nT-SP-1,2\nC-3,7\n", { query: "?mode=changes" });
    expect(changes.body).toMatchObject({ added: 1, changed: 1, gone: 0, rows: 3, matched: 1 });
    expect((await listed(shop)).map((row) => [row.sku, row.onHand, row.priceMinorUnits])).toEqual([
      ["B-2", 0, 350],
      ["C-3", 7, null],
      ["T-SP-1", 2, 900],
    ]);
    const full = await put(shop, "sku,inventoryLevel\nC-3,7\n");
    expect(full.body).toMatchObject({ added: 0, changed: 0, gone: 2, rows: 1 });
  });

  test("as a dry run says what would change and which rows are wrong, and keeps nothing", async () => {
    await put(shop, good);
    const before = await state(shop);
    const answer = await put(shop, "sku,inventoryLevel\nT-SP-1,1\nD-4,5\nE-5,-1\n", {
      query: "?dryRun=true",
    });
    expect(answer.body).toMatchObject({
      ...{ outcome: "dry-run", dryRun: true, rowsRead: 3, added: 1, changed: 1, gone: 1, rowsRejected: 1 },
      rejected: [
        {
          row: 3,
          column: "inventoryLevel",
          sku: "E-5",
          detail: expect.stringContaining("less than nothing"),
        },
      ],
    });
    expect(await state(shop)).toEqual(before);
    expect((await listed(shop)).map(({ sku }) => sku)).toEqual(["B-2", "T-SP-1"]);
  });

  test("with a rejected row is refused as a whole, unless its sound rows are asked to be kept", async () => {
    await put(shop, good);
    const mixed = "sku,inventoryLevel\nT-SP-1,1\nE-5,-1\n";
    const refused = await put(shop, mixed);
    expect([refused.status, refused.body.type]).toEqual([422, "/problems/import_refused"]);
    expect(refused.body.errors).toEqual([
      { pointer: "#/rows/1/inventoryLevel", detail: expect.stringContaining("row 2, inventoryLevel: is -1") },
    ]);
    expect((await listed(shop)).map(({ onHand }) => onHand)).toEqual([0, 4]);
    const partly = await put(shop, mixed, { query: "?acceptPartly=true" });
    expect(partly.body).toMatchObject({ outcome: "kept-partly", rowsRejected: 1, rows: 1, gone: 1 });
    expect((await listed(shop)).map(({ sku, onHand }) => [sku, onHand])).toEqual([["T-SP-1", 1]]);
  });

  test("kept in part keeps the last good row of a thing whose row is wrong, and says how old it is", async () => {
    const first = "2026-12-01T09:00:00.000Z";
    await put(shop, good);
    service.clock.now = "2026-12-03T09:00:00.000Z";
    const wrong = "sku,inventoryLevel,price\nT-SP-1,3,nine\nC-3,7,\nE-5,-1,\n";
    const tried = await put(shop, wrong, { query: "?dryRun=true" });
    const kept = await put(shop, wrong, { query: "?acceptPartly=true" });
    const same = {
      ...{ rowsRejected: 2, keptFromBefore: 1, added: 1, changed: 0, gone: 1, rows: 2, matched: 1 },
      rejected: [
        { row: 1, column: "price", sku: "T-SP-1", keptFrom: first },
        { row: 3, column: "inventoryLevel", sku: "E-5", keptFrom: null },
      ],
    };
    expect(tried.body).toMatchObject({ outcome: "dry-run", ...same });
    expect(kept.body).toMatchObject({
      ...{ outcome: "kept-partly", ...same },
      sentence: expect.stringContaining("2 rejected (of 1 of these the last good row counts on)"),
    });
    const said = async () =>
      (await listed(shop)).map(({ sku, onHand, saidAt, matchedBy }) => [sku, onHand, saidAt, matchedBy]);
    expect(await said()).toEqual([
      ["C-3", 7, null, null],
      ["T-SP-1", 4, first, "sku"],
    ]);
    const { rows, matched, unmatched, listedAt } = (await state(shop)).list;
    expect([rows, matched, unmatched, listedAt]).toEqual([2, 1, 1, service.clock.now]);
    // As long as the row stays wrong, the old one stays as old as it is.
    service.clock.now = "2026-12-04T09:00:00.000Z";
    expect((await put(shop, wrong, { query: "?acceptPartly=true" })).body.rejected[0].keptFrom).toBe(first);
    // A sound row makes it new, also one that says only a part.
    await put(shop, "sku,price\nT-SP-1,9.50\n", { query: "?mode=changes" });
    expect(await said()).toEqual([
      ["C-3", 7, null, null],
      ["T-SP-1", 4, null, "sku"],
    ]);
    // A wrong row of a list of changes leaves the thing as it was, and as old.
    service.clock.now = "2026-12-05T09:00:00.000Z";
    const changed = await put(shop, "sku,inventoryLevel\nT-SP-1,-2\nC-3,6\n", {
      query: "?mode=changes&acceptPartly=true",
    });
    expect(changed.body).toMatchObject({
      ...{ outcome: "kept-partly", keptFromBefore: 1, changed: 1, gone: 0, rows: 2 },
      rejected: [{ sku: "T-SP-1", keptFrom: "2026-12-04T09:00:00.000Z" }],
    });
    expect(await said()).toEqual([
      ["C-3", 6, null, null],
      ["T-SP-1", 4, "2026-12-04T09:00:00.000Z", "sku"],
    ]);
    service.clock.now = first;
  });

  test("kept in part takes the sound row where a thing is there twice, and the cells before a missing one", async () => {
    await put(shop, good);
    const twice = "sku,name,inventoryLevel,price\nT-SP-1,Spur 87T,5,x\nT-SP-1,Spur 87T,6,9\nB-2,Bush 5 mm\n";
    const { body } = await put(shop, twice, { query: "?acceptPartly=true" });
    expect(body).toMatchObject({ rowsRejected: 2, keptFromBefore: 1, gone: 0, rows: 2 });
    expect(body.rejected.map(({ sku, keptFrom }: any) => [sku, keptFrom])).toEqual([
      ["T-SP-1", null],
      ["B-2", "2026-12-01T09:00:00.000Z"],
    ]);
    expect((await listed(shop)).map(({ sku, onHand, saidAt }) => [sku, onHand, saidAt === null])).toEqual([
      ["B-2", 0, false],
      ["T-SP-1", 6, true],
    ]);
  });

  test("in the shop's own words, encoding, separator and decimal sign needs no change of the shop", async () => {
    const own = await newShop({
      columns: {
        sku: "Artikel",
        name: "Bezeichnung",
        inventoryLevel: "Bestand",
        price: "VK",
        deliveryLeadTime: "Tage",
      },
      ...{ encoding: "windows-1252", decimal: ",", separator: ";" },
    });
    const text = 'Artikel;Lager;Bezeichnung;Bestand;VK;Tage\r\nK-1;A3;"Büchse Ø 5; lang";3;4,50;3-7\r\n';
    expect((await put(own, Buffer.from(text, "latin1"))).status).toBe(200);
    expect(await listed(own)).toMatchObject([
      {
        sku: "K-1",
        name: "Büchse Ø 5; lang",
        onHand: 3,
        priceMinorUnits: 450,
        leadTimeDays: { least: 3, most: 7 },
      },
    ]);
  });

  test("of JSON and schema.org has the decimal point, whatever the shop's CSV is written with", async () => {
    const own = await newShop({ decimal: ",", separator: ";" });
    const linked = {
      "@context": "https://schema.org",
      "@type": "Offer",
      ...{
        sku: "J-1",
        price: "9.50",
        priceCurrency: "AUD",
        inventoryLevel: { "@type": "QuantitativeValue", value: 2 },
      },
    };
    expect((await put(own, JSON.stringify(linked), { type: "application/ld+json" })).status).toBe(200);
    expect(await listed(own)).toMatchObject([{ sku: "J-1", priceMinorUnits: 950 }]);
    const plain = JSON.stringify([{ sku: "J-1", inventoryLevel: 2, price: "9.60" }]);
    expect((await put(own, plain, { type: "application/json" })).status).toBe(200);
    expect(await listed(own)).toMatchObject([{ sku: "J-1", priceMinorUnits: 960 }]);
  });

  test("compressed is read, and another list of the same shop may come by another way", async () => {
    const answer = await put(shop, gzipSync(good), { headers: { "content-encoding": "gzip" } });
    expect([answer.status, answer.body.rows]).toEqual([200, 2]);
  });
});
