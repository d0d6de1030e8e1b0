import { DomainError } from "../domain/errors.ts";
import type { DriverRow } from "../storage/tables.ts";
import { changeRecord, makeRecord } from "./keep-records.ts";
import { requireOwn, type Work } from "./work.ts";

/** A driver as it is shown. */
export const driverFromRow = (row: DriverRow) => ({ ...row, sharesDemand: row.sharesDemand === 1 });

/** A driver as this key may see them: what is noted of a driver is for that driver and those who see the whole log. */
export const driverSeenBy =
  ({ actor: { role, driverId } }: Work) =>
  (row: DriverRow) => ({
    ...driverFromRow(row),
    notes: role === "owner" || role === "reader" || driverId === row.id ? row.notes : null,
  });

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
