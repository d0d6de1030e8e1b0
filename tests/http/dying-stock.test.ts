import { parse } from "csv-parse/sync";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { type ClubOfFour, startClubOfFour } from "../support/club-of-four.ts";
import { packKind, spurKind } from "../support/garage.ts";
import { putList } from "../support/put-list.ts";
import { startTestService, type TestService } from "../support/service.ts";
import { nestingFaults, textOf } from "../support/well-formed.ts";

let service: TestService;
let club: ClubOfFour;
let key: string;
let keeper: TestService["owner"];
let shop: string;
let lines: Record<string, string>;

/** A line that nobody has, of a pack and of glue; and a car model that nobody drives. */
beforeAll(async () => {
  service = await startTestService("2026-12-01T09:00:00.000Z");
  club = await startClubOfFour(service);
  key = await service.keyFor("shop");
  keeper = service.withKey(key);
  shop = (await keeper.must("POST", "/v1/shops", { name: "Counter", locationId: club.shelf.id })).id;
  const { must } = service.owner;
  const kindOf = async (id: string) => (await must("GET", `/v1/lines/${id}`)).kindId;
  const pack = await must("POST", "/v1/kinds", { ...packKind, shelfLifeDays: 270 });
  const glue = await must("POST", "/v1/kinds", {
    ...{ ...spurKind, code: "T-GLUE", name: "Tyre glue", carStopper: false },
    ...{ shelfLifeDays: 365, cautions: ["Guard the eyes."] },
  });
  const other = await must("POST", "/v1/car-models", { name: "Old buggy", discipline: "buggy" });
  const tourer = await must("POST", "/v1/car-models", { name: "Tourer", discipline: "touring" });
  for (const { id } of club.cars) await must("PATCH", `/v1/cars/${id}`, { carModelId: tourer.id });
  const add = async (sku: string, kindId: string, more: object = {}) =>
    (
      await must("POST", "/v1/lines", {
        ...{ sku, name: sku, kindId, priceMinorUnits: 1000, supplierId: club.supplier.id },
        ...more,
      })
    ).id as string;
  const spur = await kindOf(club.lines.spur.id);
  lines = {
    pack: await add("PACK", pack.id, { priceMinorUnits: 8000 }),
    glue: await add("GLUE", glue.id),
    other: await add("S-9", spur, { fits: [other.id] }),
    alternative: await add("S-2", spur, { fits: [tourer.id] }),
    unpriced: await add("S-3", spur, { priceMinorUnits: 0 }),
  };
  for (let i = 0; i < 4; i++)
    await must("PATCH", `/v1/drivers/${club.drivers[i].id}`, { sharesDemand: true });
});
afterAll(() => service.close());

const dying = () => keeper.must("GET", `/v1/shops/${shop}/dying-stock`);
const item = async (sku: string) => (await dying()).items.find((one: any) => one.sku === sku);
const why = (one: any) => one.reasons.map(({ reason, pieces, on }: any) => [reason, pieces, on]);
const receive = (lineId: string, pieces: number, at: string) =>
  keeper.must("POST", "/v1/movements", {
    ...{ reason: "received", locationId: club.shelf.id, lineId, pieces, at },
  });
const edit = (lineId: string, members: object) => service.owner.must("PATCH", `/v1/lines/${lineId}`, members);

describe("GET /v1/shops/{id}/dying-stock", () => {
  test("an empty shelf has nothing that dies", async () => {
    expect(await dying()).toMatchObject({ linesOnShelf: 0, items: [], totals: [], shelfTotals: [] });
  });

  test("what no car uses is named, with whether a car could take it, unless it is sold all the same", async () => {
    await receive(lines["other"]!, 2, "2026-11-01T10:00:00Z");
    await receive(lines["alternative"]!, 3, "2026-11-01T10:00:00Z");
    const none = await item("S-9");
    expect(none).toMatchObject({
      ...{ pieces: 2, dyingPieces: 2, moneyMinorUnits: 2000, priceMinorUnits: 1000, currency: "AUD" },
      ...{ source: "ledger", takenPastYear: 0, diesOn: null, outlook: "known", cautions: [] },
      expectedSales: { expected: 0, p10: 0, median: 0, p90: 0 },
    });
    expect(why(none)).toEqual([["no-car", 2, null]]);
    expect(none.sentence).toContain("none of the 4 drivers who share their need uses it");
    expect(why(await item("S-2"))).toEqual([["not-in-use", 3, null]]);
    const sold = { reason: "sold", lineId: lines["alternative"], locationId: club.shelf.id };
    const { id } = await keeper.must("POST", "/v1/movements", {
      ...{ ...sold, pieces: 1, at: "2026-11-20T10:00:00Z" },
    });
    expect(await item("S-2")).toBeUndefined();
    await keeper.must("POST", `/v1/movements/${id}/undo`, { at: "2026-11-20T11:00:00Z" });
    expect((await item("S-2")).takenPastYear).toBe(0);
  });

  test("what is more than a year needs at 90 % is named by whole packs; the plan of the shelf has the same need", async () => {
    await receive(club.lines.body.id, 31, "2026-11-01T10:00:00Z");
    const body = await item("B-1");
    const plan = await keeper.must("GET", "/v1/shelf-plan?through=2027-12-01");
    const { need } = plan.lines.find((one: any) => one.sku === "B-1");
    expect(body.expectedSales).toMatchObject({ p10: need.p10, median: need.median, p90: need.p90 });
    const beyond = Math.floor((31 - need.p90) / 2) * 2;
    expect(why(body)).toEqual([["more-than-needed", beyond, null]]);
    expect(body).toMatchObject({ dyingPieces: beyond, moneyMinorUnits: beyond * 2000 });
    expect(body.sentence).toContain(`likely to need ${need.p10} to ${need.p90} of them`);
  });

  test("packs and glue that age are named with the day, and with whose rules come first when they are thrown away", async () => {
    await receive(lines["pack"]!, 2, "2026-02-01T10:00:00Z");
    await receive(lines["glue"]!, 4, "2026-03-01T10:00:00Z");
    const pack = await item("PACK");
    // 270 days, which only the kind tells.
    expect(why(pack)).toEqual([
      ["not-in-use", 2, null],
      ["past-shelf-life", 2, "2026-10-29"],
    ]);
    expect(pack).toMatchObject({ diesOn: "2026-10-29", dyingPieces: 2, moneyMinorUnits: 16_000 });
    expect(pack.cautions[0]).toBe("Unplug the pack before fingers go near the gears.");
    expect(pack.cautions.at(-1)).toMatch(/local authority.*local disposal rules and the maker's leaflet/);
    expect(pack.sentence).toContain("as local disposal rules and the maker's instructions say");
    const glue = await item("GLUE");
    expect(why(glue)).toContainEqual(["ages-before-sale", 4, "2027-03-01"]);
    expect(glue.cautions[0]).toBe("Guard the eyes.");
    expect(glue.cautions.at(-1)).toMatch(/local disposal rules and the maker's instructions on the label/);
    const { cautions, items } = await dying();
    expect(new Set(cautions).size).toBe(cautions.length);
    expect(cautions).toEqual(expect.arrayContaining([...pack.cautions, ...glue.cautions]));
    expect(items.find((one: any) => one.sku === "B-1").cautions).toEqual([]);
  });

  test("what has ended or ends is named with the day and with what replaces it, whose need it does not lose", async () => {
    await receive(club.lines.pinion.id, 2, "2026-11-01T10:00:00Z");
    const { kindId } = await service.owner.must("GET", `/v1/lines/${club.lines.pinion.id}`);
    const given = { sku: "P-2", name: "Pinion, new", kindId, priceMinorUnits: 1200 };
    const { id } = await service.owner.must("POST", "/v1/lines", given);
    await receive(id, 1, "2026-11-20T10:00:00Z");
    expect(why(await item("P-2"))).toEqual([["not-in-use", 1, null]]);
    await edit(club.lines.pinion.id, { supersededById: id, endedOn: "2027-02-26", notes: "takes a washer" });
    const ends = await item("P-1");
    expect(ends).toMatchObject({
      ...{ diesOn: "2027-02-26", endedOn: "2027-02-26", dyingPieces: 0 },
      replacedBy: { lineId: id, sku: "P-2", name: "Pinion, new" },
    });
    expect(ends.sentence).toContain("ends on 2027-02-26, replaced by P-2 (Pinion, new): takes a washer");
    expect(await item("P-2")).toBeUndefined();
    await edit(club.lines.pinion.id, { endedOn: "2026-11-30" });
    expect(why(await item("P-1"))).toEqual([["ended", 0, "2026-11-30"]]);
    expect(await item("P-2")).toBeUndefined();
    await edit(club.lines.pinion.id, { endedOn: null });
    expect(why(await item("P-1"))).toEqual([["superseded", 0, null]]);
    await edit(club.lines.pinion.id, { supersededById: null });
  });

  test("the list says how many and for how much, where there is one; what it leaves open is named and not guessed", async () => {
    await putList(
      service,
      key,
      shop,
      "sku,inventoryLevel,price\nS-9,5,7.50\nS-2,,\nPACK,0,\nS-3,2,\nX-1,3,1.00\n",
    );
    expect(await item("S-9")).toMatchObject({
      ...{ source: "list", pieces: 5, priceMinorUnits: 750, moneyMinorUnits: 3750 },
    });
    expect(await item("S-2")).toMatchObject({ source: "ledger", pieces: 3 });
    expect((await item("S-9")).asOf).toBe("2026-12-01T09:00:00.000Z");
    expect(await item("PACK")).toBeUndefined();
    expect(await item("S-3")).toMatchObject({
      ...{ pieces: 2, dyingPieces: 2, priceMinorUnits: null, moneyMinorUnits: null },
    });
    expect((await dying()).unmatched).toBe(1);
    // A row that is wrong leaves the last good one, with its age.
    service.clock.now = "2026-12-01T21:00:00.000Z";
    const partly = { query: "?acceptPartly=true" };
    await putList(service, key, shop, "sku,inventoryLevel\nS-9,many\nS-3,2\n", partly);
    const nine = await item("S-9");
    expect(nine).toMatchObject({ pieces: 5, asOf: "2026-12-01T09:00:00.000Z" });
    expect((await item("S-3")).asOf).toBe("2026-12-01T21:00:00.000Z");
    service.clock.now = "2026-12-01T09:00:00.000Z";
    const other = (await keeper.must("POST", "/v1/shops", { name: "No ledger" })).id;
    await putList(service, key, other, "sku,inventoryLevel\nS-2,\nPACK,3\n");
    const answer = await keeper.must("GET", `/v1/shops/${other}/dying-stock`);
    expect(answer).toMatchObject({ locationId: null, uncounted: ["S-2"], undated: ["PACK"] });
    const open = answer.items.find((one: any) => one.sku === "S-2");
    expect(open).toMatchObject({ pieces: null, dyingPieces: null, moneyMinorUnits: null, source: "list" });
    expect(open.sentence).toContain("an untold number");
    expect(open.takenPastYear).toBeNull();
    await putList(service, key, shop, "sku\nX-1\n");
  });

  test("what is promised to a driver is as good as sold", async () => {
    const asked = await service.owner.must("POST", "/v1/reservations", {
      ...{ shopId: shop, lineId: lines["alternative"], driverId: club.drivers[0].id },
      ...{ pieces: 1, forDay: "2026-12-06" },
    });
    await keeper.must("PUT", `/v1/reservations/${asked.id}/answer`, { confirmed: true });
    expect(await item("S-2")).toMatchObject({ pieces: 3, heldPieces: 1, dyingPieces: 2 });
    await service.owner.must("PUT", `/v1/reservations/${asked.id}/withdrawal`, undefined);
  });

  test("what left the shelf was sold, counted down or moved to a driver; not moved to a shelf, written off or undone", async () => {
    const { must } = service.owner;
    const { kindId } = await must("GET", `/v1/lines/${lines["alternative"]}`);
    const given = { sku: "M-1", name: "M-1", kindId, priceMinorUnits: 100, endedOn: "2026-11-30" };
    const { id } = await must("POST", "/v1/lines", given);
    await receive(id, 9, "2025-10-01T10:00:00Z");
    const from = { lineId: id, locationId: club.shelf.id, pieces: 1 };
    const move = (members: object) =>
      must("POST", "/v1/movements", { ...from, at: "2026-11-20T10:00:00Z", ...members });
    const taken = async () => (await item("M-1")).takenPastYear;
    const other = await must("POST", "/v1/locations", { name: "Back room", sort: "shelf" });
    await move({ reason: "moved", toLocationId: other.id });
    await move({ reason: "written-off" });
    // A year and a day ago.
    await move({ reason: "sold", at: "2025-11-30T08:00:00Z" });
    expect(await taken()).toBe(0);
    await move({ reason: "moved", toLocationId: club.homes[0].id });
    expect(await taken()).toBe(1);
    await move({ reason: "sold", pieces: 2 });
    expect(await taken()).toBe(3);
    const counts = [{ lineId: id, pieces: 2 }];
    await must("POST", "/v1/stocktakes", { locationId: club.shelf.id, at: "2026-11-29T10:00:00Z", counts });
    expect(await item("M-1")).toMatchObject({ pieces: 2, takenPastYear: 4 });
    await move({ reason: "written-off", pieces: 2, at: "2026-11-30T10:00:00Z" });
    expect(await item("M-1")).toBeUndefined();
  });

  test("adds up the money, the most first, and says when the calendar ends too soon", async () => {
    const { items, totals, shelfTotals, sentence, calendarEndsOn } = await dying();
    const money = items.map((one: any) => one.moneyMinorUnits ?? 0);
    expect(money).toEqual([...money].sort((a, b) => b - a));
    expect(totals).toEqual([
      { currency: "AUD", minorUnits: money.reduce((a: number, b: number) => a + b, 0) },
    ]);
    expect(shelfTotals[0].minorUnits).toBeGreaterThanOrEqual(totals[0].minorUnits);
    expect(calendarEndsOn).toBe("2027-04-11");
    expect(sentence).toContain("the calendar ends on 2027-04-11: nothing is needed after it");
  });

  test("is not for drivers, nor of an unknown shop; a reader may look", async () => {
    const ada = await service.as("driver", club.drivers[0].id);
    for (const ending of ["", ".csv", ".html"])
      expect((await ada.get(`/v1/shops/${shop}/dying-stock${ending}`)).status).toBe(403);
    expect((await keeper.get("/v1/shops/none/dying-stock")).status).toBe(404);
    expect((await (await service.as("reader")).get(`/v1/shops/${shop}/dying-stock`)).status).toBe(200);
  });
});

describe("dying stock to take along", () => {
  test("as CSV and as a page has the same numbers, and no formula in it", async () => {
    const formula = '=HYPERLINK("http://evil.example"), <script>';
    await edit(lines["glue"]!, { name: formula });
    const { items, sentence } = await dying();
    const { body, headers } = await keeper.get(`/v1/shops/${shop}/dying-stock.csv`);
    expect(headers.get("content-disposition")).toBe('attachment; filename="dying-stock.csv"');
    const rows = parse(body, { columns: true }) as Record<string, string>[];
    expect(rows.map(({ sku }) => sku)).toEqual(items.map(({ sku }: any) => sku));
    const glue = rows.find(({ sku }) => sku === "GLUE")!;
    expect(glue).toMatchObject({
      name: `'${formula}`,
      dyingPieces: "4",
      money: "40.00",
      diesOn: "2027-03-01",
    });
    for (const cell of rows.flatMap((one) => Object.values(one))) expect(cell).not.toMatch(/^[=+\-@\t\r]/);
    const page = (await keeper.get(`/v1/shops/${shop}/dying-stock.html`)).body;
    expect(nestingFaults(page, ["meta"])).toEqual([]);
    expect(page).not.toContain("<script");
    expect(textOf(page, "main")).toContain(sentence);
    expect(textOf(page, "main")).toContain("Take care");
  });
});

describe("what dying stock keeps to itself", () => {
  const shared = (i: number, sharesDemand: boolean) =>
    service.owner.must("PATCH", `/v1/drivers/${club.drivers[i].id}`, { sharesDemand });
  const drive = async (i: number, runs: number, month: string) => {
    for (let n = 0; n < runs; n++)
      await service.owner.must("POST", "/v1/runs", {
        ...{ carId: club.cars[i].id, minutes: 6, surface: "asphalt" },
        at: new Date(Date.parse(`2026-${month}-01T09:00:00Z`) + n * 3.6e6).toISOString(),
      });
  };
  /** All that could tell of somebody's cars, without the time of the answer. */
  const told = async () => {
    const { asOf: _, ...answer } = await dying();
    return answer;
  };

  test("while fewer than three drivers share: every need, and whether anybody uses a thing", async () => {
    await shared(2, false);
    await shared(3, false);
    const answer = await told();
    expect(answer.driversSharing).toBe(2);
    for (const one of answer.items) expect(one).toMatchObject({ outlook: "withheld", expectedSales: null });
    const reasons = answer.items.flatMap((one: any) => one.reasons.map(({ reason }: any) => reason));
    expect(new Set(reasons)).toEqual(new Set(["past-shelf-life", "ages-before-sale"]));
    expect(answer.withheld).toEqual(expect.arrayContaining(["B-1", "S-2", "S-9", "P-1"]));
    await shared(2, true);
    await shared(3, true);
  });

  test("of a line that one or two drivers use: nothing in the answer follows from how they drive", async () => {
    const put = async (i: number) => {
      await service.owner.must("POST", `/v1/cars/${club.cars[i].id}/fittings`, {
        ...{ position: "spur", at: "2026-11-02T08:00:00Z" },
        piece: { lineId: lines["alternative"], mark: "other spur", from: "none" },
      });
    };
    const off = async (i: number) => {
      const { positions } = await service.owner.must("GET", `/v1/cars/${club.cars[i].id}`);
      const { pieceId } = positions.find(({ name }: any) => name === "spur").fitted;
      await service.owner.must("POST", `/v1/pieces/${pieceId}/removal`, { at: "2026-11-02T07:00:00Z" });
    };
    await off(0);
    await put(0);
    await edit(lines["alternative"]!, { endedOn: "2027-01-31", shelfLifeDays: 100 });
    const one = await item("S-2");
    expect(one).toMatchObject({ outlook: "withheld", expectedSales: null, dyingPieces: 3 });
    expect(why(one)).toEqual([
      ["ages-before-sale", 3, "2027-02-09"],
      ["ends", 3, "2027-01-31"],
    ]);
    expect(one.sentence).toContain("not shown, for fewer than 3 drivers stand behind it");
    await drive(0, 30, "11");
    expect(await item("S-2")).toEqual(one);
    await off(1);
    await put(1);
    expect(await item("S-2")).toEqual(one);
    await off(2);
    await put(2);
    const three = await item("S-2");
    expect(three.outlook).toBe("known");
    expect(three.expectedSales.expected).toBeGreaterThan(0);
  });

  test("how many have a car for a thing that nobody uses, while it is one or two", async () => {
    const { id } = (await service.owner.must("GET", "/v1/car-models")).items.find(
      ({ name }: any) => name === "Old buggy",
    );
    const before = await item("S-9");
    expect(why(before)).toEqual([["no-car", 2, null]]);
    const drives = async (i: number) =>
      service.owner.must("PATCH", `/v1/cars/${club.cars[i].id}`, { carModelId: id });
    await drives(0);
    await drives(1);
    expect(await item("S-9")).toEqual(before);
    await drives(2);
    expect(why(await item("S-9"))).toEqual([["not-in-use", 2, null]]);
  });

  test("of drivers who do not share: that they have a car at all", async () => {
    const before = await told();
    const { must } = service.owner;
    const driver = await must("POST", "/v1/drivers", { name: "Eve" });
    const { positions } = await must("GET", `/v1/cars/${club.cars[3].id}`);
    const { kindId } = positions.find(({ name }: any) => name === "spur");
    const car = await must("POST", "/v1/cars", {
      ...{ driverId: driver.id, name: "Eve's car", positions: [{ name: "spur", kindId }] },
    });
    await must("POST", `/v1/cars/${car.id}/fittings`, {
      ...{ position: "spur", at: "2026-11-02T08:00:00Z" },
      piece: { lineId: lines["other"], mark: "hers", from: "none" },
    });
    const after = await told();
    expect(after.items).toEqual(before.items);
    expect(after.withheld).toEqual(before.withheld);
    expect([before.drivers, after.drivers]).toEqual([4, 5]);
  });

  test("what the plan of the shelf would give away by subtraction: a part of a sum whose rest is one driver's", async () => {
    // Bought as P-9 from now on: four drivers' P-1, and P-9 itself in one driver's car.
    const { kindId } = await service.owner.must("GET", `/v1/lines/${club.lines.pinion.id}`);
    const given = { sku: "P-9", name: "P-9", kindId, priceMinorUnits: 1200 };
    const { id } = await service.owner.must("POST", "/v1/lines", given);
    await edit(club.lines.pinion.id, { supersededById: id, endedOn: "2026-11-30" });
    expect(await item("P-1")).toMatchObject({ outlook: "known" });
    const { positions } = await service.owner.must("GET", `/v1/cars/${club.cars[0].id}`);
    const { pieceId } = positions.find(({ name }: any) => name === "pinion").fitted;
    await service.owner.must("POST", `/v1/pieces/${pieceId}/removal`, { at: "2026-11-30T07:00:00Z" });
    await service.owner.must("POST", `/v1/cars/${club.cars[0].id}/fittings`, {
      ...{ position: "pinion", at: "2026-11-30T08:00:00Z" },
      piece: { lineId: id, mark: "new pinion", from: "none" },
    });
    expect(await item("P-1")).toMatchObject({ outlook: "withheld", expectedSales: null, dyingPieces: 2 });
    const plan = await keeper.must("GET", "/v1/shelf-plan?through=2027-04-30");
    expect(plan.lines.find(({ sku }: any) => sku === "P-9")).toMatchObject({ drivers: 4 });
  });

  test("names no driver, car or piece", async () => {
    const text = JSON.stringify(await dying());
    const ids = [...club.drivers, ...club.cars].map((one: any) => one.id);
    for (const id of [...ids, ...Object.values(club.pieces)]) expect(text).not.toContain(id);
  });
});
