import type { Change } from "../domain/change.ts";
import { DomainError } from "../domain/errors.ts";
import { noteChanges, noteImport } from "./note-change.ts";
import type { Work } from "./work.ts";

/** What became of the rows of an import: kept and already there add up to read. */
export interface ImportCounts {
  rowsRead: number;
  rowsKept: number;
  rowsAlreadyThere: number;
}

/** What an import did: its counts, and what it tells of each thing that it added or changed, as the single calls do. */
export interface Kept extends ImportCounts {
  changes: Iterable<Change>;
}

/** Ends a transaction whose outcome was only to be known. */
class OnlyTried extends Error {
  readonly counts: ImportCounts;
  constructor(counts: ImportCounts) {
    super("dry run");
    this.counts = counts;
  }
}

/**
 * Keeps all of a table, or none of it. Everything was read before, so that nobody's slow line holds the transaction.
 * A dry run does the same and takes it back. The feed of changes is told what was added or changed, and then that the
 * import has finished.
 *
 * @param table the name of what is imported, as in its path
 */
export async function keepTogether(
  work: Work,
  table: string,
  dryRun: boolean,
  keep: (work: Work) => Promise<Kept>,
): Promise<ImportCounts> {
  const kept = async (work: Work) => {
    const { changes, ...counts } = await keep(work);
    if (counts.rowsKept === 0 || dryRun) return counts;
    await noteChanges(work, changes);
    await noteImport(work, table, counts);
    return counts;
  };
  if (work.db.isTransaction && !dryRun) return kept(work);
  try {
    return await work.db.transaction().execute(async (trx) => {
      const counts = await kept({ ...work, db: trx });
      if (dryRun) throw new OnlyTried(counts);
      return counts;
    });
  } catch (error) {
    if (error instanceof OnlyTried) return error.counts;
    throw error;
  }
}

/** A shop's key reaches shelves, so that the log is none of its business. @throws {DomainError} `not_allowed` */
export function requireLogReach(work: Work): void {
  if (work.reach === "shelf")
    throw new DomainError("not_allowed", "The shop's key imports stock of its shelves only");
}

/** May rows of this driver be imported? */
export const reachesDriver = (work: Work, driverId: string | null): boolean =>
  work.reach === "all" || (work.reach === "own" && driverId === work.actor.driverId);
export const notOwn = "belongs to another driver, and a driver's key imports their own rows only";
