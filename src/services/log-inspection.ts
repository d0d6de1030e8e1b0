import { DomainError, type Fault } from "../domain/errors.ts";
import type { Kind } from "../domain/kind.ts";
import { belowZero } from "../domain/piece-size.ts";
import { requirePast } from "../domain/moment.ts";
import type { Finding, ServiceWord } from "../domain/piece.ts";
import { beforeFirstReading, plausibleWear, questionReading } from "../domain/question-reading.ts";
import { convertUnit } from "../domain/units.ts";
import {
  deleteInspectionRows,
  insertInspection,
  selectLastReadings,
  selectReadingsOf,
} from "../storage/inspections.ts";
import { getRecord, type Page, type PageRequest, pageOfRecords } from "../storage/records.ts";
import type { InspectionRow, PieceRow, ReadingRow } from "../storage/tables.ts";
import { countEvidenceOfPiece, selectRunsOfPiece } from "../storage/usage.ts";
import { asSentence } from "./in-words.ts";
import { requireConsistent } from "./keep-kinds.ts";
import { getOwnPiece, lineAndKind, notePiece } from "./keep-pieces.ts";
import { overridesOf } from "./line-overrides.ts";
import { together, type Work } from "./work.ts";

export interface GivenReading {
  value: number;
  unit: string;
  /** one of the kind's instruments; the first of them if null */
  instrument: string | null;
}
export interface GivenInspection {
  at: string;
  readings: GivenReading[];
  grade: number | null;
  findings: Finding[];
  services: ServiceWord[];
  notes: string | null;
  /** the person looked again at a reading that was questioned, and stands by it */
  confirmed: boolean;
}

const inspectionFrom = (row: InspectionRow, readings: readonly ReadingRow[]) => ({
  ...row,
  findings: JSON.parse(row.findings) as Finding[],
  services: JSON.parse(row.services) as ServiceWord[],
  readings: readings
    .filter((reading) => reading.inspectionId === row.id)
    .map((reading) => ({ ...reading, confirmed: reading.confirmed === 1 })),
});
export type Inspection = ReturnType<typeof inspectionFrom>;

/** The kind's instrument of that name, or its usual one. @throws {DomainError} `wrong_kind` or `unit_unknown` */
export function instrumentOf(kind: Kind, name: string | null) {
  if (kind.measure === null)
    throw new DomainError(
      "wrong_kind",
      `A ${kind.name} is not measured: give a grade from 0 (as new) to 4 (unfit)`,
    );
  const { instruments } = kind.measure;
  const found = name === null ? instruments[0] : instruments.find((one) => one.name === name);
  if (found === undefined)
    throw new DomainError(
      "unit_unknown",
      `A ${kind.name} is measured with ${instruments.map((one) => `"${one.name}"`).join(" or ")}, not "${name}"`,
    );
  return found;
}

async function readingsFor(work: Work, piece: PieceRow, given: GivenInspection, inspectionId: string) {
  const { line, kind } = await lineAndKind(work, piece.lineId);
  const last = await selectLastReadings(work.db, piece.id, given.at, 4);
  const inQuestion = { kind, lineAsNew: line.asNew, asNew: piece.asNew, priorUsage: piece.priorUsage };
  const earlier =
    last.length > 0 ? last.map(({ value, sd }) => ({ value, sd })) : beforeFirstReading(inQuestion);
  const since = last.at(-1)?.at;
  const runs = await selectRunsOfPiece(work.db, piece.id, since ?? "");
  const used = runs.filter((run) => run.at <= given.at);
  const plausible = plausibleWear(inQuestion, used, since === undefined);
  const limits = overridesOf(line).limits ?? kind.limits;
  const faults: Fault[] = [];
  const impossible: Fault[] = [];
  const rows: ReadingRow[] = [];
  for (const [i, reading] of given.readings.entries()) {
    const { name, repeatabilitySd } = instrumentOf(kind, reading.instrument);
    const measure = kind.measure!;
    const value = convertUnit(reading.value, reading.unit, measure.unit);
    const negative = belowZero(measure, limits, value);
    if (negative !== null) impossible.push({ pointer: `#/readings/${i}/value`, detail: negative });
    const entered = { value: reading.value, unit: reading.unit };
    const question = { value, sd: repeatabilitySd, entered, measure, earlier, plausibleWear: plausible };
    for (const detail of questionReading(question)) faults.push({ pointer: `#/readings/${i}/value`, detail });
    rows.push({
      id: work.newId(),
      clubId: work.actor.clubId,
      inspectionId,
      pieceId: piece.id,
      at: given.at,
      value,
      sd: repeatabilitySd,
      instrument: name,
      enteredValue: reading.value,
      enteredUnit: reading.unit,
      confirmed: given.confirmed ? 1 : 0,
    });
  }
  requireConsistent(impossible);
  if (faults.length > 0 && !given.confirmed)
    throw new DomainError(
      "reading_questioned",
      `${asSentence(faults[0]!.detail)} Look again; if it is right, send it once more with "confirmed": true. Nothing was saved.`,
      faults,
    );
  return rows;
}

/** What the feed tells of an inspection. @param values the readings, in the unit of the kind */
export const toldOf = (
  { id, at, grade, findings }: Pick<GivenInspection, "at" | "findings"> & Pick<InspectionRow, "id" | "grade">,
  values: readonly number[],
) => ({ inspectionId: id, at, grade, findings, readings: values });

/** Logs one look at a piece: readings, a grade, what was found and what was done. */
export const logInspection = (work: Work, pieceId: string, given: GivenInspection): Promise<Inspection> =>
  together(work, async (work) => {
    requirePast(work.now(), given.at, "An inspection");
    const piece = await getOwnPiece(work, pieceId);
    const id = work.newId();
    const readings = await readingsFor(work, piece, given, id);
    const row: InspectionRow = {
      id,
      clubId: work.actor.clubId,
      pieceId,
      at: given.at,
      grade: given.grade,
      findings: JSON.stringify(given.findings),
      services: JSON.stringify(given.services),
      notes: given.notes,
      version: 1,
    };
    await insertInspection(work.db, row, readings);
    if (readings.length > 0 || given.grade !== null) await countEvidenceOfPiece(work.db, pieceId);
    const values = readings.map(({ value }) => value);
    await notePiece(work, "piece.inspected", piece, toldOf({ ...given, id }, values));
    return inspectionFrom(row, readings);
  });

export async function readInspection(work: Work, id: string): Promise<Inspection> {
  const row = await getRecord(work.db, "inspections", work.actor.clubId, id, "inspection");
  await getOwnPiece(work, row.pieceId);
  return inspectionFrom(row, await selectReadingsOf(work.db, [id]));
}

export async function listInspections(
  work: Work,
  pieceId: string,
  page: PageRequest,
): Promise<Page<Inspection>> {
  await getOwnPiece(work, pieceId);
  const { items, next } = await pageOfRecords(
    work.db,
    "inspections",
    work.actor.clubId,
    page,
    { pieceId },
    "at",
  );
  const readings = await selectReadingsOf(
    work.db,
    items.map((row) => row.id),
  );
  return { items: items.map((row) => inspectionFrom(row, readings)), next };
}

/** Deletes an inspection that was logged wrongly; log the right one instead. */
export const deleteInspection = (work: Work, id: string): Promise<void> =>
  together(work, async (work) => {
    const { pieceId } = await readInspection(work, id);
    await deleteInspectionRows(work.db, id);
    await countEvidenceOfPiece(work.db, pieceId);
    await notePiece(work, "piece.inspection-deleted", await getOwnPiece(work, pieceId), { inspectionId: id });
  });
