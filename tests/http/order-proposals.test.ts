import { parse } from "csv-parse/sync";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { type ClubOfFour, startClubOfFour } from "../support/club-of-four.ts";
import { putList } from "../support/put-list.ts";
import { startTestService, type TestService } from "../support/service.ts";
import { nestingFaults, textOf } from "../support/well-formed.ts";

const through = "2027-04-30";
const day = 86_400_000;
const days = (from: string, to: string) => (Date.parse(to) - Date.parse(from)) / day;

let service: TestService;
let club: ClubOfFour;
let key: string;
let keeper: TestService["owner"];
let shop: string;
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  club = await startClubOfFour(service);
  key = await service.keyFor("shop");
  keeper = service.withKey(key);
  shop = (await keeper.must("POST", "/v1/shops", { name: "Counter", locationId: club.shelf.id })).id;
  await service.owner.must("PATCH", `/v1/lines/${club.lines.pinion.id}`, {
    makersPartNumber: "P28-48",
    gtin: "614141210220",
  });
});
afterAll(() => service.close());

const path = (query = "", ending = "", last = through) =>
  `/v1/shops/${shop}/order-proposals${ending}?through=${last}${query}`;
const proposals = (query = "", last = through) => keeper.must("GET", path(query, "", last));
const share = (i: number, sharesDemand = true) =>
  service.owner.must("PATCH", `/v1/drivers/${club.drivers[i].id}`, { sharesDemand });
const minimum = (minimumOrderMinorUnits: number, more: object = {}) =>
  service.owner.must("PATCH", `/v1/suppliers/${club.supplier.id}`, { minimumOrderMinorUnits, ...more });
const all = (supplier: any) => [...supplier.lines, ...supplier.later];
const of = (answer: any, sku: string) => answer.suppliers.flatMap(all).find((one: any) => one.sku === sku);

describe("GET /v1/shops/{id}/order-proposals", () => {
  test("shows nothing while fewer than three drivers share, and whose SKUs those are", async () => {
    await share(0);
    await share(1);
    expect(await proposals()).toMatchObject({ driversSharing: 2, drivers: 4, suppliers: [], totals: [] });
    expect((await proposals()).withheld).toEqual(expect.arrayContaining(["S-1", "P-1", "B-1"]));
    await share(2);
    await share(3);
  });

  test("are the plan of the shelf as one order to each supplier, with all that an order form asks for", async () => {
    const [answer, plan] = [await proposals(), await keeper.must("GET", `/v1/shelf-plan?through=${through}`)];
    expect(answer.suppliers.map((one: any) => one.supplierName)).toEqual(["Gantry Wholesale"]);
    for (const line of plan.lines.filter((one: any) => one.packs > 0)) {
      const { need, onHand, onOrder, orderUpTo, reorderPoint, drivers } = line;
      const proposed = of(answer, line.sku);
      expect(proposed).toMatchObject({ need, onHand, onOrder, orderUpTo, reorderPoint, drivers });
      expect(proposed.packs).toBeGreaterThanOrEqual(line.packs);
      expect(proposed.pieces).toBe(proposed.packs * proposed.packSize);
      expect(proposed.costMinorUnits).toBe(proposed.packs * line.priceMinorUnits);
    }
    expect(of(answer, "P-1")).toMatchObject({
      ...{ makersPartNumber: "P28-48", gtin: "614141210220", priceMinorUnits: 1150, currency: "AUD" },
      ...{ packSize: 1, broughtForward: false, boughtThrough: through, takenPastYear: 0 },
    });
    const [supplier] = answer.suppliers;
    const sum = supplier.lines.reduce((total: number, one: any) => total + one.costMinorUnits, 0);
    expect(supplier.totals).toEqual([{ currency: "AUD", minorUnits: sum }]);
    expect(answer.totals).toEqual(supplier.totals);
    expect(await proposals()).toEqual(answer);
  });

  test("tell by when to order, from when it makes sense, and when it is likely to be there", async () => {
    for (const line of (await proposals()).suppliers.flatMap(all)) {
      expect(line.orderFrom >= "2026-12-01" && line.orderFrom <= line.orderBy).toBe(true);
      if (line.shortOn !== null && !line.late && !line.orderNow)
        // A delivery of 6 ± 3 days is there within 7 to 20 days nine times in ten.
        expect(days(line.orderBy, line.shortOn)).toSatisfy((n: number) => n >= 7 && n <= 20);
      const { p10, median, p90 } = line.arrival;
      expect(p10 <= median && median < p90).toBe(true);
      expect(line.leadTime).toMatchObject({ deliveries: 0 });
    }
    const [{ arrival, orderOn, orderBy, orderFrom }] = (await proposals()).suppliers;
    expect(orderOn >= orderFrom && orderOn <= orderBy && arrival.median > orderOn).toBe(true);
    const sooner = (await proposals("&target=0.99")).suppliers[0];
    expect(sooner.orderBy <= orderBy).toBe(true);
  });

  test("nothing is to be ordered now where nothing is needed before the next look, though the shelf is empty", async () => {
    await minimum(0, { leadTimeDays: 1, leadTimeSdDays: 0.5 });
    const quick = await proposals("&reviewPeriodDays=1");
    for (const line of quick.suppliers.flatMap(all)) {
      expect(line).toMatchObject({ onHand: 0, reorderPoint: 0, orderUpTo: 0, orderNow: false });
      expect(line.orderBy > "2026-12-01").toBe(true);
    }
    expect(quick.suppliers.flatMap(all)).not.toEqual([]);
    await minimum(5000, { leadTimeDays: 6, leadTimeSdDays: 3 });
  });

  test("count the shop's own shelf, also by its list, and what is on order for it", async () => {
    const before = of(await proposals(), "P-1");
    const received = { reason: "received", lineId: club.lines.pinion.id, locationId: club.shelf.id };
    await keeper.must("POST", "/v1/movements", { ...received, pieces: 1, at: "2026-11-25T10:00:00Z" });
    const after = of(await proposals(), "P-1");
    expect([after.onHand, before.packs - after.packs]).toEqual([1, 1]);
    await putList(service, key, shop, "sku,inventoryLevel\nP-1,2\nB-1,\n");
    const listed = await proposals();
    expect([of(listed, "P-1").onHand, of(listed, "B-1").onHand]).toEqual([2, 0]);
    expect(listed.uncounted).toEqual(["B-1"]);
    expect(listed.listedAt).toBe("2026-12-01T09:00:00.000Z");
    await putList(service, key, shop, "sku,inventoryLevel\nX,1\n");
    expect(of(await proposals(), "P-1").onHand).toBe(1);
  });

  test("are of what the shop carries alone where that is asked for: by its list, or once on its shelf", async () => {
    const skus = async (id: string) => {
      const query = `through=${through}&carried=true`;
      const { suppliers } = await keeper.must("GET", `/v1/shops/${id}/order-proposals?${query}`);
      return suppliers.flatMap(all).map(({ sku }: any) => sku);
    };
    expect(await skus(shop)).toEqual(["P-1"]);
    const corner = (await keeper.must("POST", "/v1/shops", { name: "Corner" })).id;
    expect(await skus(corner)).toEqual([]);
    await putList(service, key, corner, "sku,inventoryLevel\nS-1,0\n");
    expect(await skus(corner)).toEqual(["S-1"]);
    const wrong = await keeper.get(path("&carried=perhaps"));
    expect(wrong.status).toBe(422);
  });

  test("take off what is promised to drivers, once it is confirmed and until the day is over", async () => {
    const [before] = [of(await proposals(), "P-1")];
    expect(before).toMatchObject({ onHand: 1, heldPieces: 0 });
    const asked = await service.owner.must("POST", "/v1/reservations", {
      ...{ shopId: shop, lineId: club.lines.pinion.id, driverId: club.drivers[3].id },
      ...{ pieces: 1, forDay: "2026-12-06" },
    });
    expect(of(await proposals(), "P-1")).toMatchObject({ onHand: 1, heldPieces: 0 });
    await keeper.must("PUT", `/v1/reservations/${asked.id}/answer`, { confirmed: true });
    const held = of(await proposals(), "P-1");
    expect(held).toMatchObject({ onHand: 0, heldPieces: 1 });
    expect(held.packs).toBe(before.packs + 1);
    await service.owner.must("PUT", `/v1/reservations/${asked.id}/withdrawal`, undefined);
    expect(of(await proposals(), "P-1")).toEqual(before);
  });

  test("a line that ends is ordered before it does, and what ends it is said", async () => {
    const { id } = club.lines.body;
    const before = of(await proposals(), "B-1");
    const endedOn = "2026-12-03";
    await service.owner.must("PATCH", `/v1/lines/${id}`, { endedOn });
    const line = of(await proposals(), "B-1");
    expect(line).toMatchObject({ ended: "ends on 2026-12-03", packs: before.packs });
    expect(line.orderBy <= "2026-12-02" && line.orderFrom <= line.orderBy).toBe(true);
    expect(line.sentence).toContain("; this line ends on 2026-12-03.");
    await service.owner.must("PATCH", `/v1/lines/${id}`, { endedOn: null });
  });

  test("lines that name no supplier stand together, with no minimum", async () => {
    const { id } = club.lines.body;
    await service.owner.must("PATCH", `/v1/lines/${id}`, { supplierId: null });
    const { suppliers } = await proposals();
    expect(suppliers).toHaveLength(2);
    const unnamed = suppliers.find((one: any) => one.supplierId === null);
    expect(unnamed).toMatchObject({ supplierName: null, minimumOrderMinorUnits: 0, minimumReached: true });
    expect(all(unnamed).map(({ sku }: any) => sku)).toEqual(["B-1"]);
    expect(unnamed.sentence).toContain("an unnamed supplier");
    expect((await keeper.get(path("", ".html"))).body).toContain("No supplier named");
    await service.owner.must("PATCH", `/v1/lines/${id}`, { supplierId: club.supplier.id });
  });

  test("become an order by sending their numbers on, and are not proposed again", async () => {
    const { locationId, suppliers } = await proposals();
    const [{ supplierId, lines }] = suppliers;
    const order = await keeper.must("POST", "/v1/orders", {
      ...{ supplierId, locationId, placedAt: "2026-12-01T09:00:00Z" },
      lines: lines.map(({ lineId, packs }: any) => ({ lineId, packs })),
    });
    expect(order.lines.map((one: any) => one.pieces)).toEqual(lines.map((one: any) => one.pieces));
    const rest = await proposals();
    for (const { sku, orderNow } of lines) if (!orderNow) expect(of(rest, sku)).toBeUndefined();
    await keeper.must("PATCH", `/v1/orders/${order.id}`, { closed: true });
  });

  test("two lines that are bought as one are one entry, and their shelf is counted once", async () => {
    const { owner } = service;
    const { id, kindId, supplierId } = await owner.must("GET", `/v1/lines/${club.lines.body.id}`);
    const given = { kindId, supplierId, packSize: 2, priceMinorUnits: 4100 };
    const next = await owner.must("POST", "/v1/lines", { ...given, sku: "B-2", name: "B-2" });
    const ada = (await owner.must("GET", `/v1/cars/${club.cars[0].id}`)).positions.find(
      (one: any) => one.name === "body",
    ).fitted.pieceId;
    const alone = of(await proposals(), "B-1");
    const put = { position: "body", at: "2026-11-30T08:00:00Z" };
    await owner.must("POST", `/v1/pieces/${ada}/removal`, { at: put.at });
    await owner.must("POST", `/v1/cars/${club.cars[0].id}/fittings`, {
      ...put,
      piece: { lineId: next.id, mark: "new body", from: "none" },
    });
    await owner.must("PATCH", `/v1/lines/${id}`, { supersededById: next.id, endedOn: "2026-11-30" });
    const answer = await proposals();
    const entries = answer.suppliers.flatMap(all).filter((one: any) => ["B-1", "B-2"].includes(one.sku));
    expect(entries).toHaveLength(1);
    expect(entries[0]).toMatchObject({ sku: "B-2", drivers: 4 });
    expect(answer.withheld).toEqual([]);
    expect(entries[0].need.expected).toBeGreaterThan(alone.need.expected * 0.5);
    const plan = await keeper.must("GET", `/v1/shelf-plan?through=${through}`);
    expect(plan.lines.filter((one: any) => one.sku === "B-2")).toHaveLength(1);
    await owner.must("PATCH", `/v1/lines/${id}`, { supersededById: null, endedOn: null });
  });

  test("say what to do below the supplier's minimum: wait while there is time, then fill up, or ask", async () => {
    await minimum(0);
    const [reached] = (await proposals()).suppliers;
    const whole = all(reached).reduce((sum: number, one: any) => sum + one.costMinorUnits, 0);
    expect(reached).toMatchObject({ minimumReached: true, belowMinimumByMinorUnits: 0, topUp: [] });
    await minimum(whole);
    const [forward] = (await proposals()).suppliers;
    expect(forward).toMatchObject({ minimumReached: true, later: [] });
    expect(forward.lines.filter((one: any) => one.broughtForward)).toHaveLength(reached.later.length);
    await minimum(9_000_000);
    // So few are bought for two meetings that one pinion more sells within the year with a chance well above a half.
    const [short] = (await proposals("", "2026-12-20")).suppliers;
    await minimum(short.totals[0].minorUnits + 1);
    const [soon] = (await proposals("", "2026-12-20")).suppliers;
    expect(soon).toMatchObject({ advice: "top-up", minimumReached: false, orderOn: "2026-12-01" });
    expect(soon.belowMinimumByMinorUnits).toBe(1);
    expect(soon.topUp).toHaveLength(1);
    expect(soon.topUp[0].costMinorUnits).toBeGreaterThanOrEqual(1);
    expect(soon.sentence).toContain("will most likely sell within a year anyway");
    await minimum(9_000_000);
    const [small] = (await proposals()).suppliers;
    expect(small).toMatchObject({ advice: "below-minimum", topUp: null });
    await minimum(5000);
  });

  test("wait below the minimum while what is there lasts, and wait for nothing where a delivery takes too long", async () => {
    const counted = (pieces: number, at: string) =>
      keeper.must("POST", "/v1/stocktakes", {
        ...{ locationId: club.shelf.id, at },
        counts: Object.values(club.lines).map(({ id }) => ({ lineId: id, pieces })),
      });
    await counted(4, "2026-12-01T08:00:00Z");
    await minimum(9_000_000);
    const [later] = (await proposals()).suppliers;
    expect(later).toMatchObject({ advice: "wait", minimumReached: false, late: false });
    expect(later.orderBy > "2026-12-08").toBe(true);
    expect(later.orderOn).toBe(later.orderBy);
    expect(later.sentence).toContain("what sells until then may fill it");
    await counted(0, "2026-12-01T08:30:00Z");
    await minimum(5000, { leadTimeDays: 60, leadTimeSdDays: 5 });
    const [late] = (await proposals()).suppliers;
    expect(late).toMatchObject({ late: true, orderBy: "2026-12-01", advice: "order-now" });
    expect(late.sentence).toContain("too late");
    await minimum(5000, { leadTimeDays: 6, leadTimeSdDays: 3 });
  });

  test("what would be too old by then is bought for no longer than it keeps", async () => {
    const { id } = club.lines.pinion;
    await service.owner.must("PATCH", `/v1/lines/${id}`, { shelfLifeDays: 40 });
    const line = of(await proposals(), "P-1");
    expect(line.boughtThrough < through).toBe(true);
    expect(days(line.orderFrom, line.boughtThrough)).toSatisfy((n: number) => n >= 40 && n <= 50);
    expect(line.sentence).toContain("for what comes keeps no longer");
    await service.owner.must("PATCH", `/v1/lines/${id}`, { shelfLifeDays: null });
    expect(of(await proposals(), "P-1").packs).toBeGreaterThan(line.packs);
  });

  test("are not for drivers, nor of an unknown shop or a day that is past; a reader may look", async () => {
    const ada = await service.as("driver", club.drivers[0].id);
    expect((await ada.get(path())).status).toBe(403);
    expect((await ada.get(path("", ".csv"))).status).toBe(403);
    expect((await keeper.get(`/v1/shops/none/order-proposals?through=${through}`)).status).toBe(404);
    const past = await keeper.get(`/v1/shops/${shop}/order-proposals?through=2026-11-30`);
    expect([past.status, past.body.type]).toEqual([409, "/problems/out_of_order"]);
    expect((await keeper.get(`/v1/shops/${shop}/order-proposals`)).status).toBe(422);
    expect((await (await service.as("reader")).get(path())).status).toBe(200);
  });

  test("name no driver, car or piece", async () => {
    const text = JSON.stringify(await proposals());
    const ids = [...club.drivers, ...club.cars].map((one: any) => one.id);
    for (const id of [...ids, ...Object.values(club.pieces)]) expect(text).not.toContain(id);
  });
});

describe("order proposals to take along", () => {
  const formula = '=cmd|"x"!A1, <script>alert(1)</script>';
  beforeAll(async () => {
    await service.owner.must("PATCH", `/v1/lines/${club.lines.pinion.id}`, { name: formula });
    await minimum(5000, { notes: formula });
  });

  test("as CSV have a row for each line with the same numbers, and no formula in it", async () => {
    const answer = await proposals();
    const { body, headers } = await keeper.get(path("", ".csv"));
    expect(headers.get("content-type")).toBe("text/csv; charset=utf-8; header=present");
    expect(headers.get("content-disposition")).toBe('attachment; filename="order-proposals.csv"');
    expect(body.split("\r\n").length).toBeGreaterThan(2);
    const rows = parse(body, { columns: true }) as Record<string, string>[];
    expect(rows).toHaveLength(answer.suppliers.flatMap(all).length);
    const row = rows.find(({ sku }) => sku === "P-1")!;
    const line = of(answer, "P-1");
    expect(row).toMatchObject({
      ...{ name: `'${formula}`, makersPartNumber: "P28-48", gtin: "614141210220", price: "11.50" },
      ...{ packs: String(line.packs), orderBy: line.orderBy, arrivalP90: line.arrival.p90 },
    });
    for (const cell of rows.flatMap((one) => Object.values(one))) expect(cell).not.toMatch(/^[=+\-@\t\r]/);
  });

  test("as a page say by supplier what to do, are well formed and run nothing", async () => {
    const answer = await proposals();
    const { body } = await keeper.get(path("", ".html"));
    expect(nestingFaults(body, ["meta"])).toEqual([]);
    expect(body).not.toContain("<script");
    expect(textOf(body, "main")).toContain(answer.suppliers[0].sentence);
    expect(textOf(body, "main")).toContain("Gantry Wholesale");
  });
});
