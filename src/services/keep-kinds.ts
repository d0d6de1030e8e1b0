import { shippedKinds } from "../../seeds/index.ts";
import { DomainError, type Fault } from "../domain/errors.ts";
import type { Clock, Kind, KindDetails } from "../domain/kind.ts";
import { kindFaults } from "../domain/kind-rules.ts";
import type { Queries } from "../storage/database.ts";
import { countEvidenceOfLines, isKindMeasured } from "../storage/lines.ts";
import { allRecords, getRecord, insertRecord, updateRecord } from "../storage/records.ts";
import type { KindRow } from "../storage/tables.ts";
import { makeRecord } from "./keep-records.ts";
import { noteChange } from "./note-change.ts";
import { together, type Work } from "./work.ts";

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

/** Refuses values that contradict each other, naming each. @throws {DomainError} `inconsistent` */
export function requireConsistent(faults: readonly Fault[]): void {
  const [first] = faults;
  if (first !== undefined)
    throw new DomainError("inconsistent", `${first.pointer.slice(2)} ${first.detail}`, faults);
}

async function requireKnownMate(work: Work, q: Queries, code: string | null): Promise<void> {
  if (code === null) return;
  const found = await allRecords(q, "kinds", work.actor.clubId, { code });
  if (found.length === 0)
    requireConsistent([{ pointer: "#/mateCode", detail: `must be the code of a kind; there is no ${code}` }]);
}

/** Adds a kind of the club's own. @throws {DomainError} `inconsistent` or `name_taken` */
export async function addKind(work: Work, given: { code: string; name: string; clock: Clock } & KindDetails) {
  const { code, name, clock, ...details } = given;
  requireConsistent(kindFaults(given));
  if (details.mateCode !== code) await requireKnownMate(work, work.db, details.mateCode);
  const row = { code, name, clock, shipped: 0, details: JSON.stringify(details) };
  return kindFromRow(await makeRecord(work, "kinds", "kind", row));
}

/**
 * Changes the members given; the clock stays, for the readings logged so far were counted on it, and so do unit and
 * direction once a piece was measured. Every fit of the kind's lines is then out of date.
 *
 * @throws {DomainError} `not_found`, `inconsistent`, or `in_use` where readings rest on what was to change
 */
export const changeKind = (
  work: Work,
  id: string,
  changes: { name?: string | undefined } & { [K in keyof KindDetails]?: KindDetails[K] | undefined },
) =>
  together(work, async ({ db: trx }) => {
    const { clubId } = work.actor;
    const { name, ...details } = changes;
    const { code, clock, details: kept } = await getRecord(trx, "kinds", clubId, id, "kind");
    const given = Object.fromEntries(Object.entries(details).filter(([, value]) => value !== undefined));
    const before = JSON.parse(kept) as KindDetails;
    const merged: KindDetails = { ...before, ...given };
    requireConsistent(kindFaults({ ...merged, clock }));
    if (merged.mateCode !== code) await requireKnownMate(work, trx, merged.mateCode);
    const settled = ({ measure }: KindDetails) => `${measure?.unit} ${measure?.direction}`;
    if (settled(before) !== settled(merged) && (await isKindMeasured(trx, id)))
      throw new DomainError(
        "in_use",
        `Pieces of ${code} were measured already, so its unit and direction stay; add a kind of another code`,
      );
    await countEvidenceOfLines(trx, clubId, { kindId: id });
    const row = { ...(name === undefined ? {} : { name }), details: JSON.stringify(merged) };
    const kind = await updateRecord(trx, "kinds", clubId, id, row, "kind");
    await noteChange(
      { ...work, db: trx },
      {
        type: "kind.changed",
        subject: { kind: "kind", id },
        audience: "everyone",
        data: { code, name: kind.name, changed: Object.keys(given) },
      },
    );
    return kindFromRow(kind);
  });
