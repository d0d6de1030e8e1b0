import type { PlannedMeeting } from "../domain/calendar.ts";
import { allRecords } from "../storage/records.ts";
import { selectFittedOnCars, selectLoosePieces } from "../storage/restock.ts";
import type { CarRow, PieceRow } from "../storage/tables.ts";
import { getOwnCar } from "./keep-cars.ts";
import { requireDriver } from "./keep-drivers.ts";
import { onlyDriver, type Work } from "./work.ts";

/** Which cars a question is about, and the pieces in use on them. */

export interface Scope {
  driverId?: string | undefined;
  carId?: string | undefined;
}

/** A piece in use, and the calendar it follows. */
export interface InUse {
  piece: PieceRow;
  kindCode: string;
  /** null for a pack, which goes from car to car */
  carId: string | null;
  /** pieces with the same word here are changed together, where their kind is */
  group: string;
  ahead: readonly PlannedMeeting[];
}

/**
 * The cars that a question is about: one, a driver's, or the club's; never more than the actor may see.
 *
 * @throws {DomainError} `not_found` or `not_allowed` where the car or the driver asked for is out of reach
 */
export async function carsInScope(work: Work, scope: Scope): Promise<CarRow[]> {
  const own = onlyDriver(work);
  if (scope.driverId !== undefined) await requireDriver(work, scope.driverId, "the cars");
  const driverId = own ?? scope.driverId;
  const cars = await allRecords(work.db, "cars", work.actor.clubId, { driverId });
  if (scope.carId === undefined) return cars;
  const { id } = await getOwnCar(work, scope.carId);
  return cars.filter((car) => car.id === id);
}

/** The pieces in use in some cars, packs among them, and those that are neither fitted nor packs. */
export async function piecesOf(
  work: Work,
  cars: readonly CarRow[],
  ahead: ReadonlyMap<string, readonly PlannedMeeting[]>,
) {
  const carIds = cars.map((car) => car.id);
  const driverIds = [...new Set(cars.map((car) => car.driverId))];
  const [fitted, loose, kinds, lines] = await Promise.all([
    selectFittedOnCars(work.db, carIds),
    selectLoosePieces(work.db, driverIds),
    allRecords(work.db, "kinds", work.actor.clubId),
    allRecords(work.db, "lines", work.actor.clubId),
  ]);
  const kindById = new Map(
    kinds.map((kind) => [kind.id, { code: kind.code, pack: JSON.parse(kind.details).usedBy === "pack" }]),
  );
  const kindOfLine = new Map(lines.map((line) => [line.id, kindById.get(line.kindId)!]));
  const isPack = (piece: PieceRow) => kindOfLine.get(piece.lineId)?.pack === true;
  const kindCode = (piece: PieceRow) => kindOfLine.get(piece.lineId)?.code ?? "";
  const inUse: InUse[] = fitted.map(({ carId, changedWith, position, ...piece }) => ({
    piece: piece as PieceRow,
    kindCode: kindCode(piece as PieceRow),
    carId,
    group: `${carId} ${changedWith ?? position}`,
    ahead: ahead.get(carId) ?? [],
  }));
  for (const piece of loose.filter(isPack)) {
    const sharing = loose.filter((other) => isPack(other) && other.driverId === piece.driverId).length;
    const driven = cars
      .filter((car) => car.driverId === piece.driverId)
      .flatMap((car) => ahead.get(car.id) ?? []);
    const shared = driven
      .map((meeting) => ({ ...meeting, runs: meeting.runs / sharing }))
      .sort((a, b) => (a.startsOn < b.startsOn ? -1 : 1));
    inUse.push({ piece, kindCode: kindCode(piece), carId: null, group: piece.id, ahead: shared });
  }
  return { inUse, loose: loose.filter((piece) => !isPack(piece)).map((piece) => ({ piece })) };
}
