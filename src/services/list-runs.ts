import { allRecords, getRecord, type Page, type PageRequest, pageOfRecords } from "../storage/records.ts";
import type { RunRow } from "../storage/tables.ts";
import { getOwnCar } from "./keep-cars.ts";
import { onlyDriver, type Work } from "./work.ts";

/** Runs in the order of time: of one car, of one meeting, or of every car that the actor may see. */
export async function listRuns(
  work: Work,
  page: PageRequest,
  only: { carId?: string | undefined; meetingId?: string | undefined },
): Promise<Page<RunRow>> {
  const { clubId } = work.actor;
  if (only.carId !== undefined) await getOwnCar(work, only.carId);
  if (only.meetingId !== undefined) await getRecord(work.db, "meetings", clubId, only.meetingId, "meeting");
  const driverId = onlyDriver(work);
  const own =
    only.carId ??
    (driverId === null
      ? undefined
      : (await allRecords(work.db, "cars", clubId, { driverId })).map((car) => car.id));
  if (Array.isArray(own) && own.length === 0) return { items: [], next: null };
  return pageOfRecords(work.db, "runs", clubId, page, { carId: own, meetingId: only.meetingId }, "at");
}
