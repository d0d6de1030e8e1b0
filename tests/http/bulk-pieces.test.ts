import { afterAll, beforeAll, beforeEach, describe, expect, it } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
beforeAll(async () => {
  service = await startTestService("2026-11-29T20:00:00.000Z");
  garage = await startGarage(service);
});
afterAll(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});
beforeEach(async () => {
  for (const table of ["readings", "inspections", "movements", "fittings", "runs", "pieces"] as const)
    await service.db.deleteFrom(table).execute();
});

type Caller = TestService["owner"];
const importer =
  (what: string) =>
  (table: string | object[], query = "", by: Caller = service.owner) =>
    typeof table === "string"
      ? by.send("POST", `/v1/imports/${what}${query}`, table, { "content-type": "text/csv" })
      : by.send("POST", `/v1/imports/${what}${query}`, table);
const [pieces, readings, stock] = [importer("pieces"), importer("readings"), importer("stock")];
const rowsOf = async (table: "pieces" | "fittings" | "readings" | "inspections" | "movements") =>
  (await service.db.selectFrom(table).selectAll().orderBy("id").execute()) as any[];
const evidence = async () =>
  (
    await service.db
      .selectFrom("lines")
      .select("evidence")
      .where("id", "=", garage.line.id)
      .executeTakeFirstOrThrow()
  ).evidence;

const una = "Una Wickerley";
const car = `${una} / First car`;

describe("pieces from a table", () => {
  const header = "driver,sku,mark,asNew,unit,car,position,fittedAt,removedAt,retiredAt,retiredFor\n";
  const spur1 = `${una},T-SP-1,spur 1,0.61,in,${car},spur,2026-03-01T09:00:00Z,2026-05-01T09:00:00Z,,\n`;
  const spur2 = `${una},T-SP-1,spur 2,,,${car},spur,2026-05-01T09:00:00Z,,2026-09-01T09:00:00Z,worn\n`;

  it("come with their fittings, an end, an as-new reading in any unit, and a row for each fitting", async () => {
    const seen = await evidence();
    const again = `${una},T-SP-1,spur 1,0.61,in,${car},second spur,2026-05-01T09:00:00Z,,,\n`;
    const spare = `${una},T-LP-1,pack A,,,,,,,,\n`;
    const { status, body } = await pieces(header + spur1 + spur2 + again + spare);
    expect([status, body]).toEqual([200, { dryRun: false, rowsRead: 4, rowsKept: 4, rowsAlreadyThere: 0 }]);
    expect(await rowsOf("pieces")).toMatchObject([
      { mark: "spur 1", asNew: expect.closeTo(15.494, 9), retiredAt: null },
      { mark: "spur 2", asNew: null, retiredAt: "2026-09-01T09:00:00.000Z", retiredFor: "worn" },
      { mark: "pack A", lineId: garage.packLine.id },
    ]);
    expect(
      (await rowsOf("fittings")).map(({ fittedAt, removedAt }) => [
        fittedAt.slice(5, 10),
        removedAt?.slice(5, 10),
      ]),
    ).toEqual([
      ["03-01", "05-01"],
      ["05-01", "09-01"],
      ["05-01", undefined],
    ]);
    expect(await evidence()).toBe(seen + 1);
    const first = (await rowsOf("pieces"))[0];
    const history = await service.owner.must("GET", `/v1/pieces/${first.id}`);
    expect(history).toMatchObject({ state: "fitted", fittings: [{}, {}] });
  });

  it("a repeat changes nothing, a new fitting of a known piece is kept, and other content is an error", async () => {
    await pieces(header + spur1 + spur2);
    const seen = await evidence();
    expect((await pieces(header + spur1 + spur2)).body).toMatchObject({ rowsKept: 0, rowsAlreadyThere: 2 });
    expect(await evidence()).toBe(seen);
    const later = spur1
      .replace("2026-03-01", "2026-06-01")
      .replace("2026-05-01", "2026-07-01")
      .replace(",spur,", ",second spur,");
    expect((await pieces(header + later)).body).toMatchObject({ rowsKept: 1 });
    const { status, body } = await pieces(header + spur1.replace("0.61", "0.611"));
    expect(status).toBe(422);
    expect(body.errors).toMatchObject([
      { pointer: "#/rows/0/asNew", detail: expect.stringMatching(/there already/) },
    ]);
    expect(await rowsOf("fittings")).toHaveLength(3);
  });

  it("a dry run keeps nothing, and an error in the last row neither", async () => {
    expect((await pieces(header + spur1, "?dryRun=true")).body).toMatchObject({ dryRun: true, rowsKept: 1 });
    expect((await pieces(header + spur1 + spur2.replace("T-SP-1", "T-SP-2"))).body.errors).toMatchObject([
      { pointer: "#/rows/1/sku", detail: 'row 2, sku: there is no line "T-SP-2"; is "T-SP-1" meant?' },
    ]);
    expect([await rowsOf("pieces"), await rowsOf("fittings")]).toEqual([[], []]);
  });

  it.each([
    [
      "a position that is taken on the books",
      spur2.replace("spur 2", "spur 3").replace("05-01", "04-01"),
      "#/rows/0/fittedAt",
      /another piece is fitted at that position from 2026-03-01/,
    ],
    [
      "a piece that is fitted elsewhere",
      spur1.replace(",spur,", ",second spur,").replace("03-01", "04-01"),
      "#/rows/0/fittedAt",
      /the piece is fitted from 2026-03-01/,
    ],
    [
      "two rows for one position at a time",
      `${spur2}${spur2.replace("spur 2", "spur 3").replace("05-01", "06-01")}`,
      "#/rows/1/fittedAt",
      /\(row 1\)/,
    ],
    ["an unknown position", spur2.replace(",spur,", ",spar,"), "#/rows/0/position", /no position "spar"/],
    [
      "a pack at a position",
      spur2.replace("T-SP-1", "T-LP-1"),
      "#/rows/0/position",
      /the kind "Pack of the tests"; "\w+" of this car takes "Spur of the tests"/,
    ],
    [
      "an end before its start",
      spur2.replace(",,2026-09-01", ",2026-04-01T09:00:00Z,2026-09-01"),
      "#/rows/0/removedAt",
      /after fittedAt/,
    ],
    ["a fitting after the end", spur2.replace("05-01", "10-01"), "#/rows/0/fittedAt", /before retiredAt/],
    [
      "a removal after the end",
      spur2.replace(",,2026-09-01", ",2026-10-01T09:00:00Z,2026-09-01"),
      "#/rows/0/removedAt",
      /came off by then/,
    ],
    ["an end without a reason", spur2.replace("worn", ""), "#/rows/0/retiredFor", /go together/],
    ["an unknown reason", spur2.replace("worn", "tired"), "#/rows/0/retiredFor", /one of worn/],
    ["a position without a car", spur2.replace(car, ""), "#/rows/0/car", /must be given/],
    [
      "a unit of another sort",
      spur1.replace(",in,", ",kg,").replace("spur 1", "spur 4"),
      "#/rows/0/unit",
      /cannot be turned into mm/,
    ],
    ["an unknown driver", spur2.replace(una, "Una Wickerly"), "#/rows/0/driver", /is "Una Wickerley" meant/],
  ])("refused: %s", async (_, rows, pointer, detail) => {
    await pieces(header + spur1);
    const { status, body } = await pieces(header + rows);
    expect([status, body.errors?.[0].pointer]).toEqual([422, pointer]);
    expect(body.errors[0].detail).toMatch(detail);
    expect(await rowsOf("pieces")).toHaveLength(1);
  });

  it("what is fitted by a table is held against the books by the single calls", async () => {
    await pieces(header + spur1);
    const [{ id }] = await rowsOf("pieces");
    const at = "2026-04-01T09:00:00Z";
    const fit = await service.owner.post(`/v1/cars/${garage.car.id}/fittings`, {
      position: "second spur",
      at,
      piece: { pieceId: id },
    });
    expect(fit.body.type).toBe("/problems/piece_fitted");
  });
});

describe("readings from a table", () => {
  const header = "driver,mark,at,value,unit,confirmed\n";
  const row = (day: string, value: number | string, rest = "mm,") =>
    `${una},spur 1,2026-${day}T19:00:00Z,${value},${rest}\n`;
  beforeEach(async () => {
    await pieces(
      `driver,sku,mark,asNew,car,position,fittedAt\n${una},T-SP-1,spur 1,15.485,${car},spur,2026-03-01T09:00:00Z\n`,
    );
  });

  it("those of one piece at one moment are one inspection; units are converted", async () => {
    const seen = await evidence();
    const { body } = await readings(
      header + row("03-05", 15.48) + row("03-05", 0.6095, "in,") + row("03-10", 15.47),
    );
    expect(body).toEqual({ dryRun: false, rowsRead: 3, rowsKept: 3, rowsAlreadyThere: 0 });
    expect(await rowsOf("inspections")).toHaveLength(2);
    const kept = await rowsOf("readings");
    expect(kept.map(({ value }) => value)).toEqual([15.48, expect.closeTo(15.4813, 9), 15.47]);
    expect(kept[1]).toMatchObject({
      enteredValue: 0.6095,
      enteredUnit: "in",
      sd: 0.018,
      instrument: "calliper",
      confirmed: 0,
    });
    expect(await evidence()).toBe(seen + 1);
    const [{ pieceId }] = kept;
    const listed = await service.owner.must("GET", `/v1/pieces/${pieceId}/inspections`);
    expect(listed.items.map((one: any) => one.readings.length)).toEqual([2, 1]);
  });

  it("a repeat changes nothing, other readings at the same moment are an error", async () => {
    const table = header + row("03-05", 15.48) + row("03-05", 15.47);
    await readings(table);
    const seen = await evidence();
    expect((await readings(table)).body).toMatchObject({ rowsKept: 0, rowsAlreadyThere: 2 });
    expect(await evidence()).toBe(seen);
    expect((await readings(header + row("03-05", 15.48))).body.errors).toMatchObject([
      { pointer: "#/rows/0/value", detail: expect.stringMatching(/there already/) },
    ]);
  });

  it("are questioned as single ones are, in the order of time, unless a person stands by them", async () => {
    const doubtful = row("03-20", 15.6) + row("03-10", 15.47) + row("03-30", 0.609);
    const { status, body } = await readings(header + row("03-05", 15.48) + doubtful);
    expect(status).toBe(422);
    expect(body.errors).toMatchObject([
      {
        pointer: "#/rows/1/value",
        detail: expect.stringMatching(/more than the 15.47 mm read before.*confirmed/),
      },
      { pointer: "#/rows/3/value", detail: expect.stringMatching(/looks like inches/) },
    ]);
    expect(await rowsOf("readings")).toEqual([]);
    const [{ id }] = await rowsOf("pieces");
    await readings(header + row("03-10", 15.47));
    const single = await service.owner.post(`/v1/pieces/${id}/inspections`, {
      at: "2026-03-20T19:00:00Z",
      readings: [{ value: 15.6, unit: "mm" }],
    });
    expect(single.status).toBe(409);
    expect(body.errors[0].detail).toContain(single.body.errors[0].detail);
    const confirmed = await readings(header + row("03-20", 15.6, "mm,true"));
    expect(confirmed.status).toBe(200);
    expect((await rowsOf("readings")).map((reading) => reading.confirmed)).toEqual([0, 1]);
  });

  it.each([
    ["an unknown piece", row("03-05", 15).replace("spur 1", "spur 9"), "#/rows/0/mark", /is "spur 1" meant/],
    ["a mark without its driver", row("03-05", 15).replace(una, ""), "#/rows/0/driver", /with a mark/],
    ["a unit of another sort", row("03-05", 15, "kg,"), "#/rows/0/unit", /cannot be turned into mm/],
    ["a future reading", row("12-05", 15), "#/rows/0/at", /future/],
    ["a word for yes", row("03-05", 15, "mm,yes"), "#/rows/0/confirmed", /true or false/],
  ])("refused: %s", async (_, rows, pointer, detail) => {
    const { status, body } = await readings(header + rows);
    expect([status, body.errors?.[0].pointer]).toEqual([422, pointer]);
    expect(body.errors[0].detail).toMatch(detail);
    expect(await rowsOf("inspections")).toEqual([]);
  });

  it("an unknown instrument is refused by name, and a driver needs not say whose a mark is", async () => {
    const [{ id }] = await rowsOf("pieces");
    const given = { at: "2026-03-05T19:00:00Z", value: 15.48, unit: "mm" };
    const { body } = await readings([{ ...given, pieceId: id, instrument: "ruler" }]);
    expect(body.errors).toMatchObject([
      { pointer: "#/rows/0/instrument", detail: expect.stringMatching(/"calliper"/) },
    ]);
    const driver = await service.as("driver", garage.driver.id);
    expect((await readings([{ ...given, mark: "spur 1" }], "", driver)).body).toMatchObject({ rowsKept: 1 });
  });
});

describe("a count of stock from a table", () => {
  it("writes the differences, and nothing where the ledger agrees", async () => {
    const table =
      "location,driver,sku,pieces,at\nHome,Una Wickerley,T-SP-1,4,2026-11-01T09:00:00Z\nHome,Una Wickerley,T-LP-1,0,\n";
    expect((await stock(table)).body).toMatchObject({ rowsRead: 2, rowsKept: 1, rowsAlreadyThere: 1 });
    expect((await stock(table)).body).toMatchObject({ rowsKept: 0, rowsAlreadyThere: 2 });
    expect(await rowsOf("movements")).toMatchObject([
      { quantity: 4, reason: "counted", at: "2026-11-01T09:00:00.000Z", locationId: garage.home.id },
    ]);
    const less = table.replace("T-SP-1,4,2026-11-01", "T-SP-1,3,2026-11-02");
    expect((await stock(less, "?dryRun=true")).body).toMatchObject({ rowsKept: 1 });
    expect(await rowsOf("movements")).toHaveLength(1);
    await stock(less);
    expect((await rowsOf("movements")).map(({ quantity }) => quantity)).toEqual([4, -1]);
  });

  it("movements after the count stay, and a count below what was taken since is refused", async () => {
    const place = { locationId: garage.home.id, lineId: garage.line.id };
    await stock([{ ...place, pieces: 5, at: "2026-11-01T09:00:00Z" }]);
    await service.owner.must("POST", "/v1/movements", {
      ...place,
      reason: "written-off",
      pieces: 3,
      at: "2026-11-05T09:00:00Z",
    });
    const refused = await stock([{ ...place, pieces: 2, at: "2026-11-03T09:00:00Z" }]);
    expect(refused.body.errors).toMatchObject([
      { pointer: "#/rows/0/pieces", detail: expect.stringMatching(/3 taken since/) },
    ]);
    await stock([{ ...place, pieces: 4, at: "2026-11-03T09:00:00Z" }]);
    const { items } = await service.owner.must("GET", `/v1/stock-levels?lineId=${garage.line.id}`);
    expect(items).toMatchObject([{ pieces: 1 }]);
  });

  it.each([
    [
      "a line that is counted twice",
      "Home,T-SP-1,1\nHome,T-SP-1,2\n",
      "#/rows/1/pieces",
      /row 1 too: add them up/,
    ],
    ["an unknown location", "Hone,T-SP-1,1\n", "#/rows/0/location", /is "Home" meant/],
    ["part of a piece", "Home,T-SP-1,1.5\n", "#/rows/0/pieces", /whole number/],
    ["less than nothing", "Home,T-SP-1,-1\n", "#/rows/0/pieces", /from 0/],
  ])("refused: %s", async (_, rows, pointer, detail) => {
    const { status, body } = await stock(`location,sku,pieces\n${rows}`);
    expect([status, body.errors?.[0].pointer]).toEqual([422, pointer]);
    expect(body.errors[0].detail).toMatch(detail);
    expect(await rowsOf("movements")).toEqual([]);
  });
});

describe("who may import what", () => {
  it("a driver their own rows, a shop stock of its shelves", async () => {
    const other = await service.owner.must("POST", "/v1/drivers", { name: "Bo Tarn" });
    await service.owner.must("POST", "/v1/locations", { name: "Shelf", sort: "shelf" });
    const [una1, bo, shop] = [
      await service.as("driver", garage.driver.id),
      await service.as("driver", other.id),
      await service.as("shop"),
    ];
    const spur = [{ driver: una, sku: "T-SP-1", mark: "spur 1" }];
    expect((await pieces(spur, "", bo)).body.errors).toMatchObject([{ pointer: "#/rows/0/driver" }]);
    expect((await pieces(spur, "", shop)).status).toBe(403);
    expect((await pieces(spur, "", una1)).status).toBe(200);
    const onUnasCar = [
      {
        driver: "Bo Tarn",
        sku: "T-SP-1",
        mark: "b",
        car,
        position: "spur",
        fittedAt: "2026-03-01T09:00:00Z",
      },
    ];
    expect((await pieces(onUnasCar, "", bo)).body.errors).toMatchObject([{ pointer: "#/rows/0/car" }]);
    const read = [{ driver: una, mark: "spur 1", at: "2026-11-05T19:00:00Z", value: 15.48, unit: "mm" }];
    expect((await readings(read, "", bo)).body.errors).toMatchObject([{ pointer: "#/rows/0/mark" }]);
    expect((await readings(read, "", shop)).status).toBe(403);
    const count = (location: string) => [{ location, sku: "T-SP-1", pieces: 2 }];
    expect((await stock(count("Home"), "", shop)).body.errors).toMatchObject([
      { detail: expect.stringMatching(/out of reach/) },
    ]);
    expect((await stock(count("Home"), "", bo)).body.errors).toMatchObject([
      { detail: expect.stringMatching(/out of reach/) },
    ]);
    expect((await stock(count("Shelf"), "", una1)).status).toBe(422);
    expect((await stock(count("Shelf"), "", shop)).body).toMatchObject({ rowsKept: 1 });
    expect((await stock(count("Home"), "", una1)).body).toMatchObject({ rowsKept: 1 });
  });
});
