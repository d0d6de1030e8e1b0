import { shippedKinds } from "../../seeds/index.ts";
import type { Clock, Kind, KindDetails } from "../domain/kind.ts";
import type { Queries } from "../storage/database.ts";
import { getRecord, insertRecord } from "../storage/records.ts";
import type { KindRow } from "../storage/tables.ts";
import { changeRecord, makeRecord } from "./keep-records.ts";
import type { Work } from "./work.ts";

/** A kind as the trade speaks of it, from its row. */
export const kindFromRow = (row: KindRow): Kind & { createdAt: string; version: number } => ({
  ...(JSON.parse(row.details) as KindDetails),
  id: row.id,
  code: row.code,
  name: row.name,
  clock: row.clock,
  shipped: row.shipped === 1,
  createdAt: row.createdAt,
  version: row.version,
});

/** Gives a new club the kinds that ship with the service; it may change them and add its own. */
export async function addShippedKinds(
  q: Queries,
  clubId: string,
  at: string,
  newId: () => string,
): Promise<void> {
  for (const { code, name, clock, ...details } of shippedKinds) {
    const row = { id: newId(), clubId, code, name, clock, shipped: 1, createdAt: at, version: 1 };
    await insertRecord(q, "kinds", { ...row, details: JSON.stringify(details) }, "kind");
  }
}

export async function addKind(work: Work, given: { code: string; name: string; clock: Clock } & KindDetails) {
  const { code, name, clock, ...details } = given;
  const row = { code, name, clock, shipped: 0, details: JSON.stringify(details) };
  return kindFromRow(await makeRecord(work, "kinds", "kind", row));
}

/** Changes the members given; the clock stays, for the readings logged so far were counted on it. */
export async function changeKind(
  work: Work,
  id: string,
  changes: { name?: string | undefined } & { [K in keyof KindDetails]?: KindDetails[K] | undefined },
) {
  const { name, ...details } = changes;
  const before = await getRecord(work.db, "kinds", work.actor.clubId, id, "kind");
  const given = Object.fromEntries(Object.entries(details).filter(([, value]) => value !== undefined));
  const merged = JSON.stringify({ ...(JSON.parse(before.details) as KindDetails), ...given });
  return kindFromRow(await changeRecord(work, "kinds", "kind", id, { name, details: merged }));
}
