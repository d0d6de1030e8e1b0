import { pageOfPieces, type PieceState } from "../storage/pieces.ts";
import { getRecord, type PageRequest } from "../storage/records.ts";
import { getOwnCar } from "./keep-cars.ts";
import { askedDriver } from "./keep-drivers.ts";
import type { Work } from "./work.ts";

/**
 * A page of pieces in the order in which they were made: a driver's, a line's, a car's, or all that may be seen.
 *
 * @throws {DomainError} `not_found` or `not_allowed` where the driver, the line or the car is unknown or out of reach
 */
export async function listPieces(
  work: Work,
  page: PageRequest,
  only: {
    driverId?: string | undefined;
    lineId?: string | undefined;
    carId?: string | undefined;
    state?: PieceState | undefined;
  },
) {
  const { clubId } = work.actor;
  const driverId = await askedDriver(work, only.driverId);
  if (only.lineId !== undefined) await getRecord(work.db, "lines", clubId, only.lineId, "line");
  if (only.carId !== undefined) await getOwnCar(work, only.carId);
  return pageOfPieces(work.db, clubId, page, { ...only, driverId });
}
