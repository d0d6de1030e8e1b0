import type { Actor, Reach } from "../domain/access.ts";
import { DomainError } from "../domain/errors.ts";
import type { Db } from "../storage/database.ts";
import type { KeptCalendar } from "./calendar-feeds.ts";
import type { FetchLimits } from "./fetch-safely.ts";
import type { LineModels } from "./line-models.ts";

/**
 * What a service needs to do one thing for somebody: the database, who asks and how far they reach, the time, and
 * new ids. Made once for each request; tests make their own with a fixed clock.
 */
export interface Work {
  db: Db;
  actor: Actor;
  reach: Reach;
  /** the present moment, RFC 3339 in UTC with milliseconds */
  now: () => string;
  /** a new id that sorts by time of making (UUID version 7, RFC 9562) */
  newId: () => string;
  /** a new secret for the address of a calendar; only requests make any */
  newToken?: () => string;
  /** the fitted lines */
  models: LineModels;
  /** limits on fetching shops' lists, where they are not the usual ones */
  pulls?: Partial<FetchLimits>;
  /** calendars that were worked out a short while ago, by the id of their feed */
  calendars?: Map<string, KeptCalendar>;
  /** where the service is reached from outside, with a slash at the end; as each request says if not given */
  publicUrl?: string;
  /** says that the feed of changes has a new entry, so that those who follow it look; nobody does if not given */
  wake?: () => void;
}

/** Who works where nobody asked: the service itself, which reaches the whole club. */
export const serviceItself = (clubId: string): Pick<Work, "actor" | "reach"> => ({
  actor: { clubId, keyId: "", name: "the service", role: "owner", driverId: null },
  reach: "all",
});

/** The driver whose rows alone may be seen, or null where the whole club may be. */
export const onlyDriver = (work: Work): string | null => (work.reach === "own" ? work.actor.driverId : null);

/**
 * Refuses to touch what belongs to another driver.
 *
 * @throws {DomainError} `not_allowed` if the actor reaches only their own rows and `driverId` is not theirs
 */
export function requireOwn(work: Work, driverId: string | null, what: string): void {
  if (work.reach === "all") return;
  if (work.reach === "own" && driverId === work.actor.driverId) return;
  const whose = work.reach === "own" ? "another driver" : "a driver";
  throw new DomainError("not_allowed", `This key may not touch ${what} of ${whose}`);
}

/**
 * Does several things in one transaction: all of them happen, or none. `act` gets the same work on that transaction
 * and must use it for every query: with SQLite's single connection, a query outside it would wait for ever.
 */
export const together = <T>(work: Work, act: (work: Work) => Promise<T>): Promise<T> =>
  work.db.isTransaction ? act(work) : work.db.transaction().execute((trx) => act({ ...work, db: trx }));
