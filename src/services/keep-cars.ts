import { DomainError, notFound } from "../domain/errors.ts";
import type { Kind } from "../domain/kind.ts";
import { selectFittedNow, selectPositions } from "../storage/fittings.ts";
import { allRecords, deleteRecord, getRecord, insertRecord } from "../storage/records.ts";
import type { CarRow, PositionRow } from "../storage/tables.ts";
import { kindFromRow } from "./keep-kinds.ts";
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
    for (const [i, position] of positions.entries()) {
      await requireTie(work, positions.slice(0, i), position, `#/positions/${i}/changedWith`);
      await insertPosition(work, car.id, position);
    }
    return car;
  });
}

/**
 * A tie that would change nothing is refused: parts that are changed alone stay alone, whatever word they share. They
 * may lead others, which are changed with them.
 *
 * @throws {DomainError} `inconsistent` where the position shares a word with others, and none is led by or in a set with another
 */
async function requireTie(
  work: Work,
  before: readonly GivenPosition[],
  given: GivenPosition,
  pointer: string,
): Promise<void> {
  if (given.changedWith === null) return;
  const tied = before.filter(({ changedWith }) => changedWith === given.changedWith);
  if (tied.length === 0) return;
  const kinds = new Map<string, Kind>();
  for (const { kindId } of [...tied, given])
    kinds.set(kindId, kindFromRow(await getRecord(work.db, "kinds", work.actor.clubId, kindId, "kind")));
  const own = kinds.get(given.kindId)!;
  for (const { kindId, name } of tied) {
    const other = kinds.get(kindId)!;
    if (own.changeRule !== "alone" || other.changeRule !== "alone") continue;
    const rule =
      own.id === other.id
        ? `the changeRule of the kind ${own.code} to "pair" or "set", with changedTogether`
        : `the changeRule of one of the kinds ${own.code} and ${other.code} to "with-mate" and its mateCode to the other one`;
    const detail = `ties "${given.name}" to "${name}", but both are changed alone by their kinds: set ${rule}, or leave the word out`;
    throw new DomainError("inconsistent", `changedWith ${detail}`, [{ pointer, detail }]);
  }
}

async function insertPosition(work: Work, carId: string, given: GivenPosition): Promise<PositionRow> {
  const row = { id: work.newId(), clubId: work.actor.clubId, carId, createdAt: work.now(), ...given };
  await insertRecord(work.db, "positions", row, "position of this car");
  return row;
}

export async function addPosition(work: Work, carId: string, given: GivenPosition): Promise<PositionRow> {
  await getOwnCar(work, carId);
  await getRecord(work.db, "kinds", work.actor.clubId, given.kindId, "kind");
  await requireTie(work, await selectPositions(work.db, work.actor.clubId, carId), given, "#/changedWith");
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
