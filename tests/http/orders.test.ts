import { afterAll, beforeAll, beforeEach, expect, test } from "vitest";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let asShop: TestService["owner"];
let asMara: TestService["owner"];
let shelf: string;
let home: string;
let spur: string;
let supplier: string;
let lines: string[];
let made = 0;

beforeAll(async () => {
  service = await startTestService();
  asShop = await service.as("shop");
  const mara = (await service.owner.must("POST", "/v1/drivers", { name: "Mara Tindle" })).id;
  asMara = await service.as("driver", mara);
  shelf = (await asShop.must("POST", "/v1/locations", { name: "Club shelf", sort: "shelf" })).id;
  home = (await asMara.must("POST", "/v1/locations", { name: "Mara's home", sort: "home" })).id;
  spur = (await service.owner.get("/v1/kinds?code=SPR-48")).body.items[0].id;
});
afterAll(() => service.close());

beforeEach(async () => {
  const belief = { leadTimeDays: 6, leadTimeSdDays: 3 };
  supplier = (await asShop.must("POST", "/v1/suppliers", { name: `Supplier ${++made}`, ...belief })).id;
  lines = [];
  for (const packSize of [2, 10]) {
    const line = { sku: `SP-${++made}`, name: "Spur", kindId: spur, priceMinorUnits: 900, packSize };
    lines.push((await asShop.must("POST", "/v1/lines", line)).id);
  }
});

const order = (more: object = {}) => ({
  supplierId: supplier,
  locationId: shelf,
  placedAt: "2026-11-01T09:00:00Z",
  promisedOn: "2026-11-08",
  lines: [
    { lineId: lines[0], packs: 3 },
    { lineId: lines[1], packs: 1, priceMinorUnits: 850 },
  ],
  ...more,
});
const receipt = (first: number, second = 0, at = "2026-11-07T09:00:00Z") => ({
  at,
  lines: [
    { lineId: lines[0], pieces: first },
    { lineId: lines[1], pieces: second },
  ].filter(({ pieces }) => pieces > 0),
});
const shelfLevel = async (lineId: string | undefined) =>
  (await asShop.get(`/v1/stock-levels?lineId=${lineId}&locationId=${shelf}`)).body.items[0].pieces;

test("an order counts pieces by the pack, takes the line's price, and puts nothing in stock yet", async () => {
  const placed = await asShop.post("/v1/orders", order());
  expect(placed.status).toBe(201);
  expect(placed.body).toMatchObject({
    open: true,
    closedAt: null,
    promisedOn: "2026-11-08",
    lines: [
      {
        lineId: lines[0],
        packs: 3,
        pieces: 6,
        priceMinorUnits: 900,
        receivedPieces: 0,
        outstandingPieces: 6,
      },
      { lineId: lines[1], packs: 1, pieces: 10, priceMinorUnits: 850, currency: "AUD" },
    ],
  });
  expect((await asShop.get(`/v1/orders/${placed.body.id}`)).body).toEqual(placed.body);
  expect(await shelfLevel(lines[0])).toBe(0);
});

test("an order closes by itself when all is there, and not before", async () => {
  const { id } = await asShop.must("POST", "/v1/orders", order());
  const some = await asShop.post(`/v1/orders/${id}/receipts`, receipt(4));
  expect(some.status).toBe(201);
  expect(some.body).toMatchObject({ open: true, lines: [{ receivedPieces: 4, outstandingPieces: 2 }, {}] });
  const rest = await asShop.must("POST", `/v1/orders/${id}/receipts`, receipt(2, 10, "2026-11-21T09:00:00Z"));
  expect(rest).toMatchObject({ open: false, closedAt: "2026-11-21T09:00:00.000Z" });
  expect([await shelfLevel(lines[0]), await shelfLevel(lines[1])]).toEqual([6, 10]);
  const late = await asShop.post(`/v1/orders/${id}/receipts`, receipt(1));
  expect([late.status, late.body.type]).toEqual([409, "/problems/order_closed"]);
});

test("more than was ordered is taken in, and said", async () => {
  const { id } = await asShop.must("POST", "/v1/orders", order());
  const after = await asShop.must("POST", `/v1/orders/${id}/receipts`, receipt(7, 10));
  expect(after).toMatchObject({
    open: false,
    lines: [{ receivedPieces: 7, outstandingPieces: 0, overPieces: 1 }, { overPieces: 0 }],
  });
  expect(await shelfLevel(lines[0])).toBe(7);
});

test("a receipt that is sent twice with its ids is taken in once, even if it closed the order", async () => {
  const { id } = await asShop.must("POST", "/v1/orders", order({ lines: [{ lineId: lines[0], packs: 1 }] }));
  const body = {
    at: "2026-11-07T09:00:00Z",
    lines: [{ id: "0192f0c1-7c1e-7b6a-9c1d-2f6a1b3c4d5e", lineId: lines[0], pieces: 2 }],
  };
  const first = await asShop.post(`/v1/orders/${id}/receipts`, body);
  const second = await asShop.post(`/v1/orders/${id}/receipts`, body);
  expect([first.status, second.status]).toEqual([201, 200]);
  expect(second.body).toEqual(first.body);
  expect(await shelfLevel(lines[0])).toBe(2);
});

test("a receipt is refused whole if a line is not on the order, or it comes before the order was placed", async () => {
  const { id } = await asShop.must("POST", "/v1/orders", order({ lines: [{ lineId: lines[0], packs: 1 }] }));
  const stranger = await asShop.post(`/v1/orders/${id}/receipts`, receipt(1, 1));
  expect([stranger.status, stranger.body.errors[0].pointer]).toEqual([404, "#/lines/1/lineId"]);
  const early = await asShop.post(`/v1/orders/${id}/receipts`, receipt(1, 0, "2026-10-31T09:00:00Z"));
  expect([early.status, early.body.type]).toEqual([409, "/problems/out_of_order"]);
  expect(await shelfLevel(lines[0])).toBe(0);
});

test("undoing a receipt opens an order again that had closed because all was there", async () => {
  const { id } = await asShop.must("POST", "/v1/orders", order({ lines: [{ lineId: lines[0], packs: 1 }] }));
  await asShop.must("POST", `/v1/orders/${id}/receipts`, receipt(2));
  const movement = (await asShop.get(`/v1/movements?lineId=${lines[0]}`)).body.items[0];
  expect(movement).toMatchObject({ orderId: id, reason: "received", quantity: 2 });
  await asShop.must("POST", `/v1/movements/${movement.id}/undo`);
  const after = (await asShop.get(`/v1/orders/${id}`)).body;
  expect(after).toMatchObject({ open: true, lines: [{ receivedPieces: 0, outstandingPieces: 2 }] });
});

test("PATCH /v1/orders/{id} closes an order whose rest never comes, and opens it again", async () => {
  const { id } = await asShop.must("POST", "/v1/orders", order());
  const closed = await asShop.must("PATCH", `/v1/orders/${id}`, { closed: true, notes: "rest cancelled" });
  expect(closed).toMatchObject({
    open: false,
    closedAt: "2026-12-01T09:00:00.000Z",
    notes: "rest cancelled",
  });
  const listed = async (query: string) =>
    (await asShop.get(`/v1/orders?supplierId=${supplier}&${query}`)).body.items.map(
      (o: { id: string }) => o.id,
    );
  expect([await listed("open=true"), await listed("open=false")]).toEqual([[], [id]]);
  const opened = await asShop.must("PATCH", `/v1/orders/${id}`, { closed: false, promisedOn: "2026-12-24" });
  expect(opened).toMatchObject({ open: true, promisedOn: "2026-12-24", notes: "rest cancelled" });
  expect(await listed("open=true")).toEqual([id]);
});

test("GET /v1/orders lists the last placed first, in pages that join without a gap", async () => {
  const days = [
    "2026-11-03T09:00:00Z",
    "2026-11-01T09:00:00Z",
    "2026-11-02T09:00:00Z",
    "2026-11-02T09:00:00Z",
  ];
  for (const placedAt of days) await asShop.must("POST", "/v1/orders", order({ placedAt }));
  const path = `/v1/orders?supplierId=${supplier}`;
  const all = (await asShop.get(path)).body.items;
  expect(all.map((o: { placedAt: string }) => o.placedAt.slice(0, 10))).toEqual([
    "2026-11-03",
    "2026-11-02",
    "2026-11-02",
    "2026-11-01",
  ]);
  const first = (await asShop.get(`${path}&limit=2`)).body;
  const rest = (await asShop.get(`${path}&limit=2&after=${first.next}`)).body;
  expect([...first.items, ...rest.items]).toEqual(all);
  expect(rest.next).toBe(null);
});

test("an order names each line once, and a pack at least", async () => {
  const twice = await asShop.post(
    "/v1/orders",
    order({ lines: [1, 2].map((packs) => ({ lineId: lines[0], packs })) }),
  );
  expect([twice.status, twice.body.errors[0].detail]).toEqual([422, "names a line twice: add its packs up"]);
  const none = await asShop.post("/v1/orders", order({ lines: [{ lineId: lines[0], packs: 0 }] }));
  expect([none.status, none.body.errors[0].pointer]).toEqual([422, "#/lines/0/packs"]);
});

test("a driver orders for their own locations, and neither sees nor receives the shop's orders", async () => {
  const { id } = await asShop.must("POST", "/v1/orders", order());
  const own = await asMara.must("POST", "/v1/orders", order({ locationId: home }));
  expect((await asMara.get("/v1/orders")).body.items.map((o: { id: string }) => o.id)).toEqual([own.id]);
  expect((await asMara.get(`/v1/orders/${id}`)).status).toBe(403);
  expect((await asMara.post(`/v1/orders/${id}/receipts`, receipt(1))).status).toBe(403);
  expect((await asMara.post("/v1/orders", order())).status).toBe(403);
  expect((await asShop.get(`/v1/orders/${own.id}`)).status).toBe(403);
});

test("lead times are the days from placing an order to each receipt, without those undone", async () => {
  const path = `/v1/suppliers/${supplier}/lead-times`;
  const none = (await asShop.get(path)).body;
  expect(none).toMatchObject({
    count: 0,
    meanDays: null,
    sdDays: null,
    believedMeanDays: 6,
    believedSdDays: 3,
  });
  const { id } = await asShop.must("POST", "/v1/orders", order());
  await asShop.must("POST", `/v1/orders/${id}/receipts`, receipt(2, 2, "2026-11-05T09:00:00Z"));
  expect((await asShop.get(path)).body).toMatchObject({ count: 1, meanDays: 4, sdDays: null });
  await asShop.must("POST", `/v1/orders/${id}/receipts`, receipt(1, 0, "2026-11-06T21:00:00Z"));
  await asShop.must("POST", `/v1/orders/${id}/receipts`, receipt(1, 0, "2026-11-13T09:00:00Z"));
  const three = (await asShop.get(path)).body;
  expect(three.observations.map((o: { days: number }) => o.days)).toEqual([4, 5.5, 12]);
  // Mean 21.5 / 3; squares (19² + 10² + 29²) / 36 = 1302 / 36, over n - 1 = 2.
  expect(three.meanDays).toBeCloseTo(21.5 / 3, 12);
  expect(three.sdDays).toBeCloseTo(Math.sqrt(1302 / 72), 12);
  const last = (await asShop.get(`/v1/movements?lineId=${lines[0]}`)).body.items[0];
  await asShop.must("POST", `/v1/movements/${last.id}/undo`);
  expect((await asMara.get(path)).body).toMatchObject({ count: 2, meanDays: 4.75 });
});
