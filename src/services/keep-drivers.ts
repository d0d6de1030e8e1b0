import { DomainError } from "../domain/errors.ts";
import type { DriverRow } from "../storage/tables.ts";
import { changeRecord, makeRecord, readRecord } from "./keep-records.ts";
import { onlyDriver, requireOwn, type Work } from "./work.ts";

/** A driver as it is shown. */
export const driverFromRow = (row: DriverRow) => ({ ...row, sharesDemand: row.sharesDemand === 1 });

/**
 * A driver as this key may see them: what is noted of a driver, and whether they share their demand, is for that driver
 * and those who see the whole log.
 */
export const driverSeenBy =
  ({ actor: { role, driverId } }: Work) =>
  (row: DriverRow) => {
    const driver = driverFromRow(row);
    const seen = role === "owner" || role === "reader" || driverId === row.id;
    return seen ? driver : { ...driver, notes: null, sharesDemand: null };
  };

/**
 * Refuses a driver whose rows may not be asked for.
 *
 * @throws {DomainError} `not_allowed` for another's, `not_found` for one whom the club does not have
 */
export async function requireDriver(work: Work, id: string, what: string): Promise<void> {
  requireOwn(work, id, what);
  await readRecord(work, "drivers", "driver", id);
}

/** The driver whose rows are asked for: the one named, or whom the key is for. @throws {DomainError} as `requireDriver` */
export async function askedDriver(work: Work, named: string | undefined): Promise<string | undefined> {
  if (named !== undefined) await requireDriver(work, named, "the things");
  return onlyDriver(work) ?? named;
}

export async function addDriver(
  work: Work,
  { sharesDemand, ...given }: { name: string; notes: string | null; sharesDemand: boolean },
) {
  return driverFromRow(
    await makeRecord(work, "drivers", "driver", { ...given, sharesDemand: sharesDemand ? 1 : 0 }),
  );
}

/**
 * Changes a driver. A driver's own key changes that driver's notes and whether their demand is shared; names are the
 * owner's to give.
 *
 * @throws {DomainError} `not_found` or `not_allowed`
 */
export async function changeDriver(
  work: Work,
  id: string,
  {
    sharesDemand,
    ...given
  }: { name?: string | undefined; notes?: string | null | undefined; sharesDemand?: boolean | undefined },
) {
  requireOwn(work, id, "the settings");
  if (work.reach !== "all" && given.name !== undefined)
    throw new DomainError(
      "not_allowed",
      "A driver's key may change the notes and what is shared, not the name",
    );
  const shared = sharesDemand === undefined ? undefined : Number(sharesDemand);
  return driverFromRow(await changeRecord(work, "drivers", "driver", id, { ...given, sharesDemand: shared }));
}
