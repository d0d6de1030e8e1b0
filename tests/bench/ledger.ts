import Database from "better-sqlite3";
import { Hono } from "hono";
import { v7 } from "uuid";
import { buildApp } from "../../src/app.ts";
import { foundClub, issueKey } from "../../src/services/keep-club.ts";
import { type Db, openDatabase } from "../../src/storage/database.ts";
import { spurKind } from "../support/garage.ts";
import { fillHistory, type History } from "./history.ts";
import { inFolder, inTurn, rate } from "./measure.ts";

/**
 * Logging runs one by one and in bulk (CSV), as a ratio to raw better-sqlite3 inserts of the same rows into the same
 * table, one commit each or one for all; and asking one remaining life, as a ratio to a Hono route that only answers JSON. Both in process, and again
 * with ten and a hundred times the history.
 */
const rounds = 7;
const runsEach = 150;
const asksEach = 60;
const bulkEach = 5000;
/** Raw inserts and imports share the first car, which is asked nothing; imports begin after so many of its times. */
const rawSlots = 50_000;

export interface LedgerFigures {
  seasons: number;
  rawInsertsPerSecond: number;
  runsPerSecond: number;
  runsRatio: number;
  bulkRunsPerSecond: number;
  bulkRatio: number;
  bareJsonPerSecond: number;
  forecastsPerSecond: number;
  forecastRatio: number;
  forecastMs: number;
  runMs: number;
}

interface Bench {
  app: ReturnType<typeof buildApp>;
  headers: Record<string, string>;
  history: History;
  pieceIds: string[];
  db: Db;
}

async function prepare(folder: string, seasons: number): Promise<Bench> {
  const db = await openDatabase(`file:${folder}/bench-${seasons}.db`);
  const newId = () => v7();
  const founded = "2020-01-01T00:00:00.000Z";
  const club = await foundClub(db, {
    id: newId(),
    name: "Bench",
    currency: "AUD",
    timeZone: "UTC",
    at: founded,
    newId,
  });
  const key = await issueKey(db, { name: "bench", role: "owner", driverId: null }, founded, newId);
  const headers = { authorization: `Bearer ${key}`, "content-type": "application/json" };
  let now = founded;
  const app = buildApp({ db, clock: () => new Date(now) });
  const make = async (path: string, body: object) => {
    const response = await app.request(path, { method: "POST", headers, body: JSON.stringify(body) });
    if (response.status !== 201) throw new Error(`${path}: ${response.status} ${await response.text()}`);
    return ((await response.json()) as { id: string }).id;
  };
  const driverId = await make("/v1/drivers", { name: "Driver" });
  const kindId = await make("/v1/kinds", spurKind);
  const lineId = await make("/v1/lines", { sku: "B-1", name: "Spur", kindId, priceMinorUnits: 900 });
  const history = await fillHistory(db, { clubId: club.id, driverId, lineId, kindId, seasons });
  now = history.now;
  const fitted = await db
    .selectFrom("fittings")
    .select("pieceId")
    .where("removedAt", "is", null)
    .where("carId", "!=", history.carIds[0]!)
    .execute();
  return { app, headers, history, pieceIds: fitted.map((row) => row.pieceId), db };
}

/** Raw single-row inserts into the very table, a commit each, with the pragmas of the service. */
function rawInserter(folder: string, seasons: number, history: History) {
  const raw = new Database(`${folder}/bench-${seasons}.db`);
  raw.pragma("journal_mode = wal");
  raw.pragma("synchronous = full");
  const { clubId } = raw.prepare(`select "clubId" from runs limit 1`).get() as { clubId: string };
  const insert = raw.prepare(
    `insert into runs (id, "clubId", "carId", at, minutes, surface, conditions, "packId", knocks, "meetingId", notes, version) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
  );
  let made = 0;
  return {
    insert: (count: number) => {
      for (let i = 0; i < count; i++, made++)
        insert.run(
          v7(),
          clubId,
          history.carIds[0]!,
          history.freeAt(made),
          5.5,
          "asphalt",
          null,
          null,
          0,
          null,
          null,
          1,
        );
    },
    insertTogether: (count: number) =>
      raw.transaction(() => {
        for (let i = 0; i < count; i++, made++)
          insert.run(
            v7(),
            clubId,
            history.carIds[0]!,
            history.freeAt(made),
            5.5,
            "asphalt",
            null,
            null,
            0,
            null,
            null,
            1,
          );
      })(),
    close: () => raw.close(),
  };
}

async function figuresAt(folder: string, seasons: number): Promise<LedgerFigures> {
  const { app, headers, history, pieceIds, db } = await prepare(folder, seasons);
  const bare = new Hono().get("/forecast", (c) => c.json({ remaining: { p10: 11, median: 29, p90: 62 } }));
  const raw = rawInserter(folder, seasons, history);
  const must = async (response: Response) => {
    if (response.status >= 300) throw new Error(`${response.status} ${await response.text()}`);
    return response.text();
  };
  let logged = 0;
  let asked = 0;
  let imported = 0;
  const log = async () => {
    for (let i = 0; i < runsEach; i++, logged++) {
      const run = {
        carId: history.carIds[1 + (logged % 15)],
        at: history.freeAt(logged),
        minutes: 5.5,
        surface: "asphalt",
      };
      await must(await app.request("/v1/runs", { method: "POST", headers, body: JSON.stringify(run) }));
    }
  };
  const ask = async () => {
    for (let i = 0; i < asksEach; i++, asked++)
      await must(await app.request(`/v1/pieces/${pieceIds[asked % pieceIds.length]}/forecast`, { headers }));
  };
  const askBare = async () => {
    for (let i = 0; i < asksEach * 20; i++) await must(await bare.request("/forecast"));
  };
  const logBulk = async () => {
    const rows = ["carId,at,minutes,surface"];
    for (let i = 0; i < bulkEach; i++, imported++)
      rows.push(`${history.carIds[0]},${history.freeAt(rawSlots + imported)},5.5,asphalt`);
    const init = {
      method: "POST",
      headers: { ...headers, "content-type": "text/csv" },
      body: rows.join("\r\n"),
    };
    await must(await app.request("/v1/imports/runs", init));
  };
  await ask();
  await log();
  await logBulk();
  const [askTime, bareTime, rawTime, logTime, rawBulkTime, bulkTime] = (await inTurn(rounds, [
    ask,
    askBare,
    () => raw.insert(runsEach),
    log,
    () => raw.insertTogether(bulkEach),
    logBulk,
  ])) as [number, number, number, number, number, number];
  raw.close();
  await db.destroy();
  const runsPerSecond = runsEach / logTime;
  const rawInsertsPerSecond = runsEach / rawTime;
  const forecastsPerSecond = asksEach / askTime;
  const bareJsonPerSecond = (asksEach * 20) / bareTime;
  return {
    seasons,
    rawInsertsPerSecond,
    runsPerSecond,
    runsRatio: runsPerSecond / rawInsertsPerSecond,
    bulkRunsPerSecond: bulkEach / bulkTime,
    bulkRatio: rawBulkTime / bulkTime,
    bareJsonPerSecond,
    forecastsPerSecond,
    forecastRatio: forecastsPerSecond / bareJsonPerSecond,
    forecastMs: 1000 / forecastsPerSecond,
    runMs: 1000 / runsPerSecond,
  };
}

export async function benchLedger(say: (line: string) => void): Promise<LedgerFigures[]> {
  return inFolder(async (folder) => {
    const all: LedgerFigures[] = [];
    for (const seasons of [1, 10, 100]) {
      const one = await figuresAt(folder, seasons);
      all.push(one);
      say(
        `${String(seasons).padStart(3)} x history: runs logged ${rate(one.runsPerSecond)}/s, ${one.runsRatio.toFixed(2)} of raw inserts (${rate(one.rawInsertsPerSecond)}/s); in bulk ${rate(one.bulkRunsPerSecond)}/s, ${one.bulkRatio.toFixed(2)} of raw; ` +
          `remaining life ${rate(one.forecastsPerSecond)}/s (${one.forecastMs.toFixed(2)} ms), ${one.forecastRatio.toFixed(4)} of a bare JSON route (${rate(one.bareJsonPerSecond)}/s)`,
      );
    }
    const [first, , last] = all as [LedgerFigures, LedgerFigures, LedgerFigures];
    say(
      `A hundredfold history: logging a run takes ${(last.runMs / first.runMs).toFixed(2)} times as long, asking a remaining life ${(last.forecastMs / first.forecastMs).toFixed(2)} times`,
    );
    return all;
  });
}
