import { v7 } from "uuid";
import { afterAll, beforeAll, expect, test } from "vitest";
import { foundClub } from "../../src/services/keep-club.ts";
import { insertKey, makeKey } from "../../src/storage/keys.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let stranger: TestService["owner"];
const at = "2026-11-28T20:00:00Z";
/** one thing of each sort in the first club */
const ids: Record<string, string> = {};

beforeAll(async () => {
  service = await startTestService();
  const { owner, db } = service;
  const clubId = v7();
  const named = { name: "Other club", currency: "NZD", timeZone: "UTC", at, newId: () => v7() };
  await foundClub(db, { id: clubId, ...named });
  const key = makeKey();
  const holder = { name: "owner", role: "owner" as const, driverId: null, createdAt: at };
  await insertKey(db, key, { id: v7(), clubId, ...holder });
  stranger = service.withKey(key);

  const make = async (path: string, body: object) => {
    ids[path] = (await owner.must("POST", `/v1/${path}`, body)).id;
  };
  ids["kinds"] = (await owner.get("/v1/kinds?code=SPR-48")).body.items[0].id;
  await make("car-models", { name: "Thornbill", discipline: "touring" });
  await make("venues", { name: "Ferris Lane", surface: "asphalt" });
  await make("suppliers", { name: "Harrowmead Trade", leadTimeDays: 6, leadTimeSdDays: 3 });
  await make("lines", { sku: "SP-1", name: "Spur", kindId: ids["kinds"], priceMinorUnits: 900 });
  await make("meetings", { name: "Round 1", startsOn: "2027-02-07", surface: "asphalt" });
  await make("locations", { name: "Shelf", sort: "shelf" });
  const lineId = ids["lines"];
  const locationId = ids["locations"];
  await make("movements", { reason: "received", lineId, locationId, pieces: 5, at });
  const order = { supplierId: ids["suppliers"], locationId, placedAt: at, lines: [{ lineId, packs: 1 }] };
  await make("orders", order);
});
afterAll(() => service.close());

test("another club's key finds nothing of this club, by id or in a list", async () => {
  const single = ["kinds", "car-models", "venues", "suppliers", "lines", "meetings", "locations", "orders"];
  for (const path of single) {
    expect((await service.owner.get(`/v1/${path}/${ids[path]}`)).status).toBe(200);
    expect([path, (await stranger.get(`/v1/${path}/${ids[path]}`)).status]).toEqual([path, 404]);
    const listed = (await stranger.get(`/v1/${path}?limit=500`)).body.items;
    expect(listed.map((item: { id: string }) => item.id)).not.toContain(ids[path]);
  }
  for (const path of ["movements", "stock-levels"])
    expect((await stranger.get(`/v1/${path}`)).body.items).toEqual([]);
});

test("another club's key changes and undoes nothing of this club", async () => {
  const patches: [string, object][] = [
    ["kinds", { name: "x" }],
    ["car-models", { name: "x" }],
    ["venues", { name: "x" }],
    ["suppliers", { name: "x" }],
    ["lines", { name: "x" }],
    ["meetings", { name: "x" }],
    ["locations", { name: "x" }],
    ["orders", { notes: "x" }],
  ];
  for (const [path, body] of patches)
    expect([path, (await stranger.patch(`/v1/${path}/${ids[path]}`, body)).status]).toEqual([path, 404]);
  expect((await stranger.delete(`/v1/meetings/${ids["meetings"]}`)).status).toBe(404);
  expect((await stranger.send("POST", `/v1/movements/${ids["movements"]}/undo`)).status).toBe(404);
  const receipt = { at, lines: [{ lineId: ids["lines"], pieces: 1 }] };
  expect((await stranger.post(`/v1/orders/${ids["orders"]}/receipts`, receipt)).status).toBe(404);
  expect((await stranger.get(`/v1/suppliers/${ids["suppliers"]}/lead-times`)).status).toBe(404);
});

test("a record may not refer to another club's", async () => {
  const kindId = (await stranger.get("/v1/kinds?code=SPR-48")).body.items[0].id;
  const line = { sku: "SP-1", name: "Spur", kindId, priceMinorUnits: 900 };
  const own = (await stranger.must("POST", "/v1/lines", line)).id;
  const shelf = (await stranger.must("POST", "/v1/locations", { name: "Shelf", sort: "shelf" })).id;
  const movement = { reason: "received", lineId: own, locationId: shelf, pieces: 1, at };
  const counts = [{ lineId: ids["lines"], pieces: 1 }];
  const refused: [string, object][] = [
    ["lines", { ...line, sku: "SP-2", kindId: ids["kinds"] }],
    ["lines", { ...line, sku: "SP-2", supplierId: ids["suppliers"] }],
    ["lines", { ...line, sku: "SP-2", fits: [ids["car-models"]] }],
    ["lines", { ...line, sku: "SP-2", supersededById: ids["lines"] }],
    ["meetings", { name: "Round", startsOn: "2027-02-07", surface: "clay", venueId: ids["venues"] }],
    ["movements", { ...movement, lineId: ids["lines"] }],
    ["movements", { ...movement, locationId: ids["locations"] }],
    ["stocktakes", { locationId: shelf, at, counts }],
    [
      "orders",
      { supplierId: ids["suppliers"], locationId: shelf, placedAt: at, lines: [{ lineId: own, packs: 1 }] },
    ],
  ];
  for (const [path, body] of refused)
    expect([body, (await stranger.post(`/v1/${path}`, body)).status]).toEqual([body, 404]);
  const taken = { ...movement, id: v7() };
  await service.owner.must("POST", "/v1/movements", {
    ...taken,
    lineId: ids["lines"],
    locationId: ids["locations"],
  });
  expect((await stranger.post("/v1/movements", taken)).status).toBe(409);
});
