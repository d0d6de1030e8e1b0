import fc from "fast-check";
import { afterAll, beforeAll, expect, it } from "vitest";
import { packKind, spurKind } from "../support/garage.ts";
import { startTestService, type TestService } from "../support/service.ts";

/**
 * Usage accounting against a brute-force replay: any sequence of fitting, removing, swapping, replacing, running,
 * correcting and deleting must give each piece the usage that a replay of the surviving log gives, event by event.
 */
let service: TestService;
let kindIds: string[];
let lineIds: string[];
let driverId: string;
let packLineId: string;
let round = 0;

beforeAll(async () => {
  service = await startTestService("2027-01-01T00:00:00.000Z");
  const { must } = service.owner;
  driverId = (await must("POST", "/v1/drivers", { name: "Una Wickerley" })).id;
  const clocks = ["minutes", "runs", "knocks"];
  kindIds = [];
  for (const clock of clocks)
    kindIds.push(
      (await must("POST", "/v1/kinds", { ...spurKind, code: `T-${clock.toUpperCase()}`, clock })).id,
    );
  const packKindId = (await must("POST", "/v1/kinds", packKind)).id;
  const line = async (sku: string, kindId: string) =>
    (await must("POST", "/v1/lines", { sku, name: sku, kindId, priceMinorUnits: 100 })).id;
  lineIds = [];
  for (const [i, id] of kindIds.entries()) lineIds.push(await line(`L${i}`, id));
  packLineId = await line("LP", packKindId);
});
afterAll(() => service.close());

const hour = 3_600_000;
const start = Date.parse("2026-03-01T00:00:00.000Z");
const at = (slot: number) => new Date(start + slot * hour).toISOString();

/** The surviving log, kept as plainly as can be. */
interface Replay {
  fittings: { id: string; piece: string; position: string; car: string; from: string; to: string | null }[];
  runs: { id: string; car: string; at: string; minutes: number; knocks: number; pack: string | null }[];
}

/** Plays the log forward, one event at a time, with a table of what is fitted where. */
function replay(log: Replay): Map<string, { minutes: number; runs: number; knocks: number }> {
  type Event = { at: string; order: number; act: () => void };
  const fitted = new Map<string, { car: string; piece: string }>();
  const used = new Map<string, { minutes: number; runs: number; knocks: number }>();
  const wear = (piece: string, run: Replay["runs"][number]) => {
    const sum = used.get(piece) ?? { minutes: 0, runs: 0, knocks: 0 };
    used.set(piece, {
      minutes: sum.minutes + run.minutes,
      runs: sum.runs + 1,
      knocks: sum.knocks + run.knocks,
    });
  };
  const events: Event[] = [];
  for (const f of log.fittings) {
    events.push({ at: f.from, order: 1, act: () => fitted.set(f.position, { car: f.car, piece: f.piece }) });
    if (f.to !== null) events.push({ at: f.to, order: 0, act: () => fitted.delete(f.position) });
  }
  for (const run of log.runs)
    events.push({
      at: run.at,
      order: 2,
      act: () => {
        for (const { car, piece } of fitted.values()) if (car === run.car) wear(piece, run);
        if (run.pack !== null) wear(run.pack, run);
      },
    });
  events.sort((a, b) => (a.at < b.at ? -1 : a.at > b.at ? 1 : a.order - b.order));
  for (const event of events) event.act();
  return used;
}

const slot = fc.integer({ min: 0, max: 400 });
const two = fc.integer({ min: 0, max: 1 });
const position = fc.integer({ min: 0, max: 3 });
const piece = fc.integer({ min: 0, max: 5 });
const action = fc.oneof(
  { weight: 4, arbitrary: fc.record({ act: fc.constant("fit" as const), car: two, position, piece, slot }) },
  { weight: 2, arbitrary: fc.record({ act: fc.constant("remove" as const), piece, slot }) },
  { weight: 2, arbitrary: fc.record({ act: fc.constant("swap" as const), a: piece, b: piece, slot }) },
  {
    weight: 2,
    arbitrary: fc.record({ act: fc.constant("replace" as const), car: two, position, piece, slot }),
  },
  {
    weight: 6,
    arbitrary: fc.record({
      act: fc.constant("run" as const),
      car: two,
      slot,
      minutes: fc.integer({ min: 1, max: 12 }),
      knocks: fc.integer({ min: 0, max: 3 }),
      pack: fc.boolean(),
    }),
  },
  {
    weight: 2,
    arbitrary: fc.record({
      act: fc.constant("edit-run" as const),
      which: fc.nat(20),
      slot,
      minutes: fc.integer({ min: 1, max: 12 }),
      car: two,
      pack: fc.boolean(),
    }),
  },
  { weight: 1, arbitrary: fc.record({ act: fc.constant("delete-run" as const), which: fc.nat(20) }) },
  {
    weight: 1,
    arbitrary: fc.record({
      act: fc.constant("edit-fitting" as const),
      which: fc.nat(20),
      from: slot,
      to: slot,
    }),
  },
  { weight: 1, arbitrary: fc.record({ act: fc.constant("delete-fitting" as const), which: fc.nat(20) }) },
);

/** Two cars with two positions of the first kind and one of each other; six pieces and a pack of their own. */
async function newGarage() {
  const { must } = service.owner;
  round++;
  const cars: string[] = [];
  for (const car of [0, 1]) {
    const positions = [0, 0, 1, 2].map((kind, i) => ({ name: `p${i}`, kindId: kindIds[kind] }));
    cars.push((await must("POST", "/v1/cars", { driverId, name: `car ${round} ${car}`, positions })).id);
  }
  const pieces: string[] = [];
  for (const [i, kind] of [0, 0, 0, 0, 1, 2].entries())
    pieces.push(
      (await must("POST", "/v1/pieces", { driverId, lineId: lineIds[kind], mark: `${round}-${i}` })).id,
    );
  const pack = (await must("POST", "/v1/pieces", { driverId, lineId: packLineId, mark: `${round}-pack` })).id;
  return { cars, pieces, pack };
}

it("any sequence of fitting, removing, swapping, replacing, running, correcting and deleting gives the usage of a brute-force replay", async () => {
  let accepted = 0;
  let refused = 0;
  await fc.assert(
    fc.asyncProperty(fc.array(action, { minLength: 15, maxLength: 45 }), async (actions) => {
      const { owner } = service;
      const { cars, pieces, pack } = await newGarage();
      const log: Replay = { fittings: [], runs: [] };
      /** Copies the service's own fittings of a piece: which spans were accepted is its decision, what they add up to is not. */
      const note = (f: any) => {
        log.fittings = log.fittings.filter((one) => one.id !== f.id);
        log.fittings.push({
          id: f.id,
          piece: f.pieceId,
          position: f.positionId,
          car: f.carId,
          from: f.fittedAt,
          to: f.removedAt,
        });
      };
      for (const a of actions) {
        let status = 0;
        if (a.act === "fit") {
          const body = { position: `p${a.position}`, at: at(a.slot), piece: { pieceId: pieces[a.piece] } };
          const r = await owner.post(`/v1/cars/${cars[a.car]}/fittings`, body);
          status = r.status;
          if (status === 201) note(r.body);
        } else if (a.act === "remove") {
          const r = await owner.post(`/v1/pieces/${pieces[a.piece]}/removal`, { at: at(a.slot) });
          status = r.status;
          if (status === 200) note(r.body);
        } else if (a.act === "swap") {
          const ids = [pieces[a.a]!, pieces[a.b]!];
          const open = log.fittings.filter((f) => ids.includes(f.piece) && f.to === null);
          const r = await owner.post("/v1/swaps", { pieceIds: ids, at: at(a.slot) });
          status = r.status;
          if (status === 201) {
            for (const f of open) f.to = at(a.slot);
            r.body.fittings.forEach(note);
          }
        } else if (a.act === "replace") {
          const body = { position: `p${a.position}`, at: at(a.slot), piece: { pieceId: pieces[a.piece] } };
          const r = await owner.post(`/v1/cars/${cars[a.car]}/replacements`, body);
          status = r.status;
          if (status === 201) [r.body.removed, r.body.fitted].forEach(note);
        } else if (a.act === "run") {
          const body = {
            carId: cars[a.car],
            at: at(a.slot),
            minutes: a.minutes,
            knocks: a.knocks,
            surface: "asphalt",
            packId: a.pack ? pack : null,
          };
          const r = await owner.post("/v1/runs", body);
          status = r.status;
          if (status === 201)
            log.runs.push({
              id: r.body.id,
              car: body.carId!,
              at: body.at,
              minutes: a.minutes,
              knocks: a.knocks,
              pack: body.packId,
            });
        } else if (a.act === "edit-run" && log.runs.length > 0) {
          const run = log.runs[a.which % log.runs.length]!;
          const changes = {
            at: at(a.slot),
            minutes: a.minutes,
            carId: cars[a.car]!,
            packId: a.pack ? pack : null,
          };
          const r = await owner.patch(`/v1/runs/${run.id}`, changes);
          status = r.status;
          if (status === 200)
            Object.assign(run, {
              at: changes.at,
              minutes: a.minutes,
              car: changes.carId,
              pack: changes.packId,
            });
        } else if (a.act === "delete-run" && log.runs.length > 0) {
          const run = log.runs[a.which % log.runs.length]!;
          status = (await owner.delete(`/v1/runs/${run.id}`)).status;
          log.runs = log.runs.filter((one) => one !== run);
        } else if (a.act === "edit-fitting" && log.fittings.length > 0) {
          const f = log.fittings[a.which % log.fittings.length]!;
          const changes = { fittedAt: at(a.from), removedAt: a.to % 5 === 0 ? null : at(a.to) };
          const r = await owner.patch(`/v1/fittings/${f.id}`, changes);
          status = r.status;
          if (status === 200) note(r.body);
        } else if (a.act === "delete-fitting" && log.fittings.length > 0) {
          const f = log.fittings[a.which % log.fittings.length]!;
          status = (await owner.delete(`/v1/fittings/${f.id}`)).status;
          log.fittings = log.fittings.filter((one) => one !== f);
        } else continue;
        if (status >= 400) {
          expect(status).toBe(409);
          refused++;
        } else accepted++;
      }
      const expected = replay(log);
      const clocks = ["minutes", "minutes", "minutes", "minutes", "runs", "knocks"] as const;
      for (const [i, id] of pieces.entries()) {
        const { usage } = (await owner.get(`/v1/pieces/${id}`)).body;
        const used = expected.get(id) ?? { minutes: 0, runs: 0, knocks: 0 };
        expect(usage.total).toBe(used[clocks[i]!]);
        expect(usage.runs).toBe(used.runs);
      }
      const { usage } = (await owner.get(`/v1/pieces/${pack}`)).body;
      expect(usage.total).toBe(expected.get(pack)?.runs ?? 0);
    }),
    { numRuns: 60, seed: 20261129 },
  );
  // The sequences must have done something, and met refusals too, or the property says little.
  expect(accepted).toBeGreaterThan(600);
  expect(refused).toBeGreaterThan(100);
  expect(service.faults).toEqual([]);
}, 60_000);
