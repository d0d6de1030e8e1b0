import type { Change } from "../domain/change.ts";
import { DomainError } from "../domain/errors.ts";
import { latestMoment } from "../domain/moment.ts";
import { belowZero } from "../domain/piece-size.ts";
import { beforeFirstReading, plausibleWear, questionReading } from "../domain/question-reading.ts";
import { convertUnit } from "../domain/units.ts";
import { countEvidenceOfMany, insertRows, selectReadingsOfPieces } from "../storage/bulk.ts";
import type { InspectionRow, PieceRow, ReadingRow } from "../storage/tables.ts";
import { selectRunsOfPiece } from "../storage/usage.ts";
import { groupedBy } from "./grouped-by.ts";
import { asSentence } from "./in-words.ts";
import { type Given, moment, name, number, text, truth, Wrong, WrongAt } from "./import-cells.ts";
import { type ImportCounts, keepTogether, notOwn, reachesDriver, requireLogReach } from "./import-counts.ts";
import { Faults } from "./import-faults.ts";
import { driverNames, kindsOfLines, pieceName, pieceNames } from "./import-names.ts";
import { changeOfPiece } from "./keep-pieces.ts";
import { instrumentOf, toldOf } from "./log-inspection.ts";
import { overridesOf } from "./line-overrides.ts";
import { type Bytes, readTable, type Table, type TableForm } from "./tables-in.ts";
import type { Work } from "./work.ts";

export const readingColumns = {
  driver: name(120),
  driverId: name(64),
  mark: name(60),
  pieceId: name(64),
  at: moment,
  value: number(-1e9, 1e9),
  unit: text(20),
  instrument: name(60),
  confirmed: truth,
};
type GivenReading = Given<typeof readingColumns>;
const table: Table<typeof readingColumns> = {
  columns: readingColumns,
  unused: ["id", "inspectionId", "sd", "enteredValue", "enteredUnit", "sku"],
  needs: [["mark", "pieceId"], ["at"], ["value"], ["unit"]],
};

/** A reading that came in, with the row it stood in (counted from 0). */
interface ReadRow extends Omit<ReadingRow, "inspectionId"> {
  row: number;
}

/** How a sound row becomes a reading of a known piece, in its kind's unit. */
async function readingReader(work: Work) {
  const drivers = await driverNames(work);
  const pieces = await pieceNames(work);
  const kinds = await kindsOfLines(work);
  const latest = latestMoment(work.now());

  const pieceOf = (given: GivenReading): PieceRow | WrongAt => {
    const named = given.driver !== null || given.driverId !== null;
    const driver = named ? drivers.find(given.driverId, given.driver) : null;
    const driverId = driver instanceof Wrong ? null : (driver?.id ?? work.actor.driverId);
    const name = given.mark === null || driverId === null ? null : pieceName(driverId, given.mark);
    if (name === null && given.pieceId === null)
      return driver instanceof Wrong
        ? new WrongAt(given.driver === null ? "driverId" : "driver", driver.detail)
        : new WrongAt("driver", "must be given with a mark, which is unique for its driver only");
    const piece = pieces.find(given.pieceId, name, given.mark);
    const column = name === null ? "pieceId" : "mark";
    if (piece instanceof Wrong) return new WrongAt(column, piece.detail);
    return reachesDriver(work, piece.driverId) ? piece : new WrongAt(column, notOwn);
  };

  return (given: GivenReading, row: number): ReadRow | WrongAt => {
    const piece = pieceOf(given);
    if (piece instanceof WrongAt) return piece;
    if (given.at! > latest) return new WrongAt("at", "is in the future; log a reading when it was taken");
    const { line, kind } = kinds.get(piece.lineId)!;
    let column = "instrument";
    try {
      const { name, repeatabilitySd } = instrumentOf(kind, given.instrument);
      column = "unit";
      const value = convertUnit(given.value!, given.unit!, kind.measure!.unit);
      const negative = belowZero(kind.measure!, overridesOf(line).limits ?? kind.limits, value);
      if (negative !== null) return new WrongAt("value", negative);
      return {
        row,
        id: "",
        clubId: work.actor.clubId,
        pieceId: piece.id,
        at: given.at!,
        value,
        sd: repeatabilitySd,
        instrument: name,
        enteredValue: given.value!,
        enteredUnit: given.unit!,
        confirmed: given.confirmed === true ? 1 : 0,
      };
    } catch (error) {
      if (!(error instanceof DomainError)) throw error;
      return new WrongAt(error.code === "wrong_kind" ? "value" : column, error.message);
    }
  };
}

/** Readings of one moment as one text, whatever their order. */
const contentOf = (readings: readonly Pick<ReadingRow, "value" | "instrument">[]): string =>
  readings
    .map(({ value, instrument }) => `${value} by ${instrument}`)
    .sort()
    .join(", ");

/** The same for a person: as they were entered, with their units. */
const saidOf = (
  readings: readonly Pick<ReadingRow, "enteredValue" | "enteredUnit" | "instrument">[],
): string =>
  readings
    .map(({ enteredValue, enteredUnit, instrument }) => `${enteredValue} ${enteredUnit} by ${instrument}`)
    .join(", ");

/** The looks at a piece that are new: those at a moment without readings so far. */
function newLooks(rows: readonly ReadRow[], logged: readonly ReadingRow[], faults: Faults): ReadRow[][] {
  const before = groupedBy(logged, (reading) => reading.at);
  const looks: ReadRow[][] = [];
  for (const [at, look] of groupedBy(rows, (reading) => reading.at)) {
    const there = before.get(at);
    if (there === undefined) looks.push(look);
    else if (contentOf(there) !== contentOf(look))
      faults.add(
        look[0]!.row,
        "value",
        `the readings of this piece at ${at} are there already as ${saidOf(there)}; delete that inspection first, or give another time`,
      );
  }
  return looks.sort((a, b) => (a[0]!.at < b[0]!.at ? -1 : 1));
}

/** Questions each look that is not confirmed, against what was read of the piece before it. */
async function questionLooks(
  work: Work,
  piece: PieceRow,
  kinds: Awaited<ReturnType<typeof kindsOfLines>>,
  looks: readonly (readonly ReadRow[])[],
  logged: readonly ReadingRow[],
  faults: Faults,
): Promise<void> {
  if (looks.every((look) => look.every(({ confirmed }) => confirmed === 1))) return;
  const { line, kind } = kinds.get(piece.lineId)!;
  const known = { kind, lineAsNew: line.asNew, asNew: piece.asNew, priorUsage: piece.priorUsage };
  const runs = await selectRunsOfPiece(work.db, piece.id);
  let last: Pick<ReadingRow, "at" | "value" | "sd"> | undefined;
  let next = 0;
  for (const look of looks) {
    const { at } = look[0]!;
    for (let older = logged[next]; older !== undefined && older.at < at; older = logged[++next])
      if (last === undefined || older.at >= last.at) last = older;
    const since = last?.at ?? "";
    const worn = runs.filter((run) => run.at > since && run.at <= at);
    const earlier = last === undefined ? beforeFirstReading(known) : [last];
    const plausible = plausibleWear(known, worn, last === undefined);
    const before = faults.total;
    for (const { value, sd, row, confirmed, enteredValue, enteredUnit } of look) {
      const entered = { value: enteredValue, unit: enteredUnit };
      const question = { value, sd, entered, measure: kind.measure!, earlier, plausibleWear: plausible };
      if (confirmed === 0)
        for (const doubt of questionReading(question))
          faults.add(
            row,
            "value",
            `${asSentence(doubt)} Look again, and if it is right say true in the column confirmed`,
          );
    }
    // What is doubtful itself casts no doubt on what comes after it.
    if (faults.total === before) last = look.at(-1);
  }
}

/** An inspection that came in, with its piece and what was read. */
interface Look {
  piece: PieceRow;
  inspection: InspectionRow;
  values: number[];
}

function* changesOf(looks: readonly Look[]): Generator<Change> {
  for (const { piece, inspection, values } of looks)
    yield changeOfPiece("piece.inspected", piece, toldOf({ ...inspection, findings: [] }, values));
}

/**
 * Imports readings, those of one piece at one moment as one inspection: all of them, or none. A look whose readings
 * are there already changes nothing.
 *
 * @throws {DomainError} `import_refused` or `not_allowed`
 * @throws {TableTooLarge}
 */
export async function importReadings(
  work: Work,
  body: Bytes,
  form: TableForm,
  dryRun: boolean,
): Promise<ImportCounts> {
  requireLogReach(work);
  const faults = new Faults();
  const rows: ReadRow[] = [];
  const readingOf = await readingReader(work);
  const rowsRead = await readTable(body, form, table, faults, (given, row) =>
    faults.sort(row, readingOf(given, row), (reading) => rows.push(reading)),
  );
  faults.refuse();
  return keepTogether(work, "readings", dryRun, async (work) => {
    const byPiece = groupedBy(rows, (reading) => reading.pieceId);
    const logged = groupedBy(
      await selectReadingsOfPieces(work.db, [...byPiece.keys()]),
      (reading) => reading.pieceId,
    );
    const pieces = await pieceNames(work);
    const kinds = await kindsOfLines(work);
    const looked: Look[] = [];
    const readings: ReadingRow[] = [];
    const lines = new Set<string>();
    for (const [pieceId, some] of byPiece) {
      const piece = pieces.find(pieceId, null) as PieceRow;
      const before = logged.get(pieceId) ?? [];
      const looks = newLooks(some, before, faults);
      await questionLooks(work, piece, kinds, looks, before, faults);
      if (looks.length > 0) lines.add(piece.lineId);
      for (const look of looks) {
        const id = work.newId();
        looked.push({
          piece,
          inspection: inspectionOf(id, look[0]!),
          values: look.map(({ value }) => value),
        });
        for (const { row: _, ...reading } of look)
          readings.push({ ...reading, id: work.newId(), inspectionId: id });
      }
    }
    faults.refuse();
    const inspections = looked.map(({ inspection }) => inspection);
    await insertRows(work.db, "inspections", inspections, "inspection");
    await insertRows(work.db, "readings", readings, "reading");
    await countEvidenceOfMany(work.db, [...lines]);
    const rowsKept = readings.length;
    return { rowsRead, rowsKept, rowsAlreadyThere: rowsRead - rowsKept, changes: changesOf(looked) };
  });
}

const inspectionOf = (id: string, { clubId, pieceId, at }: ReadRow): InspectionRow => ({
  id,
  clubId,
  pieceId,
  at,
  grade: null,
  findings: "[]",
  services: "[]",
  notes: null,
  version: 1,
});
