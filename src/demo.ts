import { existsSync, rmSync } from "node:fs";
import { v7 } from "uuid";
import { drawSeason } from "../seeds/draw-season.ts";
import { shippedKinds } from "../seeds/index.ts";
import { quillbrook } from "../seeds/quillbrook.ts";
import { fillClub } from "./demo/fill-club.ts";
import { loopback } from "./demo/fill-shops.ts";
import { openShops } from "./demo/open-shops.ts";
import { showBenchSheet, showForecast, showRestockList, showShelves } from "./demo/show-answers.ts";
import { openConfigured, startService } from "./serve.ts";
import { issueKey } from "./services/keep-club.ts";
import { settingsFrom } from "./settings.ts";
import { firstClub } from "./storage/clubs.ts";

const seed = 2026;
const driver = { key: "D01", name: "Mara Tindle" };
const car = "C01";
const midSeason = "2027-06-30";
/** What whoever tries the demo sends and edits; made anew each time. */
const folder = "data/demo";

const say = (line: string) => process.stdout.write(`${line}\n`);

/** The demo has a file of its own, made anew each time, unless the environment names an empty one. */
function demoDatabase(): string {
  const named = process.env["DATABASE_URL"];
  if (named !== undefined) return named;
  for (const end of ["", "-wal", "-shm"]) if (existsSync(`data/demo.db${end}`)) rmSync(`data/demo.db${end}`);
  return "file:data/demo.db";
}

/** Fills a fresh database with the demo season, shows four answers, and leaves the service running. */
async function main(): Promise<void> {
  // The catalogue of the shop in town is on this machine, which only the demo asks.
  const defaults = { LOG_LEVEL: "warn", PULL_ALLOW_PRIVATE: loopback };
  const settings = settingsFrom({ ...defaults, ...process.env, DATABASE_URL: demoDatabase() });
  const db = await openConfigured(settings);
  if ((await firstClub(db)) !== undefined)
    throw new Error(`The demo needs an empty database, but ${settings.databaseUrl} has a club in it`);
  const { name } = quillbrook.club;
  const season = drawSeason({ scenario: quillbrook, kinds: shippedKinds, seed });
  say(`Logging the past season of the ${name} (invented): ${season.events.length} events ...`);
  const filled = await fillClub(db, quillbrook, season.events);
  const key = await issueKey(db, { name: "demo", role: "owner", driverId: null }, filled.work.now(), () =>
    v7(),
  );
  const shops = await openShops(filled, quillbrook, { folder, driver: driver.key, ownerKey: key });

  // The demo looks at its club on the day the scenario ends, whenever it is run.
  const offset = Date.parse(filled.work.now()) - Date.now();
  const address = await startService({ settings, db, clock: () => new Date(Date.now() + offset) });
  const askWith =
    (key: string) =>
    async <T>(path: string): Promise<T> => {
      const response = await fetch(`${address}${path}`, { headers: { authorization: `Bearer ${key}` } });
      if (!response.ok) throw new Error(`${path}: ${response.status} ${await response.text()}`);
      return (await response.json()) as T;
    };
  const ask = askWith(key);
  shops.writeVariables(address);
  say(`It is ${quillbrook.asOf}. Fitting what the log says of each line ...\n`);
  const fitted = await ask<{ positions: { name: string; fitted: { pieceId: string } | null }[] }>(
    `/v1/cars/${filled.cars.get(car)}`,
  );
  const tyre = fitted.positions.find((position) => position.name === "front-left tyre")?.fitted;
  say(`${await showBenchSheet(ask, filled.cars.get(car)!, driver.name)}\n`);
  if (tyre) say(`${await showForecast(ask, tyre.pieceId, driver.name)}\n`);
  say(`${await showRestockList(ask, midSeason)}\n`);
  say(`${await showShelves(askWith(shops.driverKey), midSeason, driver.name)}\n`);
  say(`The service is running at ${address} (its API at ${address}/docs). Stop it with Ctrl-C.`);
  say(`Key: ${key}`);
  say(`Try: curl -H "Authorization: Bearer ${key}" "${address}/v1/restock-list?through=${midSeason}"`);
  say(`The shops' part of the README: . ${folder}/env`);
}

try {
  await main();
} catch (error) {
  process.stderr.write(`${error instanceof Error ? error.message : String(error)}\n`);
  process.exit(1);
}
