import type { Queries } from "./database.ts";
import { cutPage, type Page, type PageRequest } from "./records.ts";
import type { EntryRow, MeetingRow } from "./tables.ts";

/** A page of meetings, by the day on which they start. */
export async function pageOfMeetings(
  q: Queries,
  clubId: string,
  { limit, after }: PageRequest,
  only: { from?: string | undefined; through?: string | undefined; discipline?: string | undefined } = {},
): Promise<Page<MeetingRow>> {
  const { from, through, discipline } = only;
  const rows = await q
    .selectFrom("meetings")
    .selectAll()
    .where("clubId", "=", clubId)
    .$if(from !== undefined, (s) => s.where("startsOn", ">=", from!))
    .$if(through !== undefined, (s) => s.where("startsOn", "<=", through!))
    .$if(discipline !== undefined, (s) => s.where("discipline", "=", discipline!))
    .$if(after !== null, (s) =>
      s.where((e) =>
        e.or([
          e("startsOn", ">", String(after!.key)),
          e.and([e("startsOn", "=", String(after!.key)), e("id", ">", after!.id)]),
        ]),
      ),
    )
    .orderBy("startsOn")
    .orderBy("id")
    .limit(limit + 1)
    .execute();
  return cutPage(rows, limit, (last) => ({ key: last.startsOn, id: last.id }));
}

/** Writes what is stated of a car at a meeting over whatever was stated before. */
export async function upsertEntry(q: Queries, row: EntryRow): Promise<void> {
  const { attends, plannedRuns } = row;
  await q
    .insertInto("entries")
    .values(row)
    .onConflict((oc) =>
      oc
        .columns(["meetingId", "carId"])
        .doUpdateSet((e) => ({ attends, plannedRuns, version: e("entries.version", "+", 1) })),
    )
    .execute();
}

export const deleteEntries = async (q: Queries, meetingId: string): Promise<void> => {
  await q.deleteFrom("entries").where("meetingId", "=", meetingId).execute();
};

/** A car with the discipline of its model and what is stated of it at a meeting, as far as anything is. */
export interface CarAtMeeting {
  carId: string;
  carName: string;
  driverId: string;
  discipline: string | null;
  attends: number | null;
  plannedRuns: number | null;
  version: number | null;
}

/** The club's cars, or one driver's, or one car, each with its entry for a meeting; in the order they were added. */
export async function pageOfCarsAtMeeting(
  q: Queries,
  clubId: string,
  meetingId: string,
  { limit, after }: PageRequest,
  only: { driverId?: string | undefined; carId?: string | undefined },
): Promise<Page<CarAtMeeting>> {
  const { driverId, carId } = only;
  const rows = await q
    .selectFrom("cars")
    .leftJoin("carModels", "carModels.id", "cars.carModelId")
    .leftJoin("entries", (join) =>
      join.onRef("entries.carId", "=", "cars.id").on("entries.meetingId", "=", meetingId),
    )
    .select(["cars.id as carId", "cars.name as carName", "cars.driverId", "carModels.discipline"])
    .select(["entries.attends", "entries.plannedRuns", "entries.version"])
    .where("cars.clubId", "=", clubId)
    .$if(driverId !== undefined, (s) => s.where("cars.driverId", "=", driverId!))
    .$if(carId !== undefined, (s) => s.where("cars.id", "=", carId!))
    .$if(after !== null, (s) => s.where("cars.id", ">", after!.id))
    .orderBy("cars.id")
    .limit(limit + 1)
    .execute();
  return cutPage(rows, limit, (last) => ({ key: last.carId, id: last.carId }));
}
