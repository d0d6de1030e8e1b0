import { DomainError } from "../domain/errors.ts";
import type { Queries } from "../storage/database.ts";
import { allRecords, getRecord, type Page, type PageRequest } from "../storage/records.ts";
import type { LocationRow } from "../storage/tables.ts";
import { requireDriver } from "./keep-drivers.ts";
import type { Work } from "./work.ts";

/**
 * Which locations somebody may touch: an owner all, a driver their own, the shop its shelves. What lies on a shelf
 * may be read by drivers too, for they buy there; how it moved is the shop's business.
 */
const mayMove = ({ reach, actor }: Work, location: LocationRow): boolean =>
  reach === "all" ||
  (reach === "own" && location.driverId !== null && location.driverId === actor.driverId) ||
  (reach === "shelf" && location.sort === "shelf");

const maySee = (work: Work, location: LocationRow): boolean =>
  mayMove(work, location) || (work.reach === "own" && location.sort === "shelf");

const whose = (work: Work) =>
  work.reach === "shelf" ? "the shop's key reaches shelves only" : "a driver's key reaches their own only";

/**
 * The location, for somebody who wants to move stock there, or to read how it moved.
 *
 * @throws {DomainError} `not_found`, or `not_allowed` where it is out of reach
 */
export async function requireLocation(work: Work, q: Queries, id: string): Promise<LocationRow> {
  const location = await getRecord(q, "locations", work.actor.clubId, id, "location");
  if (!mayMove(work, location))
    throw new DomainError("not_allowed", `The location "${location.name}" is out of reach: ${whose(work)}`);
  return location;
}

/** The same for somebody who wants to read what lies there. @throws {DomainError} as `requireLocation` */
export async function requireVisibleLocation(work: Work, q: Queries, id: string): Promise<LocationRow> {
  const location = await getRecord(q, "locations", work.actor.clubId, id, "location");
  if (!maySee(work, location))
    throw new DomainError("not_allowed", `The location "${location.name}" is out of reach: ${whose(work)}`);
  return location;
}

/** All locations whose levels may be read. */
export const visibleLocations = async (work: Work, q: Queries): Promise<LocationRow[]> =>
  (await allRecords(q, "locations", work.actor.clubId)).filter((location) => maySee(work, location));

/** All locations that may be moved at. */
export const reachableLocations = async (work: Work, q: Queries): Promise<LocationRow[]> =>
  (await allRecords(q, "locations", work.actor.clubId)).filter((location) => mayMove(work, location));

/**
 * A page of the locations whose levels may be read, in the order in which they were added.
 *
 * @throws {DomainError} `not_allowed` or `not_found` where the driver asked for is out of reach or unknown
 */
export async function listLocations(
  work: Work,
  { limit, after }: PageRequest,
  only: { sort?: LocationRow["sort"] | undefined; driverId?: string | undefined },
): Promise<Page<LocationRow>> {
  if (only.driverId !== undefined) await requireDriver(work, only.driverId, "the locations");
  // A club has few locations, so that reach is decided here and not once more in SQL.
  const rows = (await visibleLocations(work, work.db))
    .filter(({ sort }) => only.sort === undefined || sort === only.sort)
    .filter(({ driverId }) => only.driverId === undefined || driverId === only.driverId)
    .filter(({ id }) => after === null || id > after.id);
  const items = rows.slice(0, limit);
  const last = items.at(-1);
  return { items, next: rows.length > limit && last !== undefined ? { key: last.id, id: last.id } : null };
}
