import { isIP } from "node:net";

/** What the environment may set. Each has a default, so that `npm start` needs nothing. */
export interface Settings {
  port: number;
  host: string;
  databaseUrl: string;
  logLevel: LogLevel;
  /** origins whose pages may use the API from a browser; "*" for any */
  corsOrigins: readonly string[];
  /** requests a minute that each key may make; 0 for any number */
  rateLimit: number;
  /** from which addresses of one's own network shops' lists may be fetched: all, none, or these */
  pullAllowPrivate: boolean | readonly string[];
  /** where the service is reached from outside, with a slash at the end; as each request says if undefined */
  publicUrl: string | undefined;
}
export const logLevels = ["debug", "info", "warn", "error", "silent"] as const;
export type LogLevel = (typeof logLevels)[number];

/** An origin is a scheme, a host and perhaps a port, as browsers send it: no path, no slash at the end. */
function originsFrom(list: string): string[] {
  const origins = list
    .split(",")
    .map((one) => one.trim())
    .filter((one) => one !== "");
  const isOrigin = (one: string) => URL.canParse(one) && new URL(one).origin === one && !one.includes("*");
  const wrong = origins.find((one) => one !== "*" && !isOrigin(one));
  if (wrong !== undefined)
    throw new Error(
      `CORS_ORIGINS must be origins such as https://club.example, with commas between them, or *, but has "${wrong}"`,
    );
  return origins;
}

/** An address with https:// or http://, perhaps with a path; nothing after it. */
function publicUrlFrom(address: string | undefined): string | undefined {
  if (address === undefined || address === "") return undefined;
  const url = URL.canParse(address) ? new URL(address) : null;
  if (url === null || !/^https?:$/.test(url.protocol) || `${url.search}${url.hash}${url.username}` !== "")
    throw new Error(
      `PUBLIC_URL must be an address such as https://spares.club.example/ without anything after its path, but is "${address}"`,
    );
  return url.href.endsWith("/") ? url.href : `${url.href}/`;
}

/** "true" for all, "false" for none, or addresses with commas between them. */
function addressesFrom(list: string): boolean | string[] {
  if (list === "true" || list === "false") return list === "true";
  const addresses = list.split(",").map((one) => one.trim());
  const wrong = addresses.find((one) => isIP(one) === 0);
  if (wrong !== undefined)
    throw new Error(
      `PULL_ALLOW_PRIVATE must be true, false, or addresses such as 192.168.1.20 with commas between them, but has "${wrong}"`,
    );
  return addresses;
}

/**
 * Reads the settings from environment variables.
 *
 * @throws {Error} that names the variable, its value and what it may be
 */
export function settingsFrom(environment: Record<string, string | undefined>): Settings {
  const port = environment["PORT"] ?? "8377";
  if (!/^\d{1,5}$/.test(port) || Number(port) > 65_535)
    throw new Error(`PORT must be a number from 0 to 65535, but is "${port}"`);
  const logLevel = environment["LOG_LEVEL"] ?? "info";
  if (!logLevels.includes(logLevel as LogLevel))
    throw new Error(`LOG_LEVEL must be one of ${logLevels.join(", ")}, but is "${logLevel}"`);
  const rateLimit = environment["RATE_LIMIT"] ?? "6000";
  if (!/^\d{1,9}$/.test(rateLimit))
    throw new Error(
      `RATE_LIMIT must be a whole number of requests a minute, or 0 for any, but is "${rateLimit}"`,
    );
  return {
    port: Number(port),
    host: environment["HOST"] ?? "127.0.0.1",
    databaseUrl: environment["DATABASE_URL"] ?? "file:data/club.db",
    logLevel: logLevel as LogLevel,
    corsOrigins: originsFrom(environment["CORS_ORIGINS"] ?? ""),
    rateLimit: Number(rateLimit),
    pullAllowPrivate: addressesFrom(environment["PULL_ALLOW_PRIVATE"] ?? "false"),
    publicUrl: publicUrlFrom(environment["PUBLIC_URL"]),
  };
}
