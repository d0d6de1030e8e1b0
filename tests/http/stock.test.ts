import { afterAll, beforeAll, beforeEach, expect, test } from "vitest";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
type Caller = TestService["owner"];
let mara: string;
let asMara: Caller;
let asUna: Caller;
let asShop: Caller;
let home: string;
let pitBox: string;
let unasHome: string;
let shelf: string;
let line: string;
let sku: string;
const at = "2026-11-28T20:00:00.000Z";
let made = 0;

beforeAll(async () => {
  service = await startTestService();
  mara = (await service.owner.must("POST", "/v1/drivers", { name: "Mara Tindle" })).id;
  const una = (await service.owner.must("POST", "/v1/drivers", { name: "Una Wickerley" })).id;
  asMara = await service.as("driver", mara);
  asUna = await service.as("driver", una);
  asShop = await service.as("shop");
  home = (await asMara.must("POST", "/v1/locations", { name: "Mara's home", sort: "home" })).id;
  pitBox = (await asMara.must("POST", "/v1/locations", { name: "Grey box", sort: "pit-box" })).id;
  unasHome = (await asUna.must("POST", "/v1/locations", { name: "Una's home", sort: "home" })).id;
  shelf = (await asShop.must("POST", "/v1/locations", { name: "Club shelf", sort: "shelf" })).id;
});
afterAll(() => service.close());

beforeEach(async () => {
  const kindId = (await service.owner.get("/v1/kinds?code=SPR-48")).body.items[0].id;
  sku = `SP-${++made}`;
  line = (await service.owner.must("POST", "/v1/lines", { sku, name: "Spur", kindId, priceMinorUnits: 900 }))
    .id;
});

const received = (locationId: string, pieces: number, more: object = {}) => ({
  reason: "received",
  lineId: line,
  locationId,
  pieces,
  at,
  ...more,
});
const levels = async (query = `lineId=${line}`, caller = service.owner) =>
  Object.fromEntries(
    (await caller.get(`/v1/stock-levels?${query}`)).body.items.map(
      (level: { locationName: string; pieces: number }) => [level.locationName, level.pieces],
    ),
  );
const uuid = () => `0192f0c1-7c1e-7b6a-9c1d-${String(++made).padStart(12, "0")}`;

test("POST /v1/locations gives a driver homes and pit boxes of their own, and the shop shelves", async () => {
  const own = await asMara.post("/v1/locations", { name: "Shed", sort: "home" });
  expect([own.status, own.body.driverId]).toEqual([201, mara]);
  const refused: [Caller, object][] = [
    [asMara, { name: "Shelf", sort: "shelf" }],
    [asUna, { name: "Mara's attic", sort: "home", driverId: mara }],
    [asShop, { name: "Shop's home", sort: "home", driverId: mara }],
  ];
  for (const [caller, body] of refused) expect((await caller.post("/v1/locations", body)).status).toBe(403);
  const nobodys = await service.owner.post("/v1/locations", { name: "Box", sort: "pit-box" });
  expect([nobodys.status, nobodys.body.errors[0].pointer]).toEqual([422, "#/driverId"]);
  const drivers = await service.owner.post("/v1/locations", { name: "Shelf", sort: "shelf", driverId: mara });
  expect(drivers.status).toBe(422);
});

test("GET /v1/locations shows a driver their own and the shelves, the shop its shelves, a reader all", async () => {
  const names = async (caller: Caller, query = "") =>
    (await caller.get(`/v1/locations${query}`)).body.items.map((one: { name: string }) => one.name);
  expect(await names(asUna)).toEqual(["Una's home", "Club shelf"]);
  expect(await names(asShop)).toEqual(["Club shelf"]);
  expect(await names(await service.as("reader"))).toContain("Grey box");
  expect(await names(service.owner, `?driverId=${mara}&sort=pit-box`)).toEqual(["Grey box"]);
  expect((await asUna.get(`/v1/locations/${home}`)).status).toBe(403);
  expect((await asUna.patch(`/v1/locations/${shelf}`, { name: "Mine" })).status).toBe(403);
  expect((await asMara.patch(`/v1/locations/${pitBox}`, { name: "Grey box" })).body.version).toBe(2);
});

test("a movement that is sent twice with its id is recorded once: 201, then 200 with the same", async () => {
  const body = received(home, 4, { id: uuid() });
  const first = await asMara.post("/v1/movements", body);
  const second = await asMara.post("/v1/movements", body);
  expect([first.status, second.status]).toEqual([201, 200]);
  expect(second.body).toEqual(first.body);
  expect(await levels()).toMatchObject({ "Mara's home": 4 });
});

test("a move that is sent twice is recorded once, and neither end of it twice", async () => {
  await asMara.must("POST", "/v1/movements", received(home, 4));
  const body = { ...received(home, 3), reason: "moved", toLocationId: pitBox, id: uuid() };
  expect((await asMara.post("/v1/movements", body)).status).toBe(201);
  expect((await asMara.post("/v1/movements", body)).status).toBe(200);
  expect(await levels()).toMatchObject({ "Mara's home": 1, "Grey box": 3 });
});

test("the same id with other content is refused with 409, naming what differs", async () => {
  const body = received(home, 4, { id: uuid() });
  await asMara.must("POST", "/v1/movements", body);
  const others = [{ pieces: 5 }, { locationId: pitBox }, { notes: "spare" }, { at: "2026-11-28T20:00:01Z" }];
  for (const other of others) {
    const answer = await asMara.post("/v1/movements", { ...body, ...other });
    expect([answer.status, answer.body.type]).toEqual([409, "/problems/name_taken"]);
  }
  const move = { ...body, id: uuid(), reason: "moved", pieces: 1, toLocationId: pitBox };
  await service.owner.must("POST", "/v1/movements", move);
  expect((await service.owner.post("/v1/movements", { ...move, toLocationId: unasHome })).status).toBe(409);
  expect(await levels()).toEqual(
    expect.objectContaining({ "Mara's home": 3, "Grey box": 1, "Una's home": 0 }),
  );
});

test("taking more than is there is refused, and says how many are there, where others are, and to count first", async () => {
  await asMara.must("POST", "/v1/movements", received(home, 2));
  await asShop.must("POST", "/v1/movements", received(shelf, 7));
  await asUna.must("POST", "/v1/movements", received(unasHome, 9));
  const answer = await asMara.post("/v1/movements", { ...received(home, 3), reason: "written-off" });
  expect([answer.status, answer.body.type]).toEqual([409, "/problems/stock_short"]);
  expect(answer.body.detail).toContain(`There are 2 of ${sku} at "Mara's home", and 3 were to be taken`);
  expect(answer.body.detail).toContain('elsewhere: 7 at "Club shelf"');
  expect(answer.body.detail).toContain("count the location first");
  expect(answer.body.detail).not.toContain("Una");
  expect(await levels()).toMatchObject({ "Mara's home": 2 });
});

test("a move out of an empty location leaves nothing at its other end", async () => {
  const move = { ...received(home, 1), reason: "moved", toLocationId: pitBox };
  expect((await asMara.post("/v1/movements", move)).status).toBe(409);
  expect((await service.owner.get(`/v1/movements?lineId=${line}`)).body.items).toEqual([]);
});

test.each([
  ["a count", { reason: "counted" }, "#/reason", "/v1/stocktakes"],
  ["no pieces", { pieces: 0 }, "#/pieces", "at least 1"],
  ["half a piece", { pieces: 1.5 }, "#/pieces", "whole number"],
  ["a move to nowhere", { reason: "moved" }, "#/toLocationId", "must say where"],
  ["a receipt to two places", { toLocationId: "x" }, "#/toLocationId", "left out"],
  ["a time without an offset", { at: "2026-11-28T20:00:00" }, "#/at", "offset"],
  ["an id that is no UUID", { id: "1" }, "#/id", "UUID"],
])("POST /v1/movements refuses %s, and says what to change", async (_, wrong, pointer, words) => {
  const answer = await asMara.post("/v1/movements", { ...received(home, 1), ...wrong });
  expect(answer.status).toBe(422);
  expect(answer.body.errors).toEqual([{ pointer, detail: expect.stringContaining(words) }]);
});

test("an undone movement counts no more, names what it undid, and cannot be undone again", async () => {
  const first = await asMara.must("POST", "/v1/movements", received(home, 4));
  const undone = await asMara.send("POST", `/v1/movements/${first.id}/undo`);
  expect(undone.status).toBe(201);
  expect(undone.body).toMatchObject({ reason: "undone", undoesId: first.id, quantity: -4 });
  expect((await levels())["Mara's home"]).toBe(0);
  for (const id of [first.id, undone.body.id]) {
    const again = await asMara.send("POST", `/v1/movements/${id}/undo`);
    expect([again.status, again.body.type]).toEqual([409, "/problems/already_undone"]);
  }
});

test("undoing a move undoes both ends, whichever end is named", async () => {
  await asMara.must("POST", "/v1/movements", received(home, 4));
  const move = { ...received(home, 3), reason: "moved", toLocationId: pitBox };
  await asMara.must("POST", "/v1/movements", move);
  const ends = (await asMara.get(`/v1/movements?lineId=${line}&reason=moved`)).body.items;
  expect(ends.map((end: { quantity: number }) => end.quantity).sort()).toEqual([-3, 3]);
  await asMara.must("POST", `/v1/movements/${ends[0].id}/undo`);
  expect(await levels()).toMatchObject({ "Mara's home": 4, "Grey box": 0 });
  expect((await asMara.send("POST", `/v1/movements/${ends[1].id}/undo`)).status).toBe(409);
});

test("a receipt whose pieces are gone already cannot be undone", async () => {
  const first = await asMara.must("POST", "/v1/movements", received(home, 2));
  await asMara.must("POST", "/v1/movements", { ...received(home, 1), reason: "written-off" });
  const answer = await asMara.send("POST", `/v1/movements/${first.id}/undo`);
  expect(answer.body.type).toBe("/problems/stock_short");
});

test("a movement of a fitting is not undone here, but by deleting the fitting", async () => {
  await asMara.must("POST", "/v1/movements", received(home, 2));
  const id = uuid();
  const club = (await service.club()).id;
  const row = {
    id,
    clubId: club,
    lineId: line,
    locationId: home,
    quantity: -1,
    reason: "fitted" as const,
    at,
  };
  const rest = { pieceId: null, orderId: null, undoesId: null, pairId: null, notes: null, recordedAt: at };
  await service.db
    .insertInto("movements")
    .values({ ...row, ...rest })
    .execute();
  const answer = await asMara.send("POST", `/v1/movements/${id}/undo`);
  expect([answer.status, answer.body.type]).toEqual([409, "/problems/piece_fitted"]);
  expect(answer.body.detail).toContain("delete the fitting");
});

test("GET /v1/stock-levels lists zeros only for a line that is asked for, and narrows by location and driver", async () => {
  await asMara.must("POST", "/v1/movements", received(home, 2));
  expect(await levels()).toMatchObject({ "Mara's home": 2, "Grey box": 0, "Club shelf": 0 });
  expect(await levels(`locationId=${pitBox}&lineId=${line}`)).toEqual({ "Grey box": 0 });
  expect(Object.values(await levels(`driverId=${mara}`)).every((pieces) => pieces !== 0)).toBe(true);
  expect(await levels(`driverId=${mara}&lineId=${line}`)).not.toHaveProperty("Club shelf");
  expect((await service.owner.get("/v1/stock-levels?lineId=unknown")).status).toBe(404);
});

test("GET /v1/stock-levels comes in pages that join without a gap", async () => {
  await asMara.must("POST", "/v1/movements", received(home, 2));
  const all = (await service.owner.get("/v1/stock-levels")).body.items;
  const paged = [];
  let next: string | null = null;
  do {
    const page: { items: unknown[]; next: string | null } = (
      await service.owner.get(`/v1/stock-levels?limit=2${next === null ? "" : `&after=${next}`}`)
    ).body;
    paged.push(...page.items);
    next = page.next;
  } while (next !== null && paged.length <= all.length);
  expect(paged).toEqual(all);
});

test("a driver reads the shelf's levels and not its movements, and touches nobody else's stock", async () => {
  await asShop.must("POST", "/v1/movements", received(shelf, 7));
  await asUna.must("POST", "/v1/movements", received(unasHome, 9));
  expect(await levels(`lineId=${line}`, asMara)).toMatchObject({ "Club shelf": 7 });
  expect(await levels(`lineId=${line}`, asMara)).not.toHaveProperty("Una's home");
  expect(await levels(`lineId=${line}`, asShop)).toEqual({ "Club shelf": 7 });
  expect((await asMara.get(`/v1/movements?lineId=${line}`)).body.items).toEqual([]);
  for (const locationId of [shelf, unasHome]) {
    expect((await asMara.get(`/v1/movements?locationId=${locationId}`)).status).toBe(403);
    expect((await asMara.post("/v1/movements", received(locationId, 1))).status).toBe(403);
    const counts = [{ lineId: line, pieces: 0 }];
    expect((await asMara.post("/v1/stocktakes", { locationId, at, counts })).status).toBe(403);
  }
  expect((await asMara.get(`/v1/stock-levels?locationId=${unasHome}`)).status).toBe(403);
  const out = { ...received(shelf, 1), reason: "moved", toLocationId: unasHome };
  expect((await asShop.post("/v1/movements", out)).status).toBe(403);
  const reader = await service.as("reader");
  expect(await levels(`lineId=${line}`, reader)).toMatchObject({ "Club shelf": 7, "Una's home": 9 });
  expect((await reader.post("/v1/movements", received(shelf, 1))).status).toBe(403);
});

test("a stocktake writes the differences and nothing where nothing differs; entered twice it writes once", async () => {
  await asMara.must("POST", "/v1/movements", received(home, 4));
  const take = { locationId: home, at: "2026-11-29T08:00:00+11:00", counts: [{ lineId: line, pieces: 3 }] };
  const first = await asMara.post("/v1/stocktakes", take);
  expect(first.status).toBe(201);
  expect(first.body.counts).toMatchObject([{ countedPieces: 3, expectedPieces: 4, difference: -1 }]);
  const second = await asMara.must("POST", "/v1/stocktakes", take);
  expect(second.counts).toMatchObject([{ difference: 0, movementId: null }]);
  expect((await levels())["Mara's home"]).toBe(3);
});

test("a count of the morning that is entered in the evening leaves what happened in between", async () => {
  await asMara.must("POST", "/v1/movements", received(home, 4, { at: "2026-11-28T07:00:00Z" }));
  const used = { ...received(home, 2, { at: "2026-11-28T12:00:00Z" }), reason: "written-off" };
  await asMara.must("POST", "/v1/movements", used);
  const take = { locationId: home, at: "2026-11-28T08:00:00Z" };
  await asMara.must("POST", "/v1/stocktakes", { ...take, counts: [{ lineId: line, pieces: 5 }] });
  expect((await levels())["Mara's home"]).toBe(3);
  const answer = await asMara.post("/v1/stocktakes", { ...take, counts: [{ lineId: line, pieces: 1 }] });
  expect([answer.status, answer.body.type]).toEqual([409, "/problems/stock_short"]);
  expect(answer.body.detail).toContain("2 taken since");
});

test("a stocktake with one unknown line keeps nothing", async () => {
  const counts = [
    { lineId: line, pieces: 3 },
    { lineId: "unknown", pieces: 1 },
  ];
  expect((await asMara.post("/v1/stocktakes", { locationId: home, at, counts })).status).toBe(404);
  expect((await levels())["Mara's home"]).toBe(0);
});

test("a counter sale leaves the shelf as sold, and no more than is there", async () => {
  await asShop.must("POST", "/v1/movements", received(shelf, 2));
  await asShop.must("POST", "/v1/movements", { ...received(shelf, 1), reason: "sold" });
  expect(await levels(`lineId=${line}&locationId=${shelf}`)).toEqual({ "Club shelf": 1 });
  const answer = await asShop.post("/v1/movements", { ...received(shelf, 2), reason: "sold" });
  expect([answer.status, answer.body.type]).toEqual([409, "/problems/stock_short"]);
});
