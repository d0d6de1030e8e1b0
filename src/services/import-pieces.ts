import { DomainError } from "../domain/errors.ts";
import { latestMoment } from "../domain/moment.ts";
import { keptFor, retirements } from "../domain/piece.ts";
import { pieceFaults } from "../domain/piece-size.ts";
import { convertUnit } from "../domain/units.ts";
import { countEvidenceOfMany, insertRows, selectFittingsOf, selectPiecesOfDrivers } from "../storage/bulk.ts";
import { allRecords } from "../storage/records.ts";
import type { FittingRow, PieceRow } from "../storage/tables.ts";
import { day, type Given, moment, name, number, text, Wrong, WrongAt, word } from "./import-cells.ts";
import { type ImportCounts, keepTogether, notOwn, reachesDriver, requireLogReach } from "./import-counts.ts";
import { Faults } from "./import-faults.ts";
import { FreeSpans } from "./import-fittings.ts";
import { changesOfPieces, type FittedIn } from "./import-piece-changes.ts";
import { carNames, driverNames, kindsOfLines, lineNames, pieceName, positionNames } from "./import-names.ts";
import { overridesOf } from "./line-overrides.ts";
import { type Bytes, readTable, type Table, type TableForm } from "./tables-in.ts";
import type { Work } from "./work.ts";

const usage = number(0, 1e9);
export const pieceColumns = {
  driver: name(120),
  driverId: name(64),
  sku: name(60),
  lineId: name(64),
  mark: text(60),
  asNew: number(-1e9, 1e9),
  unit: name(20),
  priorUsage: usage,
  priorUsageSd: usage,
  boughtOn: day,
  keptFor: word(keptFor),
  notes: text(2000),
  car: name(200),
  carId: name(64),
  position: name(60),
  fittedAt: moment,
  removedAt: moment,
  retiredAt: moment,
  retiredFor: word(retirements),
};
type GivenPiece = Given<typeof pieceColumns>;
const table: Table<typeof pieceColumns> = {
  columns: pieceColumns,
  unused: ["id", "lineName", "positionId", "fittingId", "createdAt", "version"],
  needs: [["driver", "driverId"], ["sku", "lineId"], ["mark"]],
};

type Span = Pick<FittingRow, "carId" | "positionId" | "fittedAt" | "removedAt">;
/** A span with the name of its position. */
interface NamedSpan {
  span: Span;
  position: string;
}
interface PieceIn {
  row: number;
  piece: PieceRow;
  fitting: NamedSpan | null;
}

/** How a sound row becomes a piece and one of its fittings, by the rules of the single calls. */
async function pieceReader(work: Work) {
  const drivers = await driverNames(work);
  const cars = await carNames(work);
  const lines = await lineNames(work);
  const kinds = await kindsOfLines(work);
  const kindNames = new Map(
    (await allRecords(work.db, "kinds", work.actor.clubId)).map(({ id, name }) => [id, name]),
  );
  const positions = await positionNames(work);

  const latest = latestMoment(work.now());
  const ahead = (given: GivenPiece) =>
    (["fittedAt", "removedAt", "retiredAt"] as const).find((at) => given[at] !== null && given[at] > latest);

  const asNewOf = (given: GivenPiece, lineId: string): number | null | WrongAt => {
    const { measure, name } = kinds.get(lineId)!.kind;
    if (given.asNew === null || given.unit === null) return given.asNew;
    if (measure === null) return new WrongAt("unit", `a ${name} is not measured`);
    try {
      return convertUnit(given.asNew, given.unit, measure.unit);
    } catch (error) {
      if (error instanceof DomainError) return new WrongAt("unit", error.message);
      throw error;
    }
  };

  const fittingOf = (given: GivenPiece, lineId: string): NamedSpan | null | WrongAt => {
    const { car: carName, carId, position: name, fittedAt, removedAt, retiredAt } = given;
    if ([carName, carId, name, fittedAt, removedAt].every((cell) => cell === null)) return null;
    if (carName === null && carId === null)
      return new WrongAt("car", "must be given for a piece that was fitted");
    if (name === null) return new WrongAt("position", "must be given for a piece that was fitted");
    if (fittedAt === null) return new WrongAt("fittedAt", "must be given for a piece that was fitted");
    const car = cars.find(carId, carName);
    const column = carName === null ? "carId" : "car";
    if (car instanceof Wrong) return new WrongAt(column, car.detail);
    if (!reachesDriver(work, car.driverId)) return new WrongAt(column, notOwn);
    const position = positions.get(`${car.id}\n${name}`);
    if (position === undefined) return new WrongAt("position", `the car has no position "${name}"`);
    const { kind } = kinds.get(lineId)!;
    if (position.kindId !== kind.id)
      return new WrongAt(
        "position",
        `the piece is of the kind "${kind.name}"; "${name}" of this car takes "${kindNames.get(position.kindId)}"`,
      );
    if (kind.usedBy === "pack")
      return new WrongAt("position", "a pack is named with each run, not fitted: leave it empty");
    if (removedAt !== null && removedAt <= fittedAt)
      return new WrongAt("removedAt", "must be after fittedAt");
    if (retiredAt !== null && fittedAt >= retiredAt)
      return new WrongAt("fittedAt", "must be before retiredAt");
    if (retiredAt !== null && removedAt !== null && removedAt > retiredAt)
      return new WrongAt("removedAt", "must not be after retiredAt: it came off by then");
    const span = { carId: car.id, positionId: position.id, fittedAt, removedAt: removedAt ?? retiredAt };
    return { span, position: position.name };
  };

  return (given: GivenPiece, row: number): PieceIn | WrongAt => {
    const future = ahead(given);
    if (future !== undefined)
      return new WrongAt(future, "is in the future; log what became of a piece when it has happened");
    const driver = drivers.find(given.driverId, given.driver);
    const driverColumn = given.driver === null ? "driverId" : "driver";
    if (driver instanceof Wrong) return new WrongAt(driverColumn, driver.detail);
    if (!reachesDriver(work, driver.id)) return new WrongAt(driverColumn, notOwn);
    const line = lines.find(given.lineId, given.sku);
    if (line instanceof Wrong) return new WrongAt(given.sku === null ? "lineId" : "sku", line.detail);
    if ((given.retiredAt === null) !== (given.retiredFor === null))
      return new WrongAt(
        given.retiredAt === null ? "retiredAt" : "retiredFor",
        "retiredAt and retiredFor go together",
      );
    const asNew = asNewOf(given, line.id);
    if (asNew instanceof WrongAt) return asNew;
    const sized = kinds.get(line.id)!;
    const possible = { asNew, priorUsage: given.priorUsage };
    const [fault] = pieceFaults({ kind: sized.kind, line: overridesOf(sized.line) }, possible);
    if (fault !== undefined) return new WrongAt(fault.pointer.slice("#/".length), fault.detail);
    const fitting = fittingOf(given, line.id);
    if (fitting instanceof WrongAt) return fitting;
    const { mark, priorUsage, priorUsageSd, boughtOn, keptFor, retiredAt, retiredFor, notes } = given;
    const kept = { id: work.newId(), clubId: work.actor.clubId, createdAt: work.now(), version: 1 };
    const said = {
      ...{ mark: mark!, asNew, priorUsage, priorUsageSd, boughtOn, keptFor },
      ...{ retiredAt, retiredFor, notes },
    };
    return { row, piece: { ...kept, driverId: driver.id, lineId: line.id, ...said }, fitting };
  };
}

const compared = {
  lineId: "sku",
  asNew: "asNew",
  priorUsage: "priorUsage",
  priorUsageSd: "priorUsageSd",
  boughtOn: "boughtOn",
  keptFor: "keptFor",
  retiredAt: "retiredAt",
  retiredFor: "retiredFor",
  notes: "notes",
} as const;

/** The first member in which two rows of one piece differ. */
const differing = (one: PieceRow, other: PieceRow) =>
  (Object.keys(compared) as (keyof typeof compared)[]).find((member) => one[member] !== other[member]);

/** The pieces that are new, with each row's piece as it is or will be on the books. */
function newPieces(rows: PieceIn[], known: Map<string, PieceRow>, faults: Faults): PieceRow[] {
  const added: PieceRow[] = [];
  for (const one of rows) {
    const name = pieceName(one.piece.driverId, one.piece.mark);
    const before = known.get(name);
    if (before === undefined) {
      known.set(name, one.piece);
      added.push(one.piece);
      continue;
    }
    const member = differing(one.piece, before);
    if (member !== undefined)
      faults.add(
        one.row,
        compared[member],
        `${before.mark} of this driver is there already with ${member} ${JSON.stringify(before[member])}; change that piece, or give another mark`,
      );
    one.piece = before;
  }
  return added;
}

/**
 * Imports pieces, with where they were fitted: all of them, or none. A piece that was fitted several times has a row
 * for each fitting. What is there already, with the same content, changes nothing. Stock is not touched.
 *
 * @throws {DomainError} `import_refused` or `not_allowed`
 * @throws {TableTooLarge}
 */
export async function importPieces(
  work: Work,
  body: Bytes,
  form: TableForm,
  dryRun: boolean,
): Promise<ImportCounts> {
  requireLogReach(work);
  const faults = new Faults();
  const rows: PieceIn[] = [];
  const pieceOf = await pieceReader(work);
  const rowsRead = await readTable(body, form, table, faults, (given, row) =>
    faults.sort(row, pieceOf(given, row), (one) => rows.push(one)),
  );
  faults.refuse();
  return keepTogether(work, "pieces", dryRun, async (work) => {
    const drivers = [...new Set(rows.map(({ piece }) => piece.driverId))];
    const onBooks = await selectPiecesOfDrivers(work.db, drivers);
    const known = new Map(onBooks.map((piece) => [pieceName(piece.driverId, piece.mark), piece]));
    const added = newPieces(rows, known, faults);
    faults.refuse();
    const fitted = rows.filter((one) => one.fitting !== null);
    const carIds = [...new Set(fitted.map(({ fitting }) => fitting!.span.carId))];
    const pieceIds = [...new Set(fitted.map(({ piece }) => piece.id))];
    const spans = new FreeSpans(await selectFittingsOf(work.db, { carIds, pieceIds }));
    const fittings: FittedIn[] = [];
    const kept = new Set(added);
    let rowsKept = 0;
    const lines = new Set<string>();
    for (const { row, piece, fitting } of rows) {
      const isNew = kept.delete(piece);
      const span = fitting === null ? null : { ...fitting.span, pieceId: piece.id };
      const isNewFitting = span !== null && !spans.has(span);
      if (isNew || isNewFitting) rowsKept += 1;
      if (isNewFitting || (isNew && piece.retiredAt !== null)) lines.add(piece.lineId);
      if (!isNewFitting) continue;
      spans.add(span, row, piece.mark);
      const fittingRow = { id: work.newId(), clubId: work.actor.clubId, version: 1, ...span };
      fittings.push({ piece, position: fitting!.position, fitting: fittingRow });
    }
    spans.addFaults(faults);
    faults.refuse();
    await insertRows(work.db, "pieces", added, "piece of this driver (its mark)");
    const fittingRows = fittings.map(({ fitting }) => fitting);
    await insertRows(work.db, "fittings", fittingRows, "fitting");
    await countEvidenceOfMany(work.db, [...lines]);
    const changes = changesOfPieces(added, fittings);
    return { rowsRead, rowsKept, rowsAlreadyThere: rowsRead - rowsKept, changes };
  });
}
