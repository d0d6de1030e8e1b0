import { afterEach, beforeEach, describe, expect, test } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

interface Entry {
  position: number;
  type: string;
  subject: { kind: string; id: string };
  data: any;
}

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
let from: number;
beforeEach(async () => {
  service = await startTestService();
  garage = await startGarage(service);
  from = await head();
});
afterEach(async () => {
  expect(service.faults).toEqual([]);
  await service.close();
});

const page = async (after: number, limit: number, as = service.owner) =>
  (await as.get(`/v1/changes?after=${after}&limit=${limit}`)).body as {
    items: Entry[];
    next: number;
    more: boolean;
  };
const head = async () => (await page(0, 500)).next;
const told = async (as = service.owner) => (await page(from, 500, as)).items;
const must = (method: string, path: string, body?: unknown) => service.owner.must(method, path, body);
const kept = async (what: string, rows: object[]) => {
  const answer = await service.owner.send("POST", `/v1/imports/${what}`, rows);
  expect([answer.status, answer.body.rowsKept]).toEqual([200, rows.length]);
};
const una = "Una Wickerley";
const car = `${una} / First car`;
const levels = (...pieces: [number, number]) =>
  ["T-SP-1", "T-LP-1"].map((sku, i) => ({ location: "Home", driver: una, sku, pieces: pieces[i] }));

describe("an import tells in the feed of changes", () => {
  test("each stock level that it changed and each piece that it added, in order, then that it has finished", async () => {
    await kept("stock", levels(4, 2));
    await kept("pieces", [{ driver: una, sku: "T-SP-1", mark: "spur 1" }]);
    const entries = await told();
    const home = { locationId: garage.home.id, locationName: "Home" };
    expect(entries.map(({ type, subject, data }) => [type, subject.id, data])).toEqual([
      [
        "stock-level.changed",
        garage.line.id,
        { ...home, pieces: 4, quantity: 4, movementId: expect.any(String) },
      ],
      [
        "stock-level.changed",
        garage.packLine.id,
        { ...home, pieces: 2, quantity: 2, movementId: expect.any(String) },
      ],
      ["import.finished", expect.any(String), { table: "stock", rowsKept: 2 }],
      ["piece.added", expect.any(String), { mark: "spur 1", lineId: garage.line.id }],
      ["import.finished", expect.any(String), { table: "pieces", rowsKept: 1 }],
    ]);
    expect(entries.map(({ position }) => position)).toEqual([1, 2, 3, 4, 5].map((i) => from + i));
    expect((await must("GET", `/v1/pieces/${entries[3]!.subject.id}`)).mark).toBe("spur 1");
  });

  test("so that a reader who stops in the middle goes on from there", async () => {
    await kept("stock", levels(4, 2));
    const whole = await told();
    const got: Entry[] = [];
    for (let after = from, more = true; more; ) {
      const { items, ...rest } = await page(after, 1);
      got.push(...items);
      ({ next: after, more } = rest);
    }
    expect(got).toEqual(whole);
    expect(got).toHaveLength(3);
  });

  test("what lies there after a count that corrects an earlier one, and nothing of a count that agrees", async () => {
    await kept("stock", levels(4, 2));
    from = await head();
    const { body } = await service.owner.send("POST", "/v1/imports/stock", levels(1, 2));
    expect(body).toMatchObject({ rowsKept: 1, rowsAlreadyThere: 1 });
    expect((await told()).map(({ type, data }) => [type, data.pieces, data.quantity])).toEqual([
      ["stock-level.changed", 1, -3],
      ["import.finished", undefined, undefined],
    ]);
  });

  test("the same as the single calls, of pieces with fittings and ends, of inspections, runs and levels", async () => {
    const at = (day: string) => `2026-11-${day}T09:00:00.000Z`;
    const { id } = garage.car;
    // By single calls …
    const spur = { lineId: garage.line.id, mark: "spur 1" };
    const piece = await must("POST", "/v1/pieces", { driverId: garage.driver.id, ...spur });
    const fit = { position: "spur", at: at("01"), piece: { pieceId: piece.id } };
    await must("POST", `/v1/cars/${id}/fittings`, fit);
    await must("PUT", `/v1/pieces/${piece.id}/retirement`, { at: at("20"), retiredFor: "worn" });
    const readings = [{ value: 15.47, unit: "mm" }];
    await must("POST", `/v1/pieces/${piece.id}/inspections`, { at: at("05"), readings });
    const run = { at: at("02"), minutes: 5, surface: "asphalt" };
    await must("POST", "/v1/runs", { ...run, carId: id });
    const counts = [{ lineId: garage.line.id, pieces: 3 }];
    await must("POST", "/v1/stocktakes", { locationId: garage.home.id, at: at("21"), counts });
    const single = await told();
    // … and by imports, of another piece and another time.
    from = await head();
    const place = { car, position: "second spur", fittedAt: at("01") };
    const spur2 = { driver: una, sku: "T-SP-1", mark: "spur 2", retiredAt: at("20"), retiredFor: "worn" };
    await kept("pieces", [{ ...spur2, ...place }]);
    await kept("readings", [{ driver: una, mark: "spur 2", at: at("05"), ...readings[0] }]);
    await kept("runs", [{ ...run, car, at: at("03") }]);
    await kept("stock", [{ location: "Home", driver: una, sku: "T-SP-1", pieces: 6, at: at("22") }]);
    const imported = (await told()).filter(({ type }) => type !== "import.finished");
    const plain = (entries: Entry[]) =>
      entries.map(({ type, subject, data }) => [
        type,
        subject.kind,
        JSON.stringify(data, (name, value) =>
          /^(?:fittingId|positionId|inspectionId|movementId|mark|position|pieces|from|through)$/.test(name)
            ? typeof value
            : value,
        ),
      ]);
    expect(plain(imported)).toEqual(plain(single));
    expect(imported.map(({ type }) => type)).toEqual([
      "piece.added",
      "piece.fitted",
      "piece.removed",
      "piece.retired",
      "piece.inspected",
      "car.runs-logged",
      "stock-level.changed",
    ]);
    expect(imported[1]!.data).toMatchObject({ mark: "spur 2", position: "second spur" });
  });

  test("the fittings of one piece in the order of time, whatever the order of their rows", async () => {
    const span = (position: string, month: number) => ({
      ...{ driver: una, sku: "T-SP-1", mark: "spur 1", car, position },
      ...{ fittedAt: `2026-0${month}-01T09:00:00Z`, removedAt: `2026-0${month + 1}-01T09:00:00Z` },
    });
    await kept("pieces", [span("second spur", 5), span("spur", 3)]);
    expect((await told()).map(({ type, data }) => [type, data.position ?? data.at?.slice(0, 7)])).toEqual([
      ["piece.added", undefined],
      ["piece.fitted", "spur"],
      ["piece.removed", "2026-04"],
      ["piece.fitted", "second spur"],
      ["piece.removed", "2026-06"],
      ["import.finished", undefined],
    ]);
  });

  test("nothing where it was refused, only tried, or found everything there already", async () => {
    const wrong = [...levels(4, 2), { location: "Home", driver: una, sku: "unknown", pieces: 1 }];
    expect((await service.owner.send("POST", "/v1/imports/stock", wrong)).status).toBe(422);
    // Refused only when its rows were compared with the books.
    const twice = [...levels(4, 2), levels(4, 2)[0]!];
    expect((await service.owner.send("POST", "/v1/imports/stock", twice)).status).toBe(422);
    expect((await service.owner.send("POST", "/v1/imports/stock?dryRun=true", levels(4, 2))).status).toBe(
      200,
    );
    expect(await told()).toEqual([]);
    expect(await head()).toBe(from);
    await kept("stock", levels(4, 2));
    from = await head();
    expect((await service.owner.send("POST", "/v1/imports/stock", levels(4, 2))).status).toBe(200);
    expect(await told()).toEqual([]);
  });

  test("a driver and the shop what they would see of single calls, and no more", async () => {
    const other = await must("POST", "/v1/drivers", { name: "Mara Tindle" });
    await must("POST", "/v1/locations", { name: "Shelf", sort: "shelf" });
    from = await head();
    await kept("pieces", [
      { driver: una, sku: "T-SP-1", mark: "spur 1" },
      { driver: "Mara Tindle", sku: "T-SP-1", mark: "spur 1" },
    ]);
    await kept("stock", [...levels(4, 2), { location: "Shelf", sku: "T-SP-1", pieces: 9 }]);
    const seen = async (as: TestService["owner"]) => (await told(as)).map(({ position }) => position - from);
    expect(await seen(await service.as("reader"))).toEqual([1, 2, 3, 4, 5, 6, 7]);
    expect(await seen(await service.as("driver", garage.driver.id))).toEqual([1, 4, 5, 6]);
    expect(await seen(await service.as("driver", other.id))).toEqual([2, 6]);
    expect(await seen(await service.as("shop"))).toEqual([6]);
  });

  test("more rows than a statement inserts, at positions without a gap", async () => {
    const rows = Array.from({ length: 1203 }, (_, i) => ({ driver: una, sku: "T-SP-1", mark: `spur ${i}` }));
    await kept("pieces", rows);
    const entries = [await page(from, 500), await page(from + 500, 500), await page(from + 1000, 500)];
    const all = entries.flatMap(({ items }) => items);
    expect(all.map(({ position }) => position)).toEqual(Array.from({ length: 1204 }, (_, i) => from + 1 + i));
    expect(all.slice(0, -1).map(({ data }) => data.mark)).toEqual(rows.map(({ mark }) => mark));
    expect(all.at(-1)!.type).toBe("import.finished");
  });
});
