import { type LogLevel, logLevels } from "./settings.ts";

export type Log = (
  level: Exclude<LogLevel, "silent">,
  event: string,
  members?: Record<string, unknown>,
) => void;

/** One line of JSON per event on standard error: time, level, event, and what else is known. */
export function makeLog(least: LogLevel, write: (line: string) => void, clock: () => Date): Log {
  const threshold = logLevels.indexOf(least);
  return (level, event, members = {}) => {
    if (logLevels.indexOf(level) < threshold) return;
    write(`${JSON.stringify({ at: clock().toISOString(), level, event, ...members })}\n`);
  };
}
