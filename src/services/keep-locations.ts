import { DomainError } from "../domain/errors.ts";
import { updateRecord } from "../storage/records.ts";
import type { LocationRow } from "../storage/tables.ts";
import { makeRecord } from "./keep-records.ts";
import { requireLocation, requireVisibleLocation } from "./reach-locations.ts";
import { requireOwn, type Work } from "./work.ts";

const refuse = (pointer: string, detail: string): never => {
  throw new DomainError("inconsistent", `${pointer.slice(2)} ${detail}`, [{ pointer, detail }]);
};

/**
 * Adds a place where pieces lie. A home or a pit box is a driver's: the key's own unless another is named. A shelf is
 * the club's.
 *
 * @throws {DomainError} `not_allowed`, `inconsistent` or `not_found`
 */
export async function addLocation(
  work: Work,
  given: { name: string; sort: LocationRow["sort"]; driverId?: string | null | undefined },
): Promise<LocationRow> {
  const { name, sort } = given;
  if (work.reach === "shelf" && sort !== "shelf")
    throw new DomainError(
      "not_allowed",
      "The shop's key adds shelves only; a driver adds homes and pit boxes",
    );
  if (sort === "shelf") {
    if (work.reach === "own")
      throw new DomainError("not_allowed", "A driver's key adds a home or a pit box; shelves are the club's");
    if (typeof given.driverId === "string")
      return refuse("#/driverId", "must be left out: a shelf is the club's");
    return makeRecord(work, "locations", "location", { name, sort, driverId: null });
  }
  const driverId = given.driverId ?? work.actor.driverId;
  if (driverId === null) return refuse("#/driverId", `must name the driver whose ${sort} it is`);
  requireOwn(work, driverId, "a location");
  return makeRecord(work, "locations", "location", { name, sort, driverId }, [
    ["drivers", driverId, "driver"],
  ]);
}

/** Renames a location; what it is and whose it is stay, for its movements were made there. */
export async function renameLocation(work: Work, id: string, name: string | undefined): Promise<LocationRow> {
  const location = await requireLocation(work, work.db, id);
  if (name === undefined) return location;
  return updateRecord(work.db, "locations", work.actor.clubId, id, { name }, "location");
}

/** A location whose levels may be read. @throws {DomainError} `not_found` or `not_allowed` */
export const readLocation = (work: Work, id: string): Promise<LocationRow> =>
  requireVisibleLocation(work, work.db, id);
