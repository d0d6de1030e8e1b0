import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import Database from "better-sqlite3";
import { v7 } from "uuid";
import { buildApp } from "../../src/app.ts";
import { foundClub, issueKey } from "../../src/services/keep-club.ts";
import { openDatabase } from "../../src/storage/database.ts";

/**
 * How fast runs are imported, beside the fastest plain way of writing the same rows: better-sqlite3 with one prepared
 * insert, row by row in one transaction, into the same table with the same indexes. The import also reads the text,
 * checks each row, finds the cars and makes the ids.
 */
export interface ImportSpeed {
  /** rows per second, medians */
  raw: number;
  csv: number;
  json: number;
  /** of the rate of `raw` */
  ratioCsv: number;
  ratioJson: number;
}

const cars = 16;
const now = "2026-12-01T09:00:00.000Z";
const median = (values: number[]) => [...values].sort((a, b) => a - b)[values.length >> 1]!;

const run = (i: number) => ({
  car: `Una Wickerley / Car ${i % cars}`,
  at: new Date(Date.UTC(2020, 0, 1) + i * 600_000).toISOString(),
  minutes: 5 + (i % 7) / 4,
  surface: "asphalt",
  conditions: i % 5 === 0 ? ["hot"] : [],
  knocks: i % 3,
  notes: i % 20 === 0 ? "lap 3, kerb" : null,
});
type Run = ReturnType<typeof run>;

const csvOf = (runs: readonly Run[]) =>
  [
    "car,at,minutes,surface,conditions,knocks,notes",
    ...runs.map((r) =>
      [
        r.car,
        r.at,
        r.minutes,
        r.surface,
        r.conditions.join(" "),
        r.knocks,
        r.notes === null ? "" : `"${r.notes}"`,
      ].join(","),
    ),
  ].join("\r\n");

/** Chunks of the size in which a socket gives them. */
function chunked(text: string): ReadableStream<Uint8Array> {
  const bytes = Buffer.from(text);
  let from = 0;
  return new ReadableStream({
    pull(controller) {
      if (from >= bytes.length) return controller.close();
      controller.enqueue(bytes.subarray(from, from + 65_536));
      from += 65_536;
    },
  });
}

/** A database file with a club of one driver and some cars; gone afterwards. */
async function withClub<T>(
  act: (file: string, request: (type: string, text: string) => Promise<void>) => Promise<T>,
) {
  const folder = mkdtempSync(path.join(tmpdir(), "import-speed-"));
  const file = path.join(folder, "club.db");
  const db = await openDatabase(`file:${file}`);
  try {
    const newId = () => v7();
    await foundClub(db, { id: v7(), name: "Our club", currency: "AUD", timeZone: "UTC", at: now, newId });
    const key = await issueKey(db, { name: "owner", role: "owner", driverId: null }, now, newId);
    const app = buildApp({ db, clock: () => new Date(now) });
    const authorization = `Bearer ${key}`;
    const post = async (where: string, body: unknown) => {
      const headers = { authorization, "content-type": "application/json" };
      const answer = await app.request(where, { method: "POST", headers, body: JSON.stringify(body) });
      return (await answer.json()) as { id: string };
    };
    const driver = await post("/v1/drivers", { name: "Una Wickerley" });
    for (let i = 0; i < cars; i++)
      await post("/v1/cars", { driverId: driver.id, name: `Car ${i}`, positions: [] });
    return await act(file, async (type, text) => {
      const headers = { authorization, "content-type": type };
      const init = { method: "POST", headers, body: chunked(text), duplex: "half" };
      const answer = await app.request("/v1/imports/runs", init as RequestInit);
      if (answer.status !== 200) throw new Error(await answer.text());
      await answer.arrayBuffer();
    });
  } finally {
    await db.destroy();
    rmSync(folder, { recursive: true });
  }
}

const timed = async (rows: number, act: () => unknown): Promise<number> => {
  const started = performance.now();
  await act();
  return (rows / (performance.now() - started)) * 1000;
};

const rawRate = (rows: number) =>
  withClub(async (file) => {
    const raw = new Database(file);
    raw.pragma("synchronous = full");
    raw.pragma("foreign_keys = on");
    const known = raw.prepare("select id, clubId from cars order by id").all() as {
      id: string;
      clubId: string;
    }[];
    const values = Array.from({ length: rows }, (_, i) => {
      const { at, minutes, surface, conditions, knocks, notes } = run(i);
      const car = known[i % cars]!;
      const said = conditions.length === 0 ? null : JSON.stringify(conditions);
      return [v7(), car.clubId, car.id, at, minutes, surface, said, null, knocks, null, notes, 1];
    });
    const insert = raw.prepare(
      "insert into runs (id, clubId, carId, at, minutes, surface, conditions, packId, knocks, meetingId, notes, version) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    );
    try {
      return await timed(rows, () =>
        raw
          .transaction(() => {
            for (const row of values) insert.run(row);
          })
          .immediate(),
      );
    } finally {
      raw.close();
    }
  });

const importRate = (rows: number, type: string, text: string) =>
  withClub((_, request) => timed(rows, () => request(type, text)));

/** Measures with `rows` runs, `repeats` times each in turn, so that another busy program troubles all alike. */
export async function importSpeed(rows = 100_000, repeats = 3): Promise<ImportSpeed> {
  const runs = Array.from({ length: rows }, (_, i) => run(i));
  const [asCsv, asJson] = [csvOf(runs), JSON.stringify(runs)];
  const rates: { raw: number; csv: number; json: number }[] = [];
  for (let i = 0; i < repeats; i++)
    rates.push({
      raw: await rawRate(rows),
      csv: await importRate(rows, "text/csv", asCsv),
      json: await importRate(rows, "application/json", asJson),
    });
  const [raw, csv, json] = (["raw", "csv", "json"] as const).map((way) =>
    median(rates.map((rate) => rate[way])),
  );
  return { raw: raw!, csv: csv!, json: json!, ratioCsv: csv! / raw!, ratioJson: json! / raw! };
}
