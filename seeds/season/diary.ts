import type { SeasonEvent } from "../events.ts";

/** Events as they come up, put into the order of time at the end; at one moment, in the order written. */
export interface Diary {
  write: (event: SeasonEvent) => void;
  inOrder: () => SeasonEvent[];
}

export function newDiary(): Diary {
  const events: SeasonEvent[] = [];
  return {
    write: (event) => void events.push(event),
    // The sort is stable (ECMAScript 2019), and times in UTC with milliseconds sort as text.
    inOrder: () => [...events].sort((a, b) => (a.at < b.at ? -1 : a.at > b.at ? 1 : 0)),
  };
}

export const minutesMs = 60_000;
export const hoursMs = 3_600_000;
export const daysMs = 86_400_000;

export const stamp = (ms: number): string => new Date(ms).toISOString();
export const dayOf = (ms: number): string => stamp(ms).slice(0, 10);
/** Midnight UTC, which is ten in the morning at the club. */
export const msOf = (day: string): number => Date.parse(`${day}T00:00:00.000Z`);
