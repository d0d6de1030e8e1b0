import { Hono } from "hono";
import type { Context } from "hono";
import { admission } from "./http/admission.ts";
import { commonHeaders } from "./http/common-headers.ts";
import { openApiDocument } from "./http/document.ts";
import { type AppEnv, mount } from "./http/operation.ts";
import { FormError, problemAnswer } from "./http/problem.ts";
import { RateLimit } from "./http/rate-limit.ts";
import { operations } from "./http/routes/index.ts";
import { serviceRoutes } from "./http/routes/service.ts";
import type { Log } from "./log.ts";
import { newId as freshId } from "./new-id.ts";
import type { KeptCalendar } from "./services/calendar-feeds.ts";
import type { FetchLimits } from "./services/fetch-safely.ts";
import { LineModels } from "./services/line-models.ts";
import type { Work } from "./services/work.ts";
import { makeFeedToken } from "./storage/calendar-feeds.ts";
import type { Db } from "./storage/database.ts";

export interface AppOptions {
  db: Db;
  /** the present moment; tests and the demo give their own */
  clock?: () => Date;
  /** makes ids that sort by time of making; tests give ids that repeat */
  newId?: () => string;
  /** makes the secret part of a calendar's address; random if not given, and tests give ones that repeat */
  newToken?: () => string;
  log?: Log;
  /** the fitted lines; fits run on the calling thread if not given */
  models?: LineModels;
  /** is called when the feed of changes of a club has a new entry */
  onChange?: (clubId: string) => void;
  /** origins whose pages may use the API from a browser; none if not given */
  corsOrigins?: readonly string[];
  /** requests a minute that each key may make; any number if not given or 0 */
  rateLimit?: number;
  /** limits on fetching shops' lists, where they are not the usual ones */
  pulls?: Partial<FetchLimits>;
  /** where the service is reached from outside, with a slash at the end; as each request says if not given */
  publicUrl?: string | undefined;
}

export const version = "0.2.0";

/** Writes an error that nobody asked about into the log. */
export const faultLogger = (log: Log) => (error: Error) =>
  log("error", "fault", { error: error.message, stack: error.stack });

/** Wires the service together: everything above the database, and nothing that reads the environment. */
export function buildApp({
  db,
  clock = () => new Date(),
  newId = freshId,
  newToken = makeFeedToken,
  log = () => {},
  models = new LineModels({ onFault: faultLogger(log) }),
  onChange,
  corsOrigins = [],
  rateLimit = 0,
  pulls = {},
  publicUrl,
}: AppOptions): Hono<AppEnv> {
  const app = new Hono<AppEnv>();
  const onFault = faultLogger(log);
  app.use(async (c, next) => {
    const started = performance.now();
    await next();
    const ms = Math.round((performance.now() - started) * 10) / 10;
    log("info", "request", { method: c.req.method, path: loggedPath(c.req.path), status: c.res.status, ms });
  });
  app.use(commonHeaders(corsOrigins));
  app.onError((error, c) => problemAnswer(error, c, onFault));
  app.notFound((c) => problemAnswer(missing(c), c, onFault));
  serviceRoutes(app, { db, document: () => openApiDocument(operations, version) });
  const calendars = new Map<string, KeptCalendar>();
  const workFor = (c: Context<AppEnv>): Work => ({
    db,
    actor: c.get("actor"),
    reach: c.get("reach"),
    now: () => clock().toISOString(),
    newId: () => newId(),
    newToken,
    models,
    ...(onChange && { wake: () => onChange(c.get("actor").clubId) }),
    pulls,
    calendars,
    ...(publicUrl !== undefined && { publicUrl }),
  });
  const limit = rateLimit === 0 ? null : new RateLimit(rateLimit);
  mount(
    app,
    operations,
    workFor,
    admission(db, limit, () => clock().getTime()),
  );
  return app;
}

/** A path as it is logged: the token in the address of a calendar lets whoever reads it subscribe. */
const loggedPath = (path: string) => path.replace(/^\/feeds\/[^/]+/, "/feeds/…");

/** A path that exists with other methods is told so, with the methods it takes (RFC 9110, 15.5.6). */
function missing(c: Context<AppEnv>): FormError {
  const matches = (path: string) => new RegExp(`^${path.replaceAll(/\{\w+\}/g, "[^/]+")}$`).test(c.req.path);
  const allowed = operations
    .filter(({ spec }) => matches(spec.path))
    .flatMap(({ spec }) => (spec.method === "get" ? ["GET", "HEAD"] : [spec.method.toUpperCase()]));
  if (allowed.length === 0)
    return new FormError("no_such_path", `There is nothing at ${c.req.path}; see /docs`);
  return new FormError("method_not_allowed", `${c.req.path} takes ${allowed.join(", ")}`, [], {
    allow: allowed.join(", "),
  });
}
