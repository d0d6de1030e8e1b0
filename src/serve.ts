import { serve } from "@hono/node-server";
import { mkdirSync } from "node:fs";
import path from "node:path";
import { buildApp, faultLogger } from "./app.ts";
import { startFitPool } from "./fit-pool.ts";
import { makeLog } from "./log.ts";
import { newId as freshId } from "./new-id.ts";
import { startPullTimer } from "./pull-timer.ts";
import { LineModels } from "./services/line-models.ts";
import { serviceItself } from "./services/work.ts";
import type { Settings } from "./settings.ts";
import { selectClubIds } from "./storage/clubs.ts";
import { type Db, openDatabase } from "./storage/database.ts";
import { Watch } from "./watch.ts";

/** How long running requests may take to finish once the service is told to stop. */
const graceMs = 5000;

/** Opens the database that the settings name, making its folder if need be. */
export async function openConfigured(settings: Settings): Promise<Db> {
  const file = settings.databaseUrl.replace(/^file:/, "");
  if (settings.databaseUrl.startsWith("file:") && file !== ":memory:")
    mkdirSync(path.dirname(path.resolve(file)), { recursive: true });
  return openDatabase(settings.databaseUrl);
}

/**
 * Serves until the process is told to stop (SIGINT or SIGTERM): then no new request is taken, running ones finish,
 * fits that nobody waits for are given up, and the database is closed last.
 *
 * @returns the address served, once it accepts requests
 * @throws {Error} if the address cannot be used
 */
export async function startService({
  settings,
  db,
  clock = () => new Date(),
}: {
  settings: Settings;
  db?: Db;
  clock?: () => Date;
}): Promise<string> {
  const log = makeLog(settings.logLevel, (line) => process.stderr.write(line), clock);
  const database = db ?? (await openConfigured(settings));
  const { corsOrigins, rateLimit, publicUrl } = settings;
  const onFault = faultLogger(log);
  const pool = startFitPool();
  const models = new LineModels({ runFit: pool.run, onFault });
  const now = () => clock().toISOString();
  const pulls = { allowPrivate: settings.pullAllowPrivate };
  const workFor = (clubId: string) => ({
    ...{ ...serviceItself(clubId), db: database, now, newId: freshId, models, pulls },
    wake: () => watch.wake(clubId),
  });
  const watch: Watch = new Watch({ workFor, onFault });
  const onChange = (clubId: string) => watch.wake(clubId);
  const asSet = { corsOrigins, rateLimit, pulls, publicUrl };
  const app = buildApp({ db: database, clock, log, models, onChange, ...asSet });
  const server = serve({ fetch: app.fetch, port: settings.port, hostname: settings.host });
  await new Promise<void>((resolve, reject) => {
    server.once("listening", resolve);
    server.once("error", reject);
  });
  const bound = server.address();
  const port = typeof bound === "object" && bound !== null ? bound.port : settings.port;
  const address = `http://${settings.host.includes(":") ? `[${settings.host}]` : settings.host}:${port}`;
  log("info", "serving", { address, database: settings.databaseUrl });
  watch.start(() => selectClubIds(database));
  const pullTimer = startPullTimer(workFor, onFault);
  // Fits that are not finished are given up: they are a cache, and the next answer makes them again.
  const finish = async () => {
    await pullTimer.stop();
    await watch.stop();
    await pool.close();
    await models.settled();
    await database.destroy();
  };
  const stop = (signal: string) => {
    log("info", "stopping", { signal });
    server.close(() => {
      finish().then(
        () => log("info", "stopped"),
        (error: unknown) => log("error", "not stopped well", { error: String(error) }),
      );
    });
    setTimeout(() => "closeAllConnections" in server && server.closeAllConnections(), graceMs).unref();
  };
  process.once("SIGINT", stop);
  process.once("SIGTERM", stop);
  return address;
}
