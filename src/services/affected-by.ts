import type { ChangeType } from "../domain/change.ts";
import { selectChanges, selectCrossings } from "../storage/changes.ts";
import { allRecords, findRecord } from "../storage/records.ts";
import type { ChangeRow } from "../storage/tables.ts";
import { selectFittingsOfPiece } from "../storage/usage.ts";
import type { Work } from "./work.ts";

/** What has to be looked at anew: cars with all that is fitted, loose pieces, and lines in the stock of a driver or of the club. */
export interface Affected {
  carIds: ReadonlySet<string>;
  pieceIds: ReadonlySet<string>;
  lines: readonly LineInStock[];
}
/** A line in the stock of a driver, or of the club as a whole where that is null. */
export interface LineInStock {
  lineId: string;
  driverId: string | null;
}

/** What no threshold follows from: above all what the watch itself has told. */
const untouching: ReadonlySet<ChangeType> = new Set([
  "piece.near-limit",
  "piece.clear-of-limit",
  "car.not-ready",
  "car.ready",
  "line.below-reorder-point",
  "line.above-reorder-point",
  "line.added",
]);

interface Told {
  carId?: string;
  lineId?: string;
  locationId?: string;
  packIds?: string[];
  lines?: { lineId: string }[];
}

class Gathering {
  readonly carIds = new Set<string>();
  readonly pieceIds = new Set<string>();
  readonly #lines = new Map<string, LineInStock>();
  addLine(lineId: string, driverId: string | null): void {
    this.#lines.set(`${lineId} ${driverId}`, { lineId, driverId });
  }
  get lines() {
    return [...this.#lines.values()];
  }
}

async function gather(work: Work, found: Gathering, row: ChangeRow): Promise<void> {
  const told = JSON.parse(row.data) as Told;
  for (const packId of told.packIds ?? []) found.pieceIds.add(packId);
  if (row.subjectKind === "car") found.carIds.add(row.subjectId);
  if (row.subjectKind === "piece") {
    if (told.carId !== undefined) found.carIds.add(told.carId);
    const fittings = await selectFittingsOfPiece(work.db, row.subjectId);
    const now = fittings.find(({ removedAt }) => removedAt === null);
    if (now === undefined) found.pieceIds.add(row.subjectId);
    else found.carIds.add(now.carId);
    // What was measured, fitted or retired changes what the driver will need of the line.
    if (told.lineId !== undefined) found.addLine(told.lineId, row.driverId);
  }
  if (row.subjectKind === "line") found.addLine(row.subjectId, row.driverId);
  for (const { lineId } of told.lines ?? []) found.addLine(lineId, row.driverId);
}

/** What the changes after one position and through another affect; at most `limit` of them are looked at. */
export async function affectedBy(
  work: Work,
  { after, head, limit }: { after: number; head: number; limit: number },
): Promise<Affected> {
  const rows = await selectChanges(work.db, work.actor.clubId, { after, limit, seen: { reach: "all" } });
  const found = new Gathering();
  for (const row of rows)
    if (row.position <= head && !untouching.has(row.type as ChangeType)) await gather(work, found, row);
  const farReaching = rows.some(
    ({ type, subjectKind }) =>
      type === "import.finished" || subjectKind === "meeting" || subjectKind === "kind",
  );
  return farReaching ? everything(work, found) : found;
}

/**
 * All cars, and all that crossed before: for a new day, after an import, whose rows may change what is known of whole
 * lines, and where the calendar or what is believed of a kind changed.
 */
export async function everything(work: Work, found = new Gathering()): Promise<Affected> {
  const { clubId } = work.actor;
  for (const car of await allRecords(work.db, "cars", clubId)) found.carIds.add(car.id);
  for (const { subjectKind, subjectId, driverId } of await selectCrossings(work.db, clubId)) {
    if (subjectKind === "line") found.addLine(subjectId, driverId === "" ? null : driverId);
    if (subjectKind !== "piece") continue;
    const piece = await findRecord(work.db, "pieces", clubId, subjectId);
    if (piece !== undefined) found.pieceIds.add(subjectId);
  }
  return found;
}
