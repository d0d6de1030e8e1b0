import { DomainError } from "./errors.ts";

/** What a run says of use: its minutes wear what is fitted, its knocks shake it, its pack is charged once more. */
export interface RunUse {
  minutes: number;
  knocks: number;
  packId: string | null;
}

/**
 * What to change about a run that says nothing of use, or null where it does. Logged, it would count as an outing: for
 * parts worn by the run, and among the outings that broke nothing.
 */
export const emptyRun = ({ minutes, knocks, packId }: RunUse): string | null =>
  minutes > 0 || knocks > 0 || packId !== null
    ? null
    : "must be more than 0 where no knock was counted and no pack is named: say how long the car was under power (0.1 if it stopped at once), or leave the run out if it never drove";

/**
 * @param pointer the member of the request that says the minutes
 * @throws {DomainError} `inconsistent` for a run that says nothing of use
 */
export function requireUse(run: RunUse, pointer: string): void {
  const detail = emptyRun(run);
  if (detail !== null) throw new DomainError("inconsistent", `minutes ${detail}`, [{ pointer, detail }]);
}
