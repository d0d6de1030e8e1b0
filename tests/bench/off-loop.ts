import { v7 } from "uuid";
import { buildApp } from "../../src/app.ts";
import { startFitPool } from "../../src/fit-pool.ts";
import { foundClub, issueKey } from "../../src/services/keep-club.ts";
import { LineModels } from "../../src/services/line-models.ts";
import type { RunFit } from "../../src/services/run-fit.ts";
import { fitHere } from "../../src/services/run-fit.ts";
import type { Work } from "../../src/services/work.ts";
import { openDatabase } from "../../src/storage/database.ts";
import type { Tables } from "../../src/storage/tables.ts";
import { spurKind } from "../support/garage.ts";
import { inFolder } from "./measure.ts";

/**
 * While the lines of a club are refitted, how long does an answer from another line take? A reader asks for a forecast
 * at fixed moments; each wait is counted from the moment at which it was due, so that a thread that stands still is
 * seen for as long as it does. Measured with nothing going on, with the fits in other threads, and with the fits on
 * the thread that answers.
 */
const lines = 1000;
const piecesPerLine = 5;
const readingsPerPiece = 5;
const everyMs = 15;
const quietAsks = 600;
const rounds = 15;
/** Each line is refitted so often: the 99th percentile needs some hundred answers. */
const refitsPerLine = 3;
/** Fewer lines are refitted on the answering thread: it shows the same at once. */
const linesInline = 100;

export interface OffLoopFigures {
  quietP99Ms: number;
  offLoopP99Ms: number;
  inlineP99Ms: number;
  growth: number;
  /** median over the rounds */
  usualGrowth: number;
  refitSeconds: number;
}

const percentile = (values: readonly number[], p: number) =>
  [...values].sort((a, b) => a - b)[Math.min(values.length - 1, Math.ceil(p * values.length) - 1)]!;

/** Asks at fixed moments until told to stop, and gives the wait of each answer in milliseconds. */
async function waits(ask: () => Promise<unknown>, until: () => boolean): Promise<number[]> {
  const begun = performance.now();
  const all: Promise<number>[] = [];
  for (let i = 0; !until(); i++) {
    const due = begun + i * everyMs;
    const early = due - performance.now();
    if (early > 0) await new Promise((resolve) => setTimeout(resolve, early));
    all.push(ask().then(() => performance.now() - due));
    // A thread that is behind must still let others in, as a socket would.
    await new Promise((resolve) => setImmediate(resolve));
  }
  return Promise.all(all);
}

async function prepare(folder: string) {
  const db = await openDatabase(`file:${folder}/off-loop.db`);
  const at = "2026-01-01T00:00:00.000Z";
  const now = "2026-12-01T00:00:00.000Z";
  const newId = () => v7();
  const club = await foundClub(db, {
    id: newId(),
    name: "Bench",
    currency: "AUD",
    timeZone: "UTC",
    at,
    newId,
  });
  const clubId = club.id;
  const key = await issueKey(db, { name: "bench", role: "owner", driverId: null }, at, newId);
  const app = buildApp({ db, clock: () => new Date(now) });
  const headers = { authorization: `Bearer ${key}`, "content-type": "application/json" };
  const make = async (path: string, body: object) => {
    const response = await app.request(path, { method: "POST", headers, body: JSON.stringify(body) });
    if (response.status !== 201) throw new Error(`${path}: ${response.status} ${await response.text()}`);
    return ((await response.json()) as { id: string }).id;
  };
  const driverId = await make("/v1/drivers", { name: "Driver" });
  // On the clock of days a piece needs no runs to be used: the history stays small.
  const kindId = await make("/v1/kinds", { ...spurKind, clock: "days", usualLife: { p10: 120, p90: 260 } });
  const lineIds: string[] = [];
  for (let l = 0; l <= lines; l++)
    lineIds.push(await make("/v1/lines", { sku: `B-${l}`, name: "Spur", kindId, priceMinorUnits: 900 }));
  const pieces: Tables["pieces"][] = [];
  const inspections: Tables["inspections"][] = [];
  const readings: Tables["readings"][] = [];
  for (const [l, lineId] of lineIds.entries())
    for (let p = 0; p < piecesPerLine; p++) {
      const id = newId();
      const none = { priorUsage: null, priorUsageSd: null, retiredAt: null, retiredFor: null, notes: null };
      const kept = { createdAt: at, version: 1, boughtOn: "2026-01-01", keptFor: null };
      pieces.push({ id, clubId, driverId, lineId, mark: `${l}-${p}`, asNew: 15.485, ...kept, ...none });
      const rate = 0.0005 * (0.7 + 0.6 * (((l * 7 + p) * 0.618) % 1));
      for (let r = 1; r <= readingsPerPiece; r++) {
        const days = r * 30;
        const seenAt = new Date(Date.parse(at) + days * 86_400_000).toISOString();
        const value = 15.485 - rate * days + 0.018 * ((((l + p + r) * 0.7548) % 1) * 2 - 1);
        const inspectionId = newId();
        const look = { grade: null, findings: "[]", services: "[]", notes: null, version: 1 };
        inspections.push({ id: inspectionId, clubId, pieceId: id, at: seenAt, ...look });
        const entered = { enteredValue: value, enteredUnit: "mm", instrument: "calliper", confirmed: 0 };
        readings.push({
          id: newId(),
          clubId,
          inspectionId,
          pieceId: id,
          at: seenAt,
          value,
          sd: 0.018,
          ...entered,
        });
      }
    }
  await db.transaction().execute(async (trx) => {
    for (const [table, rows] of Object.entries({ pieces, inspections, readings }))
      for (let i = 0; i < rows.length; i += 1000)
        await trx
          .insertInto(table as "pieces")
          .values(rows.slice(i, i + 1000) as never)
          .execute();
  });
  const work: Omit<Work, "models"> = {
    db,
    actor: { clubId, keyId: "", name: "bench", role: "owner", driverId: null },
    reach: "all",
    now: () => now,
    newId,
  };
  const ask = async () => {
    const response = await app.request(`/v1/pieces/${pieces[0]!.id}/forecast`, { headers });
    if (response.status !== 200) throw new Error(`${response.status} ${await response.text()}`);
    return response.text();
  };
  return { db, work, ask, lineIds: lineIds.slice(1) };
}

type Prepared = Awaited<ReturnType<typeof prepare>>;

/** The waits of the reader while some lines are refitted, four asked for at a time. */
async function whileRefitting({ db, work, ask, lineIds }: Prepared, runFit: RunFit, count: number) {
  const wanted = lineIds.slice(0, count);
  await db.deleteFrom("lineModels").where("lineId", "in", wanted).execute();
  const models = new LineModels({ runFit });
  let left = wanted.length;
  const started = performance.now();
  const refitter = async () => {
    for (let id = wanted.pop(); id !== undefined; id = wanted.pop()) {
      await models.get({ ...work, models }, id);
      left -= 1;
      await new Promise((resolve) => setImmediate(resolve));
    }
  };
  const refits = Promise.all(Array.from({ length: 4 }, refitter));
  const waited = await waits(ask, () => left === 0);
  await refits;
  return { waited, seconds: (performance.now() - started) / 1000 };
}

export async function benchOffLoop(say: (line: string) => void): Promise<OffLoopFigures> {
  return inFolder(async (folder) => {
    const prepared = await prepare(folder);
    const { db, ask } = prepared;
    for (let i = 0; i < 50; i++) await ask();
    const pool = startFitPool();
    // The threads are started and warm before anything is measured, as in a service that runs.
    await whileRefitting(prepared, pool.run, 50);
    // In turn, so that whatever else the machine does falls on both alike.
    const quiet: number[] = [];
    const offLoop: number[] = [];
    // One pause of the machine falls on several answers: growth round by round shows what is usual.
    const growths: number[] = [];
    let seconds = 0;
    for (let round = 0; round < rounds; round++) {
      let asked = 0;
      const still = await waits(ask, () => asked++ >= quietAsks / rounds);
      quiet.push(...still);
      const each = (lines * refitsPerLine) / rounds;
      const from = (round * each) % lines;
      const some = prepared.lineIds.slice(from, from + each);
      const refitted = await whileRefitting({ ...prepared, lineIds: some }, pool.run, some.length);
      offLoop.push(...refitted.waited);
      growths.push(percentile(refitted.waited, 0.99) / percentile(still, 0.99));
      seconds += refitted.seconds;
    }
    const inline = await whileRefitting(prepared, fitHere, linesInline);
    await pool.close();
    await db.destroy();
    const figures = {
      quietP99Ms: percentile(quiet, 0.99),
      offLoopP99Ms: percentile(offLoop, 0.99),
      inlineP99Ms: percentile(inline.waited, 0.99),
      growth: percentile(offLoop, 0.99) / percentile(quiet, 0.99),
      usualGrowth: percentile(growths, 0.5),
      refitSeconds: seconds,
    };
    const ms = (value: number) => `${value.toFixed(1)} ms`;
    say(
      `99th percentile of a forecast: ${ms(figures.quietP99Ms)} with nothing going on (median ${ms(percentile(quiet, 0.5))}), ` +
        `${ms(figures.offLoopP99Ms)} while ${lines} lines of ${piecesPerLine} × ${readingsPerPiece} are refitted in threads, each ${refitsPerLine} times (median ${ms(percentile(offLoop, 0.5))}) ` +
        `(${figures.growth.toFixed(2)} times, wanted at most 3, ${figures.usualGrowth.toFixed(2)} in the median of ${rounds} rounds; ${offLoop.length} answers in ${figures.refitSeconds.toFixed(1)} s); ` +
        `${ms(figures.inlineP99Ms)} with ${linesInline} lines refitted on the answering thread`,
    );
    return figures;
  });
}
