import jsonld from "jsonld";
import { afterAll, beforeAll, beforeEach, describe, expect, test } from "vitest";
import { startGarage } from "../support/garage.ts";
import { putList } from "../support/put-list.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
let key: string;
let shopKeeper: TestService["owner"];
let driver: TestService["owner"];
let shop: string;
let made = 0;
let lines: Record<string, string>;

const put = (body: string, query = "", type = "text/csv") =>
  putList(service, key, shop, body, { query, headers: { "content-type": type } });
const listed = async () =>
  new Map<string, any>(
    (await shopKeeper.get(`/v1/shops/${shop}/stock-list`)).body.items.map((row: any) => [row.sku, row]),
  );

beforeAll(async () => {
  service = await startTestService();
  garage = await startGarage(service);
  key = await service.keyFor("shop");
  shopKeeper = service.withKey(key);
  driver = await service.as("driver", garage.driver.id);
  const add = async (members: object) =>
    (
      await service.owner.must("POST", "/v1/lines", {
        ...{ kindId: garage.kind.id, priceMinorUnits: 900, supplierId: garage.supplier.id },
        ...members,
      })
    ).id as string;
  lines = {
    gtin: await add({ sku: "QB-1", name: "Spur 90T 48 DP", gtin: "614141210220" }),
    sku: await add({ sku: "QB-2", name: "Spur 93T 48 DP" }),
    mpn: await add({ sku: "QB-3", name: "Layshaft belt, front", makersPartNumber: "LB-120" }),
    twinA: await add({ sku: "QB-4", name: "Damper oil 350", makersPartNumber: "DO-350" }),
    twinB: await add({ sku: "QB-5", name: "Damper oil 350, large", makersPartNumber: "DO-350" }),
    tyre: await add({ sku: "QB-6", name: "Control slick touring, set of four", packSize: 4 }),
  };
});
beforeEach(async () => {
  shop = (await shopKeeper.must("POST", "/v1/shops", { name: `Shop ${++made}` })).id;
});
afterAll(() => service.close());

describe("the club's line that a thing is", () => {
  test("is found by GTIN whatever its length, then by SKU, then by the maker's part number, and by none that two lines have", async () => {
    // The same item as 614141210220, printed with 14 digits (GS1 General Specifications).
    const list =
      "sku,gtin,mpn\nS-1,00614141210220,LB-120\nqb-2,,LB-120\nS-3,,lb-120\nS-4,,DO-350\nS-5,6291041500213,\n";
    expect((await put(list)).body).toMatchObject({ rows: 5, matched: 3, unmatched: 2 });
    const rows = await listed();
    expect(
      ["S-1", "qb-2", "S-3", "S-4", "S-5"].map((sku) => [rows.get(sku).lineId, rows.get(sku).matchedBy]),
    ).toEqual([
      [lines["gtin"], "gtin"],
      [lines["sku"], "sku"],
      [lines["mpn"], "mpn"],
      [null, null],
      [null, null],
    ]);
  });

  test("is proposed by its words, misspelt too, where no number tells", async () => {
    await put("sku,name\nX-1,Controll slicks touring (4 pcs)\nX-2,Belt front layshaft\nX-3,Sugar\n");
    const { items } = (await shopKeeper.get(`/v1/shops/${shop}/unmatched`)).body;
    expect(items.map((row: any) => [row.sku, row.likely[0]?.sku])).toEqual([
      ["X-1", "QB-6"],
      ["X-2", "QB-3"],
      ["X-3", undefined],
    ]);
  });

  test("is confirmed by a person once, for this and all later lists; or denied", async () => {
    await put("sku,name\nX-1,Slicks\nX-3,Sugar\n");
    const match = (sku: string, lineId: string | null) =>
      shopKeeper.must("PUT", `/v1/shops/${shop}/matches/${sku}`, { lineId });
    expect(await match("X-1", lines["tyre"]!)).toMatchObject({
      lineId: lines["tyre"],
      matchedBy: "confirmed",
    });
    await match("X-3", null);
    expect((await shopKeeper.get(`/v1/shops/${shop}/unmatched`)).body.items).toEqual([]);
    expect((await put("sku,name\nX-1,Slicks\nX-3,Sugar\nX-4,Tea\n")).body).toMatchObject({
      matched: 1,
      unmatched: 1,
    });
    expect((await listed()).get("X-3")).toMatchObject({ lineId: null, matchedBy: "none" });
    // Said again, it is corrected.
    await match("X-1", lines["sku"]!);
    expect((await listed()).get("X-1").lineId).toBe(lines["sku"]);
    expect((await shopKeeper.get(`/v1/shops/${shop}`)).body.list).toMatchObject({ matched: 1, unmatched: 1 });
    const { items } = (await shopKeeper.get("/v1/changes?types=stock-list.matched&limit=500")).body;
    const ofShop = items.filter(({ subject }: any) => subject.kind === "shop" && subject.id === shop);
    expect(ofShop.map(({ data }: any) => [data.sku, data.lineId])).toEqual([
      ["X-1", lines["tyre"]],
      ["X-3", null],
      ["X-1", lines["sku"]],
    ]);
    const unknown = await shopKeeper.put(`/v1/shops/${shop}/matches/none`, { lineId: null });
    expect([unknown.status, unknown.body.detail]).toEqual([404, expect.stringContaining('"none"')]);
  });

  test("is looked for anew when the club's lines change", async () => {
    await put("sku,mpn\nS-9,ZZ-9\n");
    expect((await listed()).get("S-9").lineId).toBeNull();
    const line = {
      sku: `QB-9${made}`,
      name: "New",
      kindId: garage.kind.id,
      priceMinorUnits: 1,
      makersPartNumber: "ZZ-9",
    };
    const { id } = await service.owner.must("POST", "/v1/lines", line);
    expect((await listed()).get("S-9")).toMatchObject({ lineId: id, matchedBy: "mpn" });
  });
});

describe("what a driver is told", () => {
  const through = "2027-06-30";
  const restock = async () => {
    const { body } = await driver.get(`/v1/restock-list?through=${through}`);
    return [...body.suppliers.flatMap((one: any) => one.lines), ...body.enough].find(
      (one: any) => one.shelves !== undefined,
    );
  };
  beforeAll(async () => {
    const { must } = service.owner;
    const piece = { lineId: garage.line.id, mark: "in use", from: "none" };
    await must("POST", `/v1/cars/${garage.car.id}/fittings`, {
      position: "spur",
      at: "2026-11-01T08:00:00Z",
      piece,
    });
    for (const startsOn of ["2027-02-07", "2027-03-07", "2027-04-04", "2027-05-02", "2027-06-06"])
      await must("POST", "/v1/meetings", {
        name: startsOn,
        startsOn,
        surface: "dusty-clay",
        plannedRuns: 30,
      });
  });

  test("the restock list: what is on the shelf, its price, its age, what is held, and what must come from elsewhere", async () => {
    const before = await restock();
    expect(before).toMatchObject({ shelves: [], fromShelves: 0, fromElsewhere: before.pieces });
    expect(before.pieces).toBeGreaterThan(1);
    await put("sku,inventoryLevel,price,availability,deliveryLeadTime\nT-SP-1,1,9.50,InStock,3-7\n");
    service.clock.now = "2026-12-02T09:00:00.000Z";
    const entry = await restock();
    expect(entry.shelves).toMatchObject([
      {
        ...{
          shopId: shop,
          shopSku: "T-SP-1",
          packs: 1,
          pieces: 1,
          heldPieces: 0,
          priceMinorUnits: 950,
          currency: "AUD",
        },
        ...{
          availability: "InStock",
          leadTimeDays: { least: 3, most: 7 },
          source: "list",
          ageHours: 24,
          ended: null,
        },
      },
    ]);
    expect([entry.fromShelves, entry.fromElsewhere]).toEqual([1, entry.pieces - 1]);
    expect(entry.sentence).toContain("has 1 at AUD 9.50, by its list of 24 hours ago");
    expect(entry.sentence).toContain(`${entry.pieces - 1} must come from elsewhere`);
    service.clock.now = "2026-12-01T09:00:00.000Z";
    await put("sku,inventoryLevel\nQB-1,0\n");
  });

  test("of a line that has ended: since when, what replaces it, and what to know; the shelf's last ones still serve", async () => {
    const { owner } = service;
    const next = await owner.must("POST", "/v1/lines", {
      sku: "T-SP-2",
      name: "Spur 87T, new hub",
      kindId: garage.kind.id,
      priceMinorUnits: 950,
    });
    const ending = { supersededById: next.id, endedOn: "2026-02-26", notes: "needs an adapter" };
    await owner.must("PATCH", `/v1/lines/${garage.line.id}`, ending);
    await put("sku,inventoryLevel\nT-SP-1,1\nT-SP-2,3\n");
    const entry = await restock();
    expect([entry.sku, entry.insteadOf]).toEqual(["T-SP-2", "T-SP-1"]);
    expect(entry.shelves.map((one: any) => [one.shopSku, one.ended])).toEqual([
      ["T-SP-2", null],
      ["T-SP-1", "ended on 2026-02-26, replaced by T-SP-2 (Spur 87T, new hub): needs an adapter"],
    ]);
    await owner.must("PATCH", `/v1/lines/${garage.line.id}`, {
      supersededById: null,
      endedOn: null,
      notes: null,
    });
    await put("sku,inventoryLevel\nQB-1,0\n");
  });

  test("a pack of four counts as four pieces", async () => {
    await put("sku,inventoryLevel,price\nQB-6,2,52.00\n");
    const { items } = (await driver.get(`/v1/shops/${shop}/stock-list?lineId=${lines["tyre"]}`)).body;
    expect(items).toMatchObject([{ onHand: 2, priceMinorUnits: 5200 }]);
  });
});

describe("a reservation", () => {
  const ask = (members: object = {}) =>
    driver.post("/v1/reservations", {
      shopId: shop,
      lineId: garage.line.id,
      pieces: 2,
      forDay: "2026-12-06",
      ...members,
    });

  test("is asked for by a driver, seen by the shop with a name and nothing of the log, confirmed, and counted", async () => {
    const asked = await ask({ notes: "for the second car" });
    expect([asked.status, asked.body.state]).toEqual([201, "asked"]);
    const seen = (await shopKeeper.get(`/v1/reservations?shopId=${shop}&state=asked`)).body.items;
    expect(seen).toMatchObject([
      { driverName: "Una Wickerley", sku: "T-SP-1", pieces: 2, forDay: "2026-12-06" },
    ]);
    expect((await shopKeeper.get("/v1/runs")).status).toBe(403);
    const path = `/v1/reservations/${asked.body.id}`;
    expect((await driver.put(`${path}/answer`, { confirmed: true })).status).toBe(403);
    const answered = await shopKeeper.put(`${path}/answer`, { confirmed: true, notes: "until noon" });
    expect(answered.body).toMatchObject({ state: "confirmed", answer: "until noon", version: 2 });
    await put("sku,inventoryLevel\nT-SP-1,3\n");
    const found = (await driver.get("/v1/restock-list?through=2027-06-30")).body;
    const entry = [...found.suppliers.flatMap((one: any) => one.lines), ...found.enough][0];
    const here = entry.shelves.find((one: any) => one.shopId === shop);
    expect(here).toMatchObject({ pieces: 3, heldPieces: 2, heldForDriver: 2 });
    expect((await driver.get(path)).body.sentence).toBe(
      `Una Wickerley asked Shop ${made} to hold 2 pieces of T-SP-1 (Spur 87T) for 2026-12-06; it is confirmed: until noon.`,
    );
  });

  test("is refused by the shop, or withdrawn by the driver, after which nobody answers it", async () => {
    const { id } = (await ask()).body;
    expect((await shopKeeper.put(`/v1/reservations/${id}/answer`, { confirmed: false })).body.state).toBe(
      "refused",
    );
    for (let twice = 0; twice < 2; twice++)
      expect((await driver.put(`/v1/reservations/${id}/withdrawal`, undefined)).body.state).toBe("withdrawn");
    const late = await shopKeeper.put(`/v1/reservations/${id}/answer`, { confirmed: true });
    expect([late.status, late.body.type]).toEqual([409, "/problems/reservation_over"]);
  });

  test("is not another driver's business, nor asked by a shop, for yesterday, or for no day at all", async () => {
    const { id } = (await ask()).body;
    const other = await service.owner.must("POST", "/v1/drivers", { name: `Rafe ${made}` });
    const stranger = await service.as("driver", other.id);
    expect((await stranger.get(`/v1/reservations/${id}`)).status).toBe(403);
    expect((await stranger.put(`/v1/reservations/${id}/withdrawal`, undefined)).status).toBe(403);
    expect((await stranger.get("/v1/reservations")).body.items).toEqual([]);
    expect((await ask({ driverId: other.id })).status).toBe(403);
    const body = { shopId: shop, lineId: garage.line.id, pieces: 1, forDay: "2026-12-06" };
    expect((await shopKeeper.post("/v1/reservations", body)).status).toBe(403);
    expect((await ask({ forDay: "2026-11-30" })).status).toBe(409);
    expect((await ask({ forDay: undefined })).status).toBe(422);
  });

  test("and an arriving list are told to those who follow the changes", async () => {
    const head = (await service.owner.get("/v1/changes?limit=500")).body.next;
    const { id } = (await ask()).body;
    await shopKeeper.must("PUT", `/v1/reservations/${id}/answer`, { confirmed: true });
    await put("sku,inventoryLevel\nT-SP-1,3\n");
    await put("sku\n=1+1\n");
    const seenBy = async (who: TestService["owner"]) =>
      (await who.get(`/v1/changes?after=${head}&limit=500`)).body.items.map((one: any) => one.type);
    expect(await seenBy(shopKeeper)).toEqual(["reservation.asked", "stock-list.kept", "stock-list.failed"]);
    expect(await seenBy(driver)).toEqual(["reservation.answered", "stock-list.kept"]);
  });
});

describe("the list in the words of schema.org", () => {
  /** What https://schema.org says of itself, as far as a stock list goes: every term is one of its own. */
  const local = async (url: string) => {
    if (!/^https?:\/\/schema\.org\/?$/.test(url)) throw new Error(`${url} is not fetched in a test`);
    const context = { "@vocab": "https://schema.org/", availability: { "@type": "@id" } };
    return { contextUrl: undefined, documentUrl: url, document: { "@context": context } };
  };
  const expanded = async (document: object) =>
    (await jsonld.expand(document as never, { documentLoader: local as never })) as any[];

  test("is JSON-LD to a library that knows the standard, and read back it is the same list", async () => {
    await put(
      "sku,name,gtin,mpn,inventoryLevel,price,availability,deliveryLeadTime,eligibleQuantity\n" +
        "S-1,Spur 90T,614141210220,SG-90,4,9.50,InStock,3-7,2\nS-2,Bush,,,0,,,,\nS-3,,,,,,,,\n",
    );
    const before = [...(await listed()).values()];
    const answer = await shopKeeper.send("GET", `/v1/shops/${shop}/stock-list`, undefined, {
      accept: "application/ld+json",
    });
    expect(answer.headers.get("content-type")).toBe("application/ld+json");
    const text = JSON.stringify(answer.body);
    const [first] = await expanded(answer.body);
    const term = (name: string) => `https://schema.org/${name}`;
    const value = (node: any, ...path: string[]) => path.reduce((at, name) => at[term(name)][0], node);
    expect(first["@type"]).toEqual([term("Product")]);
    expect(value(first, "gtin")["@value"]).toBe("614141210220");
    expect(value(first, "mpn")["@value"]).toBe("SG-90");
    expect(value(first, "offers", "price")["@value"]).toBe("9.50");
    expect(value(first, "offers", "priceCurrency")["@value"]).toBe("AUD");
    expect(value(first, "offers", "availability")["@id"]).toBe(term("InStock"));
    expect(value(first, "offers", "inventoryLevel", "value")["@value"]).toBe(4);
    expect(value(first, "offers", "deliveryLeadTime", "maxValue")["@value"]).toBe(7);
    // Every property and type of the document is a term of the vocabulary, not one that was made up.
    expect(
      JSON.stringify(await expanded(answer.body)).match(/"(?!@|https:\/\/schema\.org\/)[^"]+":/g),
    ).toBeNull();
    expect((await put(text, "?dryRun=true", "application/ld+json")).body).toMatchObject({
      ...{ added: 0, changed: 0, gone: 0, rows: 3 },
    });
    await put("sku\nOther\n");
    expect((await put(text, "", "application/ld+json")).body).toMatchObject({
      outcome: "kept",
      rows: 3,
      rowsRejected: 0,
    });
    const said = ({ matchedBy: _, ...row }: any) => row;
    expect([...(await listed()).values()].map(said)).toEqual(before.map(said));
    expect((await shopKeeper.get(`/v1/shops/${shop}/stock-list?format=jsonld`)).body["@graph"]).toHaveLength(
      3,
    );
  });

  test("is read with a price in its specification, and of several offers the one in the shop's currency", async () => {
    const offers = [
      { "@type": "Offer", price: "5.10", priceCurrency: "EUR" },
      {
        "@type": "Offer",
        priceSpecification: { "@type": "UnitPriceSpecification", price: 9.5, priceCurrency: "AUD" },
      },
    ];
    const answer = await put(
      JSON.stringify([{ "@type": "Product", sku: "M-1", offers }]),
      "",
      "application/ld+json",
    );
    expect(answer.body).toMatchObject({ outcome: "kept", rows: 1 });
    expect((await listed()).get("M-1")).toMatchObject({ priceMinorUnits: 950 });
  });

  test("whose offers stand elsewhere, or whose terms have a prefix of its own, is refused with what to write", async () => {
    const answer = await put(
      JSON.stringify({
        "@context": { s: "https://schema.org/" },
        "@graph": [
          { "@type": "Product", sku: "R-1", offers: { "@id": "#o1" } },
          { "@type": "s:Product", "s:sku": "R-2" },
        ],
      }),
      "",
      "application/ld+json",
    );
    expect(answer.status).toBe(422);
    expect(answer.body.errors.map(({ detail }: any) => detail)).toEqual([
      'row 1: names its offer by an address ("#o1"); write it inside',
      'row 2: must be a Product or an Offer of schema.org ("@type"), but is "s:Product"; terms stand as they are, or after "schema:"',
    ]);
  });

  test("is read with prefixes, value objects, weeks, and what only an expanded document has", async () => {
    const graph = [
      {
        "@type": "schema:Product",
        "schema:sku": "P-1",
        "schema:gtin13": { "@value": "6291041500213" },
        "schema:offers": [
          {
            "@type": "schema:Offer",
            "schema:price": { "@value": "4.20" },
            "schema:availability": { "@id": "schema:LimitedAvailability" },
            "schema:deliveryLeadTime": {
              "@type": "schema:QuantitativeValue",
              "schema:value": 2,
              "schema:unitCode": "WEE",
            },
          },
        ],
      },
      {
        "@type": "ListItem",
        position: 2,
        item: { "@type": "Product", sku: "P-2", offers: { "@type": "Offer", price: 3 } },
      },
    ];
    const document = {
      "@context": { schema: "https://schema.org/" },
      "@type": "ItemList",
      itemListElement: graph,
    };
    expect((await put(JSON.stringify(document), "", "application/ld+json")).body).toMatchObject({
      rows: 2,
      rowsRejected: 0,
    });
    const rows = await listed();
    expect(rows.get("P-1")).toMatchObject({
      ...{ gtin: "6291041500213", priceMinorUnits: 420, availability: "LimitedAvailability" },
      leadTimeDays: { least: 14, most: 14 },
    });
    expect(rows.get("P-2").priceMinorUnits).toBe(300);
    const strange = await put('[{"@type":"Event","name":"Round 1"}]', "", "application/ld+json");
    expect(strange.body.detail).toContain("must be a Product or an Offer of schema.org");
  });
});
