import type { PlannedMeeting } from "../domain/calendar.ts";
import type { Kind } from "../domain/kind.ts";
import { allRecords } from "../storage/records.ts";
import { selectFittedOnCars, selectLoosePieces } from "../storage/restock.ts";
import type { CarRow, PieceRow } from "../storage/tables.ts";
import { getOwnCar } from "./keep-cars.ts";
import { requireDriver } from "./keep-drivers.ts";
import { type KeptForPractice, practiceSets } from "./practice-sets.ts";
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
  /** what is kept for practice at its place, where anything is */
  practice?: KeptForPractice;
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

type KindNeeded = "usedBy" | "changeRule" | "changedTogether";

/**
 * The pieces in use in some cars, packs among them, and those that are neither fitted nor packs. What is kept for
 * practice is in neither: it stands beside what races at its place.
 */
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
    kinds.map((kind) => [
      kind.id,
      { ...(JSON.parse(kind.details) as Pick<Kind, KindNeeded>), code: kind.code },
    ]),
  );
  const kindOfLine = new Map(lines.map((line) => [line.id, kindById.get(line.kindId)!]));
  const kindOf = (piece: PieceRow) => kindOfLine.get(piece.lineId)!;
  const isPack = (piece: PieceRow) => kindOf(piece).usedBy === "pack";
  const kept = loose.filter((piece) => piece.keptFor === "practice");
  const racing = kept.length === 0 ? loose : loose.filter((piece) => piece.keptFor !== "practice");
  const practice = await practiceSets(work, kept, kindOf);
  const inUse: InUse[] = fitted.map(({ carId, changedWith, position, ...one }) => {
    const piece = one as PieceRow;
    const kind = kindOf(piece);
    return {
      piece,
      kindCode: kind.code,
      carId,
      group: `${carId} ${changedWith ?? position}`,
      ahead: ahead.get(carId) ?? [],
      ...practice.at(kind, { carId, changedWith, position }),
    };
  });
  for (const piece of racing.filter(isPack)) {
    const sharing = racing.filter((other) => isPack(other) && other.driverId === piece.driverId).length;
    const driven = cars
      .filter((car) => car.driverId === piece.driverId)
      .flatMap((car) => ahead.get(car.id) ?? []);
    const shared = driven
      .map((meeting) => ({
        ...meeting,
        runs: meeting.runs / sharing,
        practiceRuns: (meeting.practiceRuns ?? 0) / sharing,
      }))
      .sort((a, b) => (a.startsOn < b.startsOn ? -1 : 1));
    const kind = kindOf(piece);
    const besides = practice.ofPack(kind, piece.driverId, sharing);
    inUse.push({ piece, kindCode: kind.code, carId: null, group: piece.id, ahead: shared, ...besides });
  }
  return { inUse, loose: racing.filter((piece) => !isPack(piece)).map((piece) => ({ piece })) };
}
