import fc from "fast-check";
import { afterEach, beforeEach, describe, expect, test } from "vitest";
import { startGarage } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

interface Entry {
  position: number;
  type: string;
  subject: { kind: string; id: string };
  by: string | null;
  data: any;
}

let service: TestService;
let garage: Awaited<ReturnType<typeof startGarage>>;
const start = async (watching = false) => {
  service = await startTestService(undefined, {}, watching);
  garage = await startGarage(service);
};
afterEach(() => service.close());

const feed = async (as = service.owner, query = ""): Promise<Entry[]> =>
  (await as.get(`/v1/changes?limit=500${query}`)).body.items;
const head = async () => (await service.owner.get("/v1/changes?limit=500")).body.next as number;
const must = (method: string, path: string, body?: unknown) => service.owner.must(method, path, body);
const fitSpur = (mark: string, at: string, position = "spur") =>
  must("POST", `/v1/cars/${garage.car.id}/fittings`, {
    position,
    at,
    piece: { lineId: garage.line.id, mark, from: "none" },
  });

describe("the feed of changes", () => {
  beforeEach(() => start());

  test("tells what happens to pieces, cars, lines, stock and orders, in order, with who did it", async () => {
    const { car, line, home, supplier } = garage;
    const from = await head();
    const fitting = await fitSpur("spur 1", "2026-11-01T09:00:00Z");
    const { pieceId } = fitting;
    const run = { carId: car.id, at: "2026-11-08T10:00:00Z", minutes: 5, surface: "asphalt" };
    const { id: runId } = await must("POST", "/v1/runs", run);
    await must("PATCH", `/v1/runs/${runId}`, { minutes: 6 });
    const look = { at: "2026-11-08T20:00:00Z", readings: [{ value: 15.47, unit: "mm" }] };
    await must("POST", `/v1/pieces/${pieceId}/inspections`, look);
    await must("PATCH", `/v1/lines/${line.id}`, { priceMinorUnits: 950 });
    const lines = [{ lineId: line.id, packs: 2 }];
    const at = "2026-11-20T10:00:00Z";
    const order = { supplierId: supplier.id, locationId: home.id, placedAt: at, lines };
    const { id: orderId } = await must("POST", "/v1/orders", order);
    const receipt = { at, lines: [{ lineId: line.id, pieces: 2 }] };
    await must("POST", `/v1/orders/${orderId}/receipts`, receipt);
    await must("DELETE", `/v1/runs/${runId}`);
    await must("PUT", `/v1/pieces/${pieceId}/retirement`, { at, retiredFor: "broken" });
    const entries = await feed(service.owner, `&after=${from}`);
    expect(entries.map(({ type }) => type)).toEqual([
      "piece.added",
      "piece.fitted",
      "car.runs-logged",
      "car.run-changed",
      "piece.inspected",
      "line.changed",
      "order.placed",
      "stock-level.changed",
      "order.received",
      "car.run-deleted",
      "piece.removed",
      "piece.retired",
    ]);
    expect(entries.map(({ position }) => position)).toEqual(entries.map((_, i) => from + 1 + i));
    expect(new Set(entries.map(({ by }) => by))).toEqual(new Set(["owner"]));
    expect(entries[1]).toMatchObject({
      subject: { kind: "piece", id: pieceId },
      data: { mark: "spur 1", carId: car.id, position: "spur", fittingId: fitting.id },
    });
    expect(entries[5]!.data).toMatchObject({ sku: "T-SP-1", changed: ["priceMinorUnits"] });
    expect(entries[7]!.data).toMatchObject({ locationId: home.id, pieces: 2, quantity: 2 });
    expect(entries[8]!.data).toMatchObject({ open: false, lines: [{ pieces: 2, receivedPieces: 2 }] });
  });

  test("holds nothing of what was refused or taken back, and its positions have no gap", async () => {
    const at = "2026-11-20T10:00:00Z";
    const meeting = await must("POST", "/v1/meetings", {
      name: "R1",
      startsOn: "2026-11-20",
      surface: "clay",
    });
    const from = await head();
    const short = { reason: "sold", lineId: garage.line.id, locationId: garage.home.id, pieces: 1, at };
    expect((await service.owner.post("/v1/movements", short)).status).toBe(409);
    // The first run of the two is sound: it goes with the second.
    const runs = [{ carId: garage.car.id, at, minutes: 5, surface: "asphalt" }];
    const both = { runs: [...runs, { ...runs[0], carId: "unknown" }] };
    expect((await service.owner.post(`/v1/meetings/${meeting.id}/runs`, both)).status).toBe(404);
    expect(await head()).toBe(from);
    await must("POST", `/v1/meetings/${meeting.id}/runs`, { runs });
    expect((await feed(service.owner, `&after=${from}`)).map(({ position }) => position)).toEqual([from + 1]);
  });

  test("tells the runs of a whole meeting, or of an import, in one entry for each car", async () => {
    const meeting = await must("POST", "/v1/meetings", {
      name: "R1",
      startsOn: "2026-11-20",
      surface: "clay",
    });
    const from = await head();
    const runs = [1, 2, 3].map((i) => ({ carId: garage.car.id, at: `2026-11-20T1${i}:00:00Z`, minutes: 5 }));
    await must("POST", `/v1/meetings/${meeting.id}/runs`, { runs });
    const rows = [4, 5].map((i) => ({ carId: garage.car.id, at: `2026-11-20T1${i}:00:00Z`, minutes: 5 }));
    const table = rows.map((row) => ({ ...row, surface: "clay" }));
    expect((await service.owner.post("/v1/imports/runs", table)).status).toBe(200);
    const [logged, imported, finished, ...rest] = await feed(service.owner, `&after=${from}`);
    expect(logged!.data).toMatchObject({ runs: 3, from: runs[0]!.at.replace("Z", ".000Z") });
    expect(imported).toMatchObject({ type: "car.runs-logged", data: { runs: 2 } });
    expect(finished).toMatchObject({ type: "import.finished", data: { table: "runs", rowsKept: 2 } });
    expect(rest).toEqual([]);
  });

  test("narrows to types, and then goes on behind all that it passed over", async () => {
    const from = await head();
    await fitSpur("spur 1", "2026-11-01T09:00:00Z");
    const { body } = await service.owner.get(`/v1/changes?after=${from}&types=order.placed,line.added`);
    expect(body).toEqual({ items: [], next: from + 2, more: false });
    const fitted = await service.owner.get(`/v1/changes?after=${from}&types=piece.fitted`);
    expect(fitted.body.items).toHaveLength(1);
    expect((await service.owner.get("/v1/changes?types=piece.eaten")).status).toBe(422);
    expect((await service.owner.get("/v1/changes?after=-1")).status).toBe(422);
  });

  test("shows a driver own and shared things, the shop lines, shelf stock and shelf orders, a reader all", async () => {
    const { line, home, driver, supplier } = garage;
    const other = await must("POST", "/v1/drivers", { name: "Mara Tindle" });
    const shelf = await must("POST", "/v1/locations", { name: "Shelf", sort: "shelf" });
    const at = "2026-11-20T10:00:00Z";
    const from = await head();
    await fitSpur("spur 1", "2026-11-01T09:00:00Z");
    for (const locationId of [home.id, shelf.id]) {
      await must("POST", "/v1/movements", { reason: "received", lineId: line.id, locationId, pieces: 3, at });
      const lines = [{ lineId: line.id, packs: 1 }];
      await must("POST", "/v1/orders", { supplierId: supplier.id, locationId, placedAt: at, lines });
    }
    await must("PATCH", `/v1/lines/${line.id}`, { notes: "new box" });
    const seen = async (as: typeof service.owner) =>
      (await feed(as, `&after=${from}`)).map(({ position, type }) => `${position - from} ${type}`);
    const all = [
      "1 piece.added",
      "2 piece.fitted",
      "3 stock-level.changed",
      "4 order.placed",
      "5 stock-level.changed",
      "6 order.placed",
      "7 line.changed",
    ];
    const only = (...numbers: number[]) => numbers.map((number) => all[number - 1]);
    expect(await seen(await service.as("reader"))).toEqual(all);
    expect(await seen(await service.as("driver", driver.id))).toEqual(only(1, 2, 3, 4, 5, 7));
    expect(await seen(await service.as("driver", other.id))).toEqual(only(5, 7));
    expect(await seen(await service.as("shop"))).toEqual(only(5, 6, 7));
    expect((await service.anyone.get("/v1/changes")).status).toBe(401);
  });

  test("read on from wherever a reader stopped, it misses nothing and repeats nothing, whoever writes in between", async () => {
    const drivers = await Promise.all(
      ["A", "B"].map(async (name) => (await must("POST", "/v1/drivers", { name })).id as string),
    );
    let mark = 0;
    const write = (driver: number) =>
      must("POST", "/v1/pieces", { driverId: drivers[driver], lineId: garage.line.id, mark: `m${mark++}` });
    const readers = [
      service.owner,
      await service.as("driver", drivers[0]),
      await service.as("driver", drivers[1]),
    ];
    const steps = fc.array(
      fc.oneof(
        fc.record({ write: fc.integer({ min: 1, max: 4 }), driver: fc.integer({ min: 0, max: 1 }) }),
        fc.record({ reader: fc.integer({ min: 0, max: 2 }), limit: fc.integer({ min: 1, max: 5 }) }),
      ),
      { minLength: 5, maxLength: 25 },
    );
    await fc.assert(
      fc.asyncProperty(steps, async (steps) => {
        const from = await head();
        const read = readers.map(() => ({ after: from, got: [] as number[] }));
        const readOn = async (reader: number, limit: number) => {
          const one = read[reader]!;
          const { body } = await readers[reader]!.get(`/v1/changes?after=${one.after}&limit=${limit}`);
          expect(body.next).toBeGreaterThanOrEqual(one.after);
          one.got.push(...body.items.map(({ position }: Entry) => position));
          one.after = body.next;
          return body.more as boolean;
        };
        // A write is begun before the one before it has ended, and readers read in between.
        const running: Promise<unknown>[] = [];
        for (const step of steps)
          if ("write" in step) for (let i = 0; i < step.write; i++) running.push(write(step.driver));
          else await readOn(step.reader, step.limit);
        await Promise.all(running);
        for (const [i, reader] of readers.entries()) {
          for (let more = true, bound = 0; more && bound < 1000; bound++) more = await readOn(i, 3);
          const whole = await feed(reader, `&after=${from}`);
          expect(read[i]!.got).toEqual(whole.map(({ position }) => position));
        }
        expect(read[1]!.got.length + read[2]!.got.length).toBe(read[0]!.got.length);
      }),
      { seed: 11, numRuns: 12 },
    );
  });
});

describe("thresholds that are crossed", () => {
  beforeEach(() => start(true));
  const told = async (types: string) => {
    await service.watch.settled();
    return feed(service.owner, `&types=${types}`);
  };

  test("a meeting put into the calendar can bring a piece near its limit, and says so soon", async () => {
    const { pieceId } = await fitSpur("spur 1", "2026-10-01T09:00:00Z");
    await must("POST", "/v1/runs", {
      carId: garage.car.id,
      at: "2026-11-01T10:00:00Z",
      minutes: 500,
      surface: "asphalt",
    });
    await must("POST", `/v1/pieces/${pieceId}/inspections`, {
      at: "2026-11-02T20:00:00Z",
      readings: [{ value: 15.42, unit: "mm" }],
      confirmed: true,
    });
    expect(await told("piece.near-limit")).toEqual([]);
    const meeting = { name: "Endurance", startsOn: "2026-12-12", surface: "asphalt", discipline: "touring" };
    const { id } = await must("POST", "/v1/meetings", { ...meeting, plannedRuns: 100, minutesPerRun: 60 });
    expect((await told("piece.near-limit")).map(({ subject }) => subject.id)).toEqual([pieceId]);
    await must("DELETE", `/v1/meetings/${id}`);
    expect((await told("meeting.added,meeting.removed")).map(({ type, data }) => [type, data.name])).toEqual([
      ["meeting.added", "Endurance"],
      ["meeting.removed", "Endurance"],
    ]);
    expect((await told("piece.clear-of-limit")).map(({ subject }) => subject.id)).toEqual([pieceId]);
  });

  test("a piece that comes near its limit and its car that is not ready are told once, and again when they are not", async () => {
    const { pieceId } = await fitSpur("spur 1", "2026-10-01T09:00:00Z");
    await fitSpur("spur 2", "2026-10-01T09:00:00Z", "second spur");
    await must("POST", "/v1/meetings", {
      name: "R2",
      startsOn: "2026-12-12",
      surface: "asphalt",
      discipline: "touring",
    });
    expect(await told("piece.near-limit,car.not-ready,car.ready")).toEqual([]);
    for (let day = 1; day <= 9; day++)
      await must("POST", "/v1/runs", {
        carId: garage.car.id,
        at: `2026-11-0${day}T10:00:00Z`,
        minutes: 60,
        surface: "asphalt",
      });
    const look = (value: number, day: number) =>
      must("POST", `/v1/pieces/${pieceId}/inspections`, {
        at: `2026-11-${day}T20:00:00Z`,
        readings: [{ value, unit: "mm" }],
        confirmed: true,
      });
    await look(15.39, 10);
    const near = await told("piece.near-limit");
    expect(near.filter(({ subject }) => subject.id === pieceId)).toHaveLength(1);
    expect(near[0]).toMatchObject({
      by: null,
      data: { mark: "spur 1", position: "spur", carId: garage.car.id },
    });
    const notReady = await told("car.not-ready");
    expect(notReady).toHaveLength(1);
    expect(notReady[0]!.data.toChange).toContain("spur");
    // Looked at again and found the same: nothing new is told.
    await look(15.388, 11);
    service.watch.wake((await service.club()).id, true);
    expect((await told("piece.near-limit")).filter(({ subject }) => subject.id === pieceId)).toHaveLength(1);
    expect(await told("car.not-ready")).toHaveLength(1);
    for (const [position, mark] of [
      ["spur", "spur 3"],
      ["second spur", "spur 4"],
    ])
      await must("POST", `/v1/cars/${garage.car.id}/replacements`, {
        position,
        at: "2026-11-12T20:00:00Z",
        retiredFor: "worn",
        piece: { lineId: garage.line.id, mark, from: "none" },
      });
    expect((await told("car.ready")).map(({ subject }) => subject.id)).toEqual([garage.car.id]);
    expect(service.faults).toEqual([]);
  });

  test("a line below its reorder point is told to its driver, and that it is above it again", async () => {
    const { line, home, driver } = garage;
    await fitSpur("spur 1", "2026-10-01T09:00:00Z");
    for (let i = 1; i <= 6; i++)
      await must("POST", "/v1/meetings", {
        name: `R${i}`,
        startsOn: `2026-12-${String(i + 2).padStart(2, "0")}`,
        surface: "asphalt",
        discipline: "touring",
        plannedRuns: 60,
      });
    const movement = { lineId: line.id, locationId: home.id, at: "2026-11-20T10:00:00Z" };
    await must("POST", "/v1/movements", { ...movement, reason: "received", pieces: 1 });
    const below = await told("line.below-reorder-point");
    expect(below).toHaveLength(1);
    expect(below[0]).toMatchObject({
      subject: { kind: "line", id: line.id },
      data: { driverId: driver.id, onHand: 1 },
    });
    await must("POST", "/v1/movements", { ...movement, reason: "received", pieces: 50 });
    expect(await told("line.above-reorder-point")).toHaveLength(1);
    expect(await feed(await service.as("driver", driver.id), "&types=line.below-reorder-point")).toHaveLength(
      1,
    );
    expect(await feed(await service.as("shop"), "&types=line.below-reorder-point")).toEqual([]);
    expect(service.faults).toEqual([]);
  });
});
