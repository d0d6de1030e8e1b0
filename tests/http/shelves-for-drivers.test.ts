import { parse } from "csv-parse/sync";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { startGarage } from "../support/garage.ts";
import { putList } from "../support/put-list.ts";
import { startTestService, type TestService } from "../support/service.ts";
import { textOf } from "../support/well-formed.ts";

/** A driver with a spur on the car and none at home, a shop with a shelf in the ledger, and one with a list alone. */
let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
let key: string;
let driver: TestService["owner"];
let keeper: TestService["owner"];
let counter: string;
let corner: string;
let shelf: string;
const through = "2027-06-30";

beforeAll(async () => {
  service = await startTestService();
  garage = await startGarage(service);
  key = await service.keyFor("shop");
  keeper = service.withKey(key);
  driver = await service.as("driver", garage.driver.id);
  const { must } = service.owner;
  await must("POST", `/v1/cars/${garage.car.id}/fittings`, {
    ...{ position: "spur", at: "2026-11-01T08:00:00Z" },
    piece: { lineId: garage.line.id, mark: "in use", from: "none" },
  });
  for (const startsOn of ["2027-02-07", "2027-03-07", "2027-04-04", "2027-05-02", "2027-06-06"])
    await must("POST", "/v1/meetings", {
      ...{ name: startsOn, startsOn, surface: "dusty-clay", plannedRuns: 30 },
    });
  shelf = (await keeper.must("POST", "/v1/locations", { name: "Counter", sort: "shelf" })).id;
  counter = (await keeper.must("POST", "/v1/shops", { name: "Counter", locationId: shelf })).id;
  corner = (await keeper.must("POST", "/v1/shops", { name: "Corner", currency: "NZD" })).id;
});
afterAll(() => service.close());

const pitPath = (ending = "") => `/v1/cars/${garage.car.id}/pit-list${ending}`;
const restockPath = (ending = "") => `/v1/restock-list${ending}?through=${through}`;
const pit = async () => {
  const { carry } = await driver.must("GET", pitPath());
  return carry.find((one: any) => one.kindCode === "T-SPUR");
};
const restock = async () => {
  const { suppliers, enough } = await driver.must("GET", restockPath());
  return [...suppliers.flatMap((one: any) => one.lines), ...enough].find(
    (one: any) => one.kindCode === "T-SPUR",
  );
};
const publish = (shop: string, list: string) => putList(service, key, shop, list);
const receive = (pieces: number, at: string) =>
  keeper.must("POST", "/v1/movements", {
    ...{ reason: "received", lineId: garage.line.id, locationId: shelf, pieces, at },
  });

describe("the pit list and the restock list say where it lies on a shelf", () => {
  test("on none: all that is missing must come from elsewhere", async () => {
    for (const one of [await pit(), await restock()]) {
      expect(one).toMatchObject({ shelves: [], fromShelves: 0 });
      expect(one.sentence).toContain(`${one.fromElsewhere} must come from elsewhere`);
    }
    expect(await pit()).toMatchObject({ pieces: 1, missing: 1, onShelf: 0, fromElsewhere: 1 });
    expect((await restock()).fromElsewhere).toBe((await restock()).pieces);
  });

  test("of a shop without a list: by the ledger, as of now, and without a price", async () => {
    await receive(2, "2026-11-20T10:00:00Z");
    const known = {
      ...{ shopId: counter, shopName: "Counter", shopSku: null, packs: 2, pieces: 2, heldPieces: 0 },
      ...{ priceMinorUnits: null, source: "ledger", asOf: service.clock.now, ageHours: 0, ended: null },
    };
    const [carried, bought] = [await pit(), await restock()];
    expect(carried.shelves).toMatchObject([known]);
    expect(bought.shelves).toMatchObject([known]);
    expect(carried).toMatchObject({ missing: 1, onShelf: 2, fromShelves: 1, fromElsewhere: 0 });
    expect(bought).toMatchObject({ fromShelves: 2, fromElsewhere: bought.pieces - 2 });
    expect(carried.sentence).toMatch(/so 1 must be bought\. Counter has 2, by the ledger\.$/);
    expect(bought.sentence).toContain("Counter has 2, by the ledger.");
  });

  test("by its list once it has one, with price and age; the ledger is not asked any more", async () => {
    await publish(counter, "sku,inventoryLevel,price\nT-SP-1,1,9.50\n");
    await publish(
      corner,
      "sku,inventoryLevel,price,availability,deliveryLeadTime\nT-SP-1,0,8.00,BackOrder,3-7\n",
    );
    service.clock.now = "2026-12-04T09:00:00.000Z";
    const [carried, bought] = [await pit(), await restock()];
    for (const { shelves } of [carried, bought]) {
      const at = (id: string) => shelves.find((one: any) => one.shopId === id);
      expect(shelves).toHaveLength(2);
      expect(at(counter)).toMatchObject({
        ...{ shopSku: "T-SP-1", pieces: 1, priceMinorUnits: 950, currency: "AUD", source: "list" },
        ...{ asOf: "2026-12-01T09:00:00.000Z", ageHours: 72 },
      });
      expect(at(corner)).toMatchObject({
        ...{ pieces: 0, priceMinorUnits: 800, currency: "NZD", availability: "BackOrder" },
        leadTimeDays: { least: 3, most: 7 },
      });
    }
    expect(carried.sentence).toContain("Counter has 1 at AUD 9.50, by its list of 3 days ago.");
    expect(carried).toMatchObject({ fromShelves: 1, fromElsewhere: 0 });
    expect(bought).toMatchObject({ fromShelves: 1, fromElsewhere: bought.pieces - 1 });
    service.clock.now = "2026-12-01T09:00:00.000Z";
  });

  test("what is held for others is not there to be had, and what is held for oneself is", async () => {
    const { must } = service.owner;
    const rafe = await must("POST", "/v1/drivers", { name: "Rafe Dunmorrow" });
    const ask = { shopId: counter, lineId: garage.line.id, pieces: 1, forDay: "2027-02-07" };
    const held = await must("POST", "/v1/reservations", { ...ask, driverId: rafe.id });
    await keeper.must("PUT", `/v1/reservations/${held.id}/answer`, { confirmed: true });
    for (const one of [await pit(), await restock()]) {
      expect(one.shelves.find((here: any) => here.shopId === counter)).toMatchObject({
        ...{ heldPieces: 1, heldForDriver: 0 },
      });
      expect(one.fromShelves).toBe(0);
      expect(JSON.stringify(one)).not.toContain("Rafe");
    }
    await must("PUT", `/v1/reservations/${held.id}/withdrawal`, undefined);
    const own = await driver.must("POST", "/v1/reservations", ask);
    await keeper.must("PUT", `/v1/reservations/${own.id}/answer`, { confirmed: true });
    expect(await pit()).toMatchObject({ fromShelves: 1, fromElsewhere: 0 });
    expect((await pit()).shelves[0]).toMatchObject({ heldPieces: 1, heldForDriver: 1 });
  });

  test("under the number of the ended line too, whose last ones still serve", async () => {
    const { must } = service.owner;
    const next = await must("POST", "/v1/lines", {
      ...{ sku: "T-SP-2", name: "Spur 87T, new hub", kindId: garage.kind.id, priceMinorUnits: 950 },
    });
    const ending = { supersededById: next.id, endedOn: "2026-11-26", notes: "needs an adapter" };
    await must("PATCH", `/v1/lines/${garage.line.id}`, ending);
    const carried = await pit();
    expect([carried.sku, carried.lineId]).toEqual(["T-SP-2", next.id]);
    expect(carried.shelves.find((one: any) => one.shopId === counter)).toMatchObject({
      ...{ shopSku: "T-SP-1", ended: expect.stringContaining("ended on 2026-11-26, replaced by T-SP-2") },
    });
    await must("PATCH", `/v1/lines/${garage.line.id}`, { supersededById: null, endedOn: null, notes: null });
  });

  test("in the file and on the page as well", async () => {
    for (const path of [pitPath, restockPath]) {
      const rows = parse((await driver.get(path(".csv"))).body, { columns: true }) as any[];
      const shelves = rows.find(({ sku }) => sku === "T-SP-1").shelves;
      expect(shelves).toContain("Counter has 1 (1 held) at AUD 9.50, by its list of less than an hour ago.");
      const page = textOf((await driver.get(path(".html"))).body, "main");
      expect(page).toContain("Counter has 1 (1 held) at AUD 9.50");
    }
  });

  test("a list that came broken changes nothing: the last good one is told, with its age", async () => {
    service.clock.now = "2026-12-02T09:00:00.000Z";
    expect((await publish(counter, "sku,inventoryLevel\nT-SP-1,many\n")).status).toBe(422);
    const here = (await pit()).shelves.find((one: any) => one.shopId === counter);
    expect(here).toMatchObject({ pieces: 1, priceMinorUnits: 950, ageHours: 24 });
    service.clock.now = "2026-12-01T09:00:00.000Z";
  });
});
