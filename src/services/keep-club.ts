import type { Role } from "../domain/access.ts";
import { DomainError } from "../domain/errors.ts";
import { firstClub, insertClub, selectClub, updateClub } from "../storage/clubs.ts";
import type { Db } from "../storage/database.ts";
import { allKeys, insertKey, makeKey, revokeKey } from "../storage/keys.ts";
import { getRecord } from "../storage/records.ts";
import type { ClubRow } from "../storage/tables.ts";
import { addShippedKinds } from "./keep-kinds.ts";
import type { Work } from "./work.ts";

export const readClub = (work: Work): Promise<ClubRow> => selectClub(work.db, work.actor.clubId);

export function changeClub(
  work: Work,
  changes: { [K in "name" | "currency" | "timeZone"]?: string | undefined },
): Promise<ClubRow> {
  return updateClub(work.db, work.actor.clubId, changes);
}

/**
 * Founds a club, with the kinds that the trade knows. A database without a club gets one when its first key is made.
 */
export async function foundClub(
  db: Db,
  made: { id: string; name: string; currency: string; timeZone: string; at: string; newId: () => string },
): Promise<ClubRow> {
  const { id, name, currency, timeZone, at, newId } = made;
  const club = { id, name, currency, timeZone, createdAt: at, version: 1 };
  await db.transaction().execute(async (trx) => {
    await insertClub(trx, club);
    await addShippedKinds(trx, id, at, newId);
  });
  return club;
}

/**
 * Makes a key and returns it; only its hash is kept, so that this is the one time it can be read.
 *
 * @throws {DomainError} `not_found` where a driver's key names an unknown driver
 */
export async function issueKey(
  db: Db,
  wanted: { name: string; role: Role; driverId: string | null },
  at: string,
  newId: () => string,
): Promise<string> {
  const club =
    (await firstClub(db)) ??
    (await foundClub(db, { id: newId(), name: "Our club", currency: "AUD", timeZone: "UTC", at, newId }));
  if (wanted.role === "driver" && wanted.driverId === null)
    throw new DomainError("not_allowed", "A driver's key needs --driver with the driver's id");
  if (wanted.driverId !== null) await getRecord(db, "drivers", club.id, wanted.driverId, "driver");
  const key = makeKey();
  const driverId = wanted.role === "driver" ? wanted.driverId : null;
  await insertKey(db, key, {
    id: newId(),
    clubId: club.id,
    name: wanted.name,
    role: wanted.role,
    driverId,
    createdAt: at,
  });
  return key;
}

/** The keys given out, without their secrets. */
export const listKeys = (db: Db) => allKeys(db);

/** Ends a key: from the next request on it is unknown. @throws {DomainError} `not_found` */
export async function endKey(db: Db, id: string, at: string): Promise<void> {
  if (!(await revokeKey(db, id, at)))
    throw new DomainError("not_found", `No key with id ${id} holds; the list of keys shows their ids`);
}
