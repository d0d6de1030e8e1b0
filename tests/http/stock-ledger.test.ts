import fc from "fast-check";
import { sql } from "kysely";
import { afterAll, beforeAll, expect, test } from "vitest";
import { startTestService, type TestService } from "../support/service.ts";

/**
 * Any sequence of movements, counts, receipts and undoings, against a model that keeps every movement in a list and
 * adds them up anew each time.
 */
let service: TestService;
let places: string[];
let kindId: string;
let supplierId: string;
let made = 0;

beforeAll(async () => {
  service = await startTestService();
  places = [];
  for (const name of ["left shelf", "middle shelf", "right shelf"])
    places.push((await service.owner.must("POST", "/v1/locations", { name, sort: "shelf" })).id);
  kindId = (await service.owner.get("/v1/kinds?code=SPR-48")).body.items[0].id;
  const supplier = { name: "Harrowmead Trade", leadTimeDays: 6, leadTimeSdDays: 3 };
  supplierId = (await service.owner.must("POST", "/v1/suppliers", supplier)).id;
});
afterAll(() => service.close());

interface Entry {
  place: number;
  quantity: number;
  minute: number;
  undone: boolean;
  undoing: boolean;
  underOrder: boolean;
  /** index of the other end of a move */
  other?: number;
}

const ORDERED = 6;

/** The brute-force ledger. Each method says whether the ledger should take it, and then takes it. */
class Model {
  entries: Entry[] = [];
  closed = false;
  level(place: number, through = Number.POSITIVE_INFINITY) {
    return this.entries
      .filter((entry) => entry.place === place && entry.minute <= through)
      .reduce((sum, entry) => sum + entry.quantity, 0);
  }
  received() {
    return this.entries.filter((entry) => entry.underOrder).reduce((sum, entry) => sum + entry.quantity, 0);
  }
  add(place: number, quantity: number, minute: number, more: Partial<Entry> = {}): boolean {
    if (this.level(place) + quantity < 0) return false;
    this.entries.push({ place, quantity, minute, undone: false, undoing: false, underOrder: false, ...more });
    return true;
  }
  move(from: number, to: number, pieces: number, minute: number): boolean {
    const n = this.entries.length;
    if (!this.add(from, -pieces, minute, { other: n + 1 })) return false;
    return this.add(to, pieces, minute, { other: n });
  }
  count(place: number, pieces: number, minute: number): boolean {
    const difference = pieces - this.level(place, minute);
    return difference === 0 || this.add(place, difference, minute);
  }
  receive(place: number, pieces: number, minute: number): boolean {
    if (this.closed) return false;
    this.add(place, pieces, minute, { underOrder: true });
    this.closed = this.received() >= ORDERED;
    return true;
  }
  undo(index: number, minute: number): boolean {
    const entry = this.entries[index]!;
    if (entry.undone || entry.undoing) return false;
    const ends = entry.other === undefined ? [entry] : [entry, this.entries[entry.other]!];
    if (ends.some((end) => this.level(end.place) - end.quantity < 0)) return false;
    const wasComplete = entry.underOrder && this.received() >= ORDERED;
    for (const end of ends) {
      end.undone = true;
      this.add(end.place, -end.quantity, minute, { undoing: true, underOrder: end.underOrder });
    }
    if (wasComplete && this.received() < ORDERED) this.closed = false;
    return true;
  }
}

const place = fc.nat(2);
const pieces = fc.integer({ min: 1, max: 6 });
const ago = fc.nat(6);
const step = fc.oneof(
  fc.record({ does: fc.constant("put" as const), place, pieces, ago }),
  fc.record({ does: fc.constant("take" as const), place, pieces, ago }),
  fc.record({ does: fc.constant("move" as const), place, by: fc.integer({ min: 1, max: 2 }), pieces, ago }),
  fc.record({ does: fc.constant("count" as const), place, pieces: fc.nat(6), ago }),
  fc.record({ does: fc.constant("receive" as const), pieces, ago }),
  fc.record({ does: fc.constant("undo" as const), pick: fc.nat(1000) }),
  fc.record({ does: fc.constant("repeat" as const), pick: fc.nat(1000) }),
);

const start = Date.parse("2026-11-01T00:00:00Z");
const moment = (minute: number) => new Date(start + minute * 60_000).toISOString();
const uuid = () => `0192f0c1-7c1e-7b6a-9c1d-${String(++made).padStart(12, "0")}`;

type Step = typeof step extends fc.Arbitrary<infer S> ? S : never;
interface Request {
  path: string;
  body?: object;
  /** what it does to the model */
  apply: () => boolean;
  /** a repeat of what was taken changes nothing; a count has no id and is compared anew */
  once: boolean;
  taken?: boolean;
}

/** The request that a step stands for. `idOf` gives the id of the model's nth movement. */
function requestOf(
  one: Exclude<Step, { does: "repeat" }>,
  minute: number,
  {
    model,
    lineId,
    orderId,
    idOf,
  }: { model: Model; lineId: string; orderId: string; idOf: (n: number) => string },
): Request | undefined {
  if (one.does === "undo") {
    if (model.entries.length === 0) return undefined;
    const n = one.pick % model.entries.length;
    return { path: `/v1/movements/${idOf(n)}/undo`, apply: () => model.undo(n, minute), once: false };
  }
  const back = minute - one.ago;
  const at = moment(back);
  if (one.does === "receive") {
    const body = { at, lines: [{ id: uuid(), lineId, pieces: one.pieces }] };
    const apply = () => model.receive(0, one.pieces, back);
    return { path: `/v1/orders/${orderId}/receipts`, body, apply, once: true };
  }
  const { does, place: at1, pieces: n } = one;
  if (does === "count") {
    const body = { locationId: places[at1], at, counts: [{ lineId, pieces: n }] };
    return { path: "/v1/stocktakes", body, apply: () => model.count(at1, n, back), once: false };
  }
  const movement = { id: uuid(), lineId, locationId: places[at1], pieces: n, at };
  const path = "/v1/movements";
  if (does === "move") {
    const to = (at1 + one.by) % 3;
    const body = { ...movement, reason: "moved", toLocationId: places[to] };
    return { path, body, apply: () => model.move(at1, to, n, back), once: true };
  }
  const body = { ...movement, reason: does === "put" ? "received" : "written-off" };
  return { path, body, apply: () => model.add(at1, does === "put" ? n : -n, back), once: true };
}

test("whatever is moved, counted, received, repeated and undone: levels are the sum of movements, and never below zero", async () => {
  const seen = { taken: 0, refused: 0, repeated: 0 };
  await fc.assert(
    fc.asyncProperty(fc.array(step, { minLength: 5, maxLength: 30 }), async (steps) => {
      const { owner, clock, db } = service;
      const line = { sku: `SP-${++made}`, name: "Spur", kindId, priceMinorUnits: 1 };
      const lineId = (await owner.must("POST", "/v1/lines", line)).id;
      const placed = { supplierId, locationId: places[0], placedAt: moment(0) };
      const ordered = { ...placed, lines: [{ lineId, packs: ORDERED }] };
      const orderId = (await owner.must("POST", "/v1/orders", ordered)).id;
      const model = new Model();
      const sent: Request[] = [];
      let ids: string[] = [];
      for (const [i, one] of steps.entries()) {
        const minute = 10 + i;
        clock.now = moment(minute);
        const request =
          one.does === "repeat"
            ? sent[one.pick % Math.max(1, sent.length)]
            : requestOf(one, minute, { model, lineId, orderId, idOf: (n) => ids[n]! });
        if (request === undefined) continue;
        const repeated = request.once && request.taken === true;
        const expected = repeated || request.apply();
        const { status, body } = await owner.send("POST", request.path, request.body);
        if (expected) expect(status).toBe(repeated ? 200 : 201);
        else expect(body.type).toMatch(/stock_short|already_undone|order_closed/);
        request.taken = expected;
        if (one.does !== "repeat" && one.does !== "undo") sent.push(request);
        seen[repeated ? "repeated" : expected ? "taken" : "refused"]++;
        const levels = (await owner.get(`/v1/stock-levels?lineId=${lineId}`)).body.items;
        const found = levels.map((level: { pieces: number }) => level.pieces);
        expect(found).toEqual([0, 1, 2].map((place) => model.level(place)));
        expect(Math.min(...found)).toBeGreaterThanOrEqual(0);
        // In the order of recording, which is the model's.
        const rows = db.selectFrom("movements").select("id").where("lineId", "=", lineId);
        ids = (await rows.orderBy(sql`rowid`).execute()).map(({ id }) => id);
        expect(ids).toHaveLength(model.entries.length);
      }
      const after = (await owner.get(`/v1/orders/${orderId}`)).body;
      expect([after.lines[0].receivedPieces, after.open]).toEqual([model.received(), !model.closed]);
    }),
    { seed: 20_261, numRuns: 30 },
  );
  expect(Math.min(seen.taken, seen.refused, seen.repeated)).toBeGreaterThan(10);
}, 60_000);
