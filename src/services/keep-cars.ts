import { notFound } from "../domain/errors.ts";
import { selectFittedNow, selectPositions } from "../storage/fittings.ts";
import { allRecords, deleteRecord, getRecord, insertRecord } from "../storage/records.ts";
import type { CarRow, PositionRow } from "../storage/tables.ts";
import { makeRecord } from "./keep-records.ts";
import { requireOwn, together, type Work } from "./work.ts";

/** A car that the actor may touch. @throws {DomainError} `not_found` or `not_allowed` */
export async function getOwnCar(work: Work, id: string): Promise<CarRow> {
  const car = await getRecord(work.db, "cars", work.actor.clubId, id, "car");
  requireOwn(work, car.driverId, "a car");
  return car;
}

type GivenCar = Omit<CarRow, "id" | "clubId" | "createdAt" | "version">;
export interface GivenPosition {
  name: string;
  kindId: string;
  changedWith: string | null;
}

/** Puts a car on the books, with its positions. */
export async function addCar(
  work: Work,
  given: GivenCar,
  positions: readonly GivenPosition[],
): Promise<CarRow> {
  requireOwn(work, given.driverId, "a car");
  return together(work, async (work) => {
    for (const kindId of new Set(positions.map((position) => position.kindId)))
      await getRecord(work.db, "kinds", work.actor.clubId, kindId, "kind");
    const car = await makeRecord(work, "cars", "car", given, [
      ["drivers", given.driverId, "driver"],
      ["carModels", given.carModelId, "car model"],
    ]);
    for (const position of positions) await insertPosition(work, car.id, position);
    return car;
  });
}

async function insertPosition(work: Work, carId: string, given: GivenPosition): Promise<PositionRow> {
  const row = { id: work.newId(), clubId: work.actor.clubId, carId, createdAt: work.now(), ...given };
  await insertRecord(work.db, "positions", row, "position of this car");
  return row;
}

export async function addPosition(work: Work, carId: string, given: GivenPosition): Promise<PositionRow> {
  await getOwnCar(work, carId);
  await getRecord(work.db, "kinds", work.actor.clubId, given.kindId, "kind");
  return insertPosition(work, carId, given);
}

/** Removes a position where no piece was ever fitted. @throws {DomainError} `in_use` otherwise */
export async function removePosition(work: Work, carId: string, positionId: string): Promise<void> {
  await getOwnCar(work, carId);
  const position = await getRecord(work.db, "positions", work.actor.clubId, positionId, "position");
  if (position.carId !== carId) throw notFound("position of this car", positionId);
  await deleteRecord(work.db, "positions", work.actor.clubId, positionId, "position");
}

/** A car's positions, each with the piece that is fitted there now, or null. */
export async function fittedCar(work: Work, carId: string) {
  const car = await getOwnCar(work, carId);
  const [positions, fitted, kinds] = await Promise.all([
    selectPositions(work.db, work.actor.clubId, carId),
    selectFittedNow(work.db, carId),
    allRecords(work.db, "kinds", work.actor.clubId),
  ]);
  const codes = new Map(kinds.map((kind) => [kind.id, kind.code]));
  const byPosition = new Map(fitted.map((one) => [one.positionId, one]));
  return {
    ...car,
    positions: positions.map((position) => {
      const piece = byPosition.get(position.id);
      return {
        ...position,
        kindCode: codes.get(position.kindId) ?? "",
        fitted: piece === undefined ? null : piece,
      };
    }),
  };
}
