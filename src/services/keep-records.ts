import {
  type Conditions,
  deleteRecord,
  getRecord,
  insertRecord,
  type Page,
  type PageRequest,
  pageOfRecords,
  type RecordTable,
  updateRecord,
} from "../storage/records.ts";
import type { Tables } from "../storage/tables.ts";
import type { Work } from "./work.ts";

type Kept = {
  [T in RecordTable]: Tables[T] extends { createdAt: string; version: number } ? T : never;
}[RecordTable];

/** What a caller gives for a record: all but what the service sets. */
type Given<T extends Kept> = Omit<Tables[T], "id" | "clubId" | "createdAt" | "version">;

/** A record of another table that a new value refers to: it must exist in the same club. */
export type Reference = [table: RecordTable, id: string | null | undefined, what: string];

/**
 * Checks that everything a record refers to exists in this club: a foreign key alone would accept another club's rows.
 *
 * @throws {DomainError} `not_found`, naming the first that is unknown
 */
export async function requireReferences(work: Work, references: readonly Reference[]): Promise<void> {
  for (const [table, id, what] of references)
    if (id !== null && id !== undefined) await getRecord(work.db, table, work.actor.clubId, id, what);
}

/** Makes a record of a club. */
export async function makeRecord<T extends Kept>(
  work: Work,
  table: T,
  what: string,
  given: Given<T>,
  references: readonly Reference[] = [],
): Promise<Tables[T]> {
  await requireReferences(work, references);
  const kept = { id: work.newId(), clubId: work.actor.clubId, createdAt: work.now(), version: 1 };
  const row = { ...given, ...kept } as unknown as Tables[T];
  await insertRecord(work.db, table, row, what);
  return row;
}

export const readRecord = <T extends RecordTable>(work: Work, table: T, what: string, id: string) =>
  getRecord(work.db, table, work.actor.clubId, id, what);

export const listRecords = <T extends RecordTable>(
  work: Work,
  table: T,
  page: PageRequest,
  conditions: Conditions<Tables[T]> = {},
  sort: keyof Tables[T] & string = "id",
): Promise<Page<Tables[T]>> => pageOfRecords(work.db, table, work.actor.clubId, page, conditions, sort);

/** Changes the members given and leaves the others; undefined members are not given. */
export async function changeRecord<T extends Kept>(
  work: Work,
  table: T,
  what: string,
  id: string,
  changes: { [K in keyof Given<T>]?: Given<T>[K] | undefined },
  references: readonly Reference[] = [],
): Promise<Tables[T]> {
  await requireReferences(work, references);
  const given = Object.fromEntries(Object.entries(changes).filter(([, value]) => value !== undefined));
  return updateRecord(work.db, table, work.actor.clubId, id, given as Partial<Tables[T]>, what);
}

export const removeRecord = (work: Work, table: RecordTable, what: string, id: string): Promise<void> =>
  deleteRecord(work.db, table, work.actor.clubId, id, what);
