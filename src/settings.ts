/** What the environment may set. Each has a default, so that `npm start` needs nothing. */
export interface Settings {
  port: number;
  host: string;
  databaseUrl: string;
  logLevel: LogLevel;
}
export const logLevels = ["debug", "info", "warn", "error", "silent"] as const;
export type LogLevel = (typeof logLevels)[number];

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
  return {
    port: Number(port),
    host: environment["HOST"] ?? "127.0.0.1",
    databaseUrl: environment["DATABASE_URL"] ?? "file:data/club.db",
    logLevel: logLevel as LogLevel,
  };
}
