import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from "vitest";
import { surfaces } from "../../src/domain/kind.ts";
import { conditionWords } from "../../src/domain/piece.ts";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
const start = async () => {
  service = await startTestService("2026-11-29T20:00:00.000Z");
  garage = await startGarage(service);
};
const stop = async () => {
  expect(service.faults).toEqual([]);
  await service.close();
};

const types = { csv: "text/csv", json: "application/json", ndjson: "application/x-ndjson" };
type Caller = TestService["owner"];
const send = (body: string, type: keyof typeof types = "csv", query = "", by: Caller = service.owner) =>
  by.send("POST", `/v1/imports/runs${query}`, body, { "content-type": types[type] });
const keptRuns = async () => service.db.selectFrom("runs").selectAll().orderBy("at").execute();

/** The body in pieces as a socket might cut it, sent with the owner's key. */
async function sendPieces(
  pieces: readonly (Uint8Array | Error)[],
  type: string,
  headers: Record<string, string> = {},
) {
  let next = 0;
  const body = new ReadableStream<Uint8Array>({
    pull(controller) {
      const piece = pieces[next++];
      if (piece === undefined) controller.close();
      else if (piece instanceof Error) controller.error(piece);
      else controller.enqueue(piece);
    },
  });
  const key = await service.keyFor("owner");
  const init = {
    method: "POST",
    headers: { authorization: `Bearer ${key}`, "content-type": type, ...headers },
    body,
    duplex: "half",
  };
  const answer = await service.app.request("/v1/imports/runs", init as RequestInit);
  return { status: answer.status, body: (await answer.json()) as any };
}

const header = "car,at,minutes,surface,conditions,knocks,notes";
const row = (hour: number, rest = "5.5,asphalt,,0,") =>
  `Una Wickerley / First car,2026-11-02T${String(hour).padStart(2, "0")}:00:00Z,${rest}`;

describe("runs from a table", () => {
  beforeEach(start);
  afterEach(stop);

  it("a CSV file: CRLF, quotes, separators and line breaks inside cells, a byte order mark, times in UTC", async () => {
    const table = [
      `\uFEFF${header}`,
      'Una Wickerley / First car,2026-11-02T10:00:00+11:00,5.5,asphalt,"dusty hot",1,"lap 3, ""kerb"",\r\nthen home"',
      row(1),
      "",
      "",
    ].join("\r\n");
    const { status, body } = await send(table);
    expect([status, body]).toEqual([200, { dryRun: false, rowsRead: 2, rowsKept: 2, rowsAlreadyThere: 0 }]);
    const [first, second] = await keptRuns();
    expect(first).toMatchObject({
      carId: garage.car.id,
      at: "2026-11-01T23:00:00.000Z",
      minutes: 5.5,
      conditions: '["dusty","hot"]',
      knocks: 1,
      notes: 'lap 3, "kerb",\r\nthen home',
      version: 1,
    });
    expect(second).toMatchObject({ conditions: null, knocks: 0, notes: null, packId: null });
  });

  it("a stated separator and decimal sign", async () => {
    const table = "car;at;minutes;surface\nUna Wickerley / First car;2026-11-02T10:00:00Z;5,25;carpet\n";
    expect((await send(table, "csv", "?separator=;&decimal=,")).body).toMatchObject({ rowsKept: 1 });
    const tabs = table.replaceAll(";", "\t").replace("T10", "T11").replace("5,25", "5.5");
    expect((await send(tabs, "csv", "?separator=tab")).body).toMatchObject({ rowsKept: 1 });
    expect((await send(tabs.replace("T11", "T12"), "csv", "?separator=%09")).body).toMatchObject({
      rowsKept: 1,
    });
    expect((await keptRuns()).map((run) => run.minutes)).toEqual([5.25, 5.5, 5.5]);
  });

  it("a JSON array and JSON lines", async () => {
    const runs = [10, 11].map((hour) => ({
      carId: garage.car.id,
      at: `2026-11-02T${hour}:00:00Z`,
      minutes: 5,
      surface: "clay",
      conditions: ["wet"],
      notes: null,
    }));
    expect((await send(JSON.stringify(runs, null, 1), "json")).body).toMatchObject({
      rowsRead: 2,
      rowsKept: 2,
    });
    const lines = runs
      .map((run) => JSON.stringify({ ...run, at: run.at.replace("-02T", "-03T") }))
      .join("\n");
    expect((await send(`${lines}\r\n\n`, "ndjson")).body).toMatchObject({ rowsRead: 2, rowsKept: 2 });
    expect((await keptRuns()).map((run) => run.conditions)).toEqual(Array(4).fill('["wet"]'));
  });

  it("what it refers to may be named: the pack by its mark, the meeting by day and name, whose surface is taken", async () => {
    const { must } = service.owner;
    const pack = await must("POST", "/v1/pieces", {
      driverId: garage.driver.id,
      lineId: garage.packLine.id,
      mark: "pack A",
    });
    const meeting = await must("POST", "/v1/meetings", {
      name: "Round 1",
      startsOn: "2026-11-02",
      surface: "carpet",
      plannedRuns: 6,
      minutesPerRun: 5,
    });
    const table = `car,at,minutes,pack,meeting\nUna Wickerley / First car,2026-11-02T10:00:00Z,5,pack A,2026-11-02 / Round 1\n`;
    expect((await send(table)).status).toBe(200);
    expect(await keptRuns()).toMatchObject([{ packId: pack.id, meetingId: meeting.id, surface: "carpet" }]);
  });

  it("a repeat is harmless, and other content at the same time is an error that keeps nothing", async () => {
    const table = `${header}\n${row(9)}\n${row(10)}\n`;
    await send(table);
    expect((await send(`${table}${row(11)}\n`)).body).toMatchObject({
      rowsRead: 3,
      rowsKept: 1,
      rowsAlreadyThere: 2,
    });
    expect((await send(table)).body).toMatchObject({ rowsKept: 0, rowsAlreadyThere: 2 });
    const { status, body } = await send(`${header}\n${row(12)}\n${row(10, "6,asphalt,,0,")}\n`);
    expect(status).toBe(422);
    expect(body).toMatchObject({
      type: "/problems/import_refused",
      errors: [{ pointer: "#/rows/1/minutes" }],
    });
    expect(body.errors[0].detail).toMatch(/there already with 5.5/);
    expect(await keptRuns()).toHaveLength(3);
  });

  it("a run of 0 minutes is an error at its minutes, unless it says a knock", async () => {
    const { status, body } = await send(
      `${header}\n${row(9, "0,asphalt,,1,")}\n${row(10, "0,asphalt,,0,")}\n`,
    );
    expect([status, body.type]).toEqual([422, "/problems/import_refused"]);
    expect(body.errors).toEqual([
      {
        pointer: "#/rows/1/minutes",
        detail: expect.stringMatching(/minutes: must be more than 0 where no kn/),
      },
    ]);
    expect((await send(`${header}\n${row(9, "0,asphalt,,1,")}\n`)).status).toBe(200);
    expect(await keptRuns()).toMatchObject([{ minutes: 0, knocks: 1 }]);
  });

  it("the same run twice in one file is kept once if it says the same, and refused otherwise", async () => {
    expect((await send(`${header}\n${row(9)}\n${row(9)}\n`)).body).toMatchObject({
      rowsKept: 1,
      rowsAlreadyThere: 1,
    });
    const other = await send(`${header}\n${row(10)}\n${row(10, "5.5,carpet,,0,")}\n`);
    expect(other.body.errors).toMatchObject([{ pointer: "#/rows/1/surface" }]);
    expect(await keptRuns()).toHaveLength(1);
  });

  it("a dry run says the same and keeps nothing", async () => {
    const table = `${header}\n${row(9)}\n${row(10)}\n`;
    const { body } = await send(table, "csv", "?dryRun=true");
    expect(body).toEqual({ dryRun: true, rowsRead: 2, rowsKept: 2, rowsAlreadyThere: 0 });
    expect(await keptRuns()).toEqual([]);
    await send(table);
    expect((await send(table, "csv", "?dryRun=true")).body).toMatchObject({
      rowsKept: 0,
      rowsAlreadyThere: 2,
    });
  });

  it("bytes of Latin-1 are refused, and UTF-8 may be cut anywhere", async () => {
    const table = `${header}\n${row(9, "5,asphalt,,0,größe")}\n`;
    const wrong = await sendPieces([Buffer.from(table, "latin1")], "text/csv");
    expect(wrong.status).toBe(422);
    expect(wrong.body.detail).toMatch(/not UTF-8/);
    const bytes = Buffer.from(table);
    const right = await sendPieces(
      [...bytes].map((byte) => Uint8Array.of(byte)),
      "text/csv",
    );
    expect(right.body).toMatchObject({ rowsKept: 1 });
    expect((await keptRuns())[0]!.notes).toBe("größe");
  });

  it("another media type, another charset, a coding, and options that do not belong are refused by name", async () => {
    const table = `${header}\n${row(9)}\n`;
    const as = (type: string, headers = {}) => sendPieces([Buffer.from(table)], type, headers);
    expect((await as("application/xml")).body).toMatchObject({
      status: 415,
      type: "/problems/unsupported_media_type",
    });
    expect((await as("text/csv; charset=ISO-8859-1")).status).toBe(415);
    expect((await as('text/csv; charset="UTF-8"')).status).toBe(200);
    expect((await as("text/csv", { "content-encoding": "gzip" })).status).toBe(415);
    expect((await send("[]", "json", "?separator=;")).status).toBe(422);
    expect((await send(table, "csv", "?separator=.")).status).toBe(422);
    expect((await send(table, "csv", "?dryrun=true")).status).toBe(422);
  });

  it("20,000 rows in a few seconds, and nothing of them when the last is wrong", async () => {
    const at = (i: number) => new Date(Date.parse("2026-01-01T00:00:00Z") + i * 600_000).toISOString();
    const rows = Array.from(
      { length: 20_000 },
      (_, i) => `Una Wickerley / First car,${at(i)},5.5,asphalt,,0,"lap ${i}"`,
    );
    const faulty = await send([header, ...rows.slice(0, -1), row(9, "700,asphalt,,0,")].join("\n"));
    expect(faulty.body.errors).toMatchObject([{ pointer: "#/rows/19999/minutes" }]);
    expect(await keptRuns()).toEqual([]);
    const conflict = await send(
      [header, ...rows, `Una Wickerley / First car,${at(3)},5,asphalt,,0,`].join("\n"),
    );
    expect(conflict.body.errors).toMatchObject([{ pointer: "#/rows/20000/minutes" }]);
    expect(await keptRuns()).toEqual([]);
    const started = performance.now();
    expect((await send([header, ...rows].join("\n"))).body).toMatchObject({ rowsKept: 20_000 });
    expect(performance.now() - started).toBeLessThan(8000);
    expect(await keptRuns()).toHaveLength(20_000);
  });

  it("a run that an inspection came after makes the fit of its line out of date, a later one does not", async () => {
    const { must } = service.owner;
    const spur = await must("POST", "/v1/pieces", {
      driverId: garage.driver.id,
      lineId: garage.line.id,
      mark: "spur 1",
      asNew: 15.485,
    });
    await must("POST", `/v1/cars/${garage.car.id}/fittings`, {
      position: "spur",
      at: "2026-11-01T08:00:00Z",
      piece: { pieceId: spur.id },
    });
    const evidence = async () =>
      (
        await service.db
          .selectFrom("lines")
          .select("evidence")
          .where("id", "=", garage.line.id)
          .executeTakeFirstOrThrow()
      ).evidence;
    await send(`${header}\n${row(9)}\n`);
    await must("POST", `/v1/pieces/${spur.id}/inspections`, {
      at: "2026-11-10T19:00:00Z",
      readings: [{ value: 15.47, unit: "mm" }],
    });
    const before = await must("GET", `/v1/pieces/${spur.id}/forecast`);
    const seen = await evidence();
    const many = Array.from(
      { length: 60 },
      (_, i) =>
        `Una Wickerley / First car,${new Date(Date.parse("2026-11-03T09:00:00Z") + i * 3.6e6).toISOString()},5.5,asphalt,,0,`,
    );
    await send([header, ...many].join("\n"));
    expect(await evidence()).toBe(seen + 1);
    const after = await must("GET", `/v1/pieces/${spur.id}/forecast`);
    expect(after.usage).toBe(before.usage + 330);
    const life = (forecast: any) => forecast.usage + forecast.remaining.usage.median;
    expect(life(after)).toBeGreaterThan(life(before));
    await send([header, ...many].join("\n"));
    await send(`${header}\n${row(9).replace("11-02", "11-20")}\n`);
    expect(await evidence()).toBe(seen + 1);
    await send(`${header}\n${row(9).replace("11-02", "10-20")}\n`);
    expect(await evidence()).toBe(seen + 1);
  });
});

describe("what is wrong with a table of runs", () => {
  // Nothing is ever kept, so that one service serves them all.
  beforeAll(start);
  afterAll(stop);

  it.each([
    [
      "an unknown column, with the nearest name",
      "car,at,minuts,surface\n",
      "#/header/minuts",
      /is "minutes" meant/,
    ],
    ["a column twice", `${header},at\n`, "#/header/at", /twice/],
    ["a needed column that is not there", "car,at,surface\n", "#/header", /needs the column minutes/],
    ["another separator", "car;at;minutes\n", "#/header/car;at;minutes", /state it as \?separator=%3B/],
    ["a row with too few cells", `${header}\nUna\n`, "#/rows/0", /1 cells.*7 columns/],
    [
      "an empty cell that is needed",
      `${header}\n${row(9, ",asphalt,,0,")}\n`,
      "#/rows/0/minutes",
      /must be given/,
    ],
    [
      "a number that is none",
      `${header}\n${row(9, "0x10,asphalt,,0,")}\n`,
      "#/rows/0/minutes",
      /from 0 to 600/,
    ],
    ["a decimal comma", `${header}\n${row(9, '"5,5",asphalt,,0,')}\n`, "#/rows/0/minutes", /\?decimal=,/],
    ["a part of a knock", `${header}\n${row(9, "5,asphalt,,0.5,")}\n`, "#/rows/0/knocks", /whole number/],
    ["an unknown surface", `${header}\n${row(9, "5,moon,,0,")}\n`, "#/rows/0/surface", /one of asphalt/],
    [
      "an unknown condition",
      `${header}\n${row(9, "5,asphalt,dusty moony,0,")}\n`,
      "#/rows/0/conditions",
      /moony/,
    ],
    ["neither surface nor meeting", `${header}\n${row(9, "5,,,0,")}\n`, "#/rows/0/surface", /no meeting/],
    ["a time without offset", `${header}\n${row(9).replace("00Z", "00")}\n`, "#/rows/0/at", /with an offset/],
    [
      "a day that is none",
      `${header}\n${row(9).replace("11-02", "02-30")}\n`,
      "#/rows/0/at",
      /with an offset/,
    ],
    ["a future run", `${header}\n${row(9).replace("2026", "2027")}\n`, "#/rows/0/at", /future/],
    [
      "an unknown car",
      `${header}\n${row(9).replace("First", "Frist")}\n`,
      "#/rows/0/car",
      /is "Una Wickerley \/ First car" meant/,
    ],
    [
      "notes that are too long",
      `${header}\n${row(9, `5,asphalt,,0,${"x".repeat(2001)}`)}\n`,
      "#/rows/0/notes",
      /at most 2000/,
    ],
    [
      "a quote that never closes",
      `${header}\n${row(9, '5,asphalt,,0,"never')}\n${row(10)}\n`,
      "#/rows/0",
      /closing quote missing/,
    ],
    [
      "a quote inside a bare cell",
      `${header}\n${row(9, '5,asphalt,,0,a "b" c')}\n`,
      "#/rows/0",
      /double the quote/,
    ],
  ])("%s", async (_, table, pointer, detail) => {
    const { status, body } = await send(table);
    expect(status).toBe(422);
    expect(body.type).toBe("/problems/import_refused");
    expect(body.errors[0]).toMatchObject({ pointer, detail: expect.stringMatching(detail) });
    expect(await keptRuns()).toEqual([]);
  });

  it.each([
    ["a text for a number", [{ minutes: "5" }], "#/rows/0/minutes", /must be a number/],
    ["an unknown member", [{ minuts: 5 }], "#/rows/0/minuts", /is "minutes" meant/],
    ["a row that is no object", [null], "#/rows/0", /must be an object/],
    ["words that are no list", [{ conditions: "dusty" }], "#/rows/0/conditions", /must be a list/],
    ["a pack of another kind", [{ pack: "spur 9" }], "#/rows/0/pack", /there is no pack "spur 9"/],
    ["an unknown id", [{ car: undefined, carId: "none" }], "#/rows/0/carId", /no car with id none/],
  ])("in JSON: %s", async (_, rows, pointer, detail) => {
    const spur = { driverId: garage.driver.id, lineId: garage.line.id, mark: "spur 9" };
    expect([201, 409]).toContain((await service.owner.post("/v1/pieces", spur)).status);
    const sound = {
      car: "Una Wickerley / First car",
      at: "2026-11-02T10:00:00Z",
      minutes: 5,
      surface: "clay",
    };
    const table = rows.map((changes) => (changes === null ? null : { ...sound, ...changes }));
    for (const [type, text] of [
      ["json", JSON.stringify(table)],
      ["ndjson", table.map((one) => JSON.stringify(one)).join("\n")],
    ] as const) {
      const { status, body } = await send(text, type);
      expect([status, body.errors[0].pointer]).toEqual([422, pointer]);
      expect(body.errors[0].detail).toMatch(detail);
    }
    expect(await keptRuns()).toEqual([]);
  });

  it("at most 100 errors are listed, and all are counted", async () => {
    const rows = Array.from({ length: 250 }, (_, i) => row(i % 24, "700,moon,,0,"));
    const { body } = await send([header, ...rows].join("\n"));
    expect(body.errors).toHaveLength(100);
    expect(body.detail).toMatch(/500 errors in all, of which the first 100 are listed/);
  });

  it.each([
    [
      "JSON that ends inside a row",
      "json",
      '[{"car":"Una Wickerley / First car"',
      /ends inside the array.*cut off/,
    ],
    ["JSON with a letter too many", "json", '[{"car":1} x]', /after 0 rows it is not/],
    ["JSON that is no array", "json", '{"runs":[]}', /must be a JSON array/],
    ["two JSON arrays", "json", "[] []", /something follows/],
    ["JSON of nothing", "json", "  ", /ends inside the array/],
    ["a CSV file of nothing", "csv", "", /is empty/],
    ["brackets without end", "json", `[${"[".repeat(3_000_000)}`, /longer than a row can be/],
    ["a line without end", "ndjson", `{"notes":"${"x".repeat(1_200_000)}"}`, /longer than a row can be/],
  ] as const)("a body that cannot be read on: %s", async (_, type, text, detail) => {
    const { status, body } = await send(text, type);
    expect(status).toBe(422);
    expect(body.detail).toMatch(detail);
    expect(await keptRuns()).toEqual([]);
  });

  it("a body that breaks off keeps nothing, whether the line fails or the announced length is not reached", async () => {
    const bytes = Buffer.from(`${header}\n${row(9)}\n`);
    const broken = await sendPieces([bytes, new Error("socket hang up")], "text/csv");
    expect([broken.status, broken.body.detail]).toEqual([422, expect.stringMatching(/broke off/)]);
    const short = await sendPieces([bytes], "text/csv", { "content-length": String(bytes.length + 40) });
    expect([short.status, short.body.detail]).toEqual([422, expect.stringMatching(/announced/)]);
    expect(await keptRuns()).toEqual([]);
  });

  it("more than 64 MiB is too large, announced or not", async () => {
    const announced = await sendPieces([], "text/csv", { "content-length": String(65 * 2 ** 20) });
    expect(announced.body).toMatchObject({ status: 413, type: "/problems/too_large" });
    const line = Buffer.from("\n".repeat(2 ** 20));
    const sent = await sendPieces(
      [Buffer.from(`${header}\n`), ...Array<Uint8Array>(64).fill(line)],
      "text/csv",
    );
    expect(sent.status).toBe(413);
  });

  it("more than 500,000 rows are too many", async () => {
    const line = Buffer.from("{}\n".repeat(50_000));
    const { status, body } = await sendPieces(Array<Uint8Array>(11).fill(line), "application/x-ndjson");
    expect([status, body.detail]).toEqual([413, expect.stringMatching(/at most 500000 rows/)]);
  });
});

describe("who may import runs", () => {
  beforeEach(start);
  afterEach(stop);

  it("a driver their own only; a shop and a reader not at all", async () => {
    const other = await service.owner.must("POST", "/v1/drivers", { name: "Bo Tarn" });
    const table = `${header}\n${row(9)}\n`;
    const driver = await service.as("driver", garage.driver.id);
    const stranger = await service.as("driver", other.id);
    const refused = await send(table, "csv", "", stranger);
    expect(refused.status).toBe(422);
    expect(refused.body.errors).toMatchObject([
      { pointer: "#/rows/0/car", detail: expect.stringMatching(/own rows only/) },
    ]);
    expect((await send(table, "csv", "", await service.as("shop"))).status).toBe(403);
    expect((await send(table, "csv", "", await service.as("reader"))).status).toBe(403);
    expect((await send(table, "csv", "", service.anyone)).status).toBe(401);
    expect(await keptRuns()).toEqual([]);
    expect((await send(table, "csv", "", driver)).status).toBe(200);
  });
});

describe("the rules of an import are those of the single call", () => {
  beforeAll(start);
  afterAll(stop);

  const cases: Record<string, unknown[]> = {
    minutes: [0, 600, 600.01, -0.01, "5", null, 1e300],
    knocks: [0, 100, 101, -1, 0.5, "1"],
    surface: [...surfaces, "moon", 1, ""],
    conditions: [[], ["dusty"], [...conditionWords], ["dusty", "sunny"], "dusty", [1]],
    notes: ["x", "x".repeat(2000), "x".repeat(2001), "", " ", "a\0b", 5],
    packId: ["none", 5],
    meetingId: ["none"],
    at: [
      ...["2026-02-29T10:00:00Z", "2024-02-29T10:00:00Z", "2026-11-02T10:01Z", "2026-11-02T10:02:03.456789Z"],
      ...[
        "2026-11-02T10:03:00+11:00",
        "2026-11-02T10:04:00-0300",
        "2026-11-02 10:05:00Z",
        "2026-11-02T10:06:00",
      ],
      ...["2026-11-02T24:00:00Z", "2026-11-02T10:60:00Z", "2026-11-02T10:07:00z", "2026-13-02T10:00:00Z"],
      ...["2026-11-30T19:59:59Z", "2026-11-30T20:00:01Z", "02.11.2026", 20261102],
    ],
  };
  const pairs = Object.entries(cases).flatMap(([member, values]) =>
    values.map((value) => [member, value] as const),
  );

  it("for each edge of each member, both take it or both refuse it", async () => {
    const differing: unknown[] = [];
    for (const [i, [member, value]] of pairs.entries()) {
      const at = new Date(Date.parse("2026-03-01T00:00:00Z") + i * 60_000).toISOString();
      const run = { carId: garage.car.id, at, minutes: 5, surface: "clay", [member]: value };
      const bulk = await service.owner.post("/v1/imports/runs?dryRun=true", [run]);
      const single = await service.owner.post("/v1/runs", run);
      if (bulk.status >= 300 !== single.status >= 300)
        differing.push([member, value, bulk.status, single.status]);
    }
    expect(differing).toEqual([]);
  });
});
