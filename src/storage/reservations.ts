import type { Queries } from "./database.ts";
import { cutPage, type Page, type PageRequest } from "./records.ts";
import type { ReservationRow } from "./tables.ts";

/** A reservation with the names that people know its parts by. */
export interface ReservationNamed extends ReservationRow {
  shopName: string;
  sku: string;
  lineName: string;
  driverName: string;
  meetingName: string | null;
}

/** A page of reservations by the day that they are for, the latest first. */
export async function pageOfReservations(
  q: Queries,
  clubId: string,
  { limit, after }: PageRequest,
  only: {
    id?: string | undefined;
    shopId?: string | undefined;
    driverId?: string | undefined;
    state?: ReservationRow["state"] | undefined;
  },
): Promise<Page<ReservationNamed>> {
  const { id, shopId, driverId, state } = only;
  const rows = await q
    .selectFrom("reservations")
    .innerJoin("shops", "shops.id", "reservations.shopId")
    .innerJoin("lines", "lines.id", "reservations.lineId")
    .innerJoin("drivers", "drivers.id", "reservations.driverId")
    .leftJoin("meetings", "meetings.id", "reservations.meetingId")
    .selectAll("reservations")
    .select([
      "shops.name as shopName",
      "lines.sku",
      "lines.name as lineName",
      "drivers.name as driverName",
      "meetings.name as meetingName",
    ])
    .where("reservations.clubId", "=", clubId)
    .$if(id !== undefined, (s) => s.where("reservations.id", "=", id!))
    .$if(shopId !== undefined, (s) => s.where("reservations.shopId", "=", shopId!))
    .$if(driverId !== undefined, (s) => s.where("reservations.driverId", "=", driverId!))
    .$if(state !== undefined, (s) => s.where("reservations.state", "=", state!))
    .$if(after !== null, (s) =>
      s.where((e) =>
        e.or([
          e("forDay", "<", String(after!.key)),
          e.and([e("forDay", "=", String(after!.key)), e("reservations.id", "<", after!.id)]),
        ]),
      ),
    )
    .orderBy("forDay", "desc")
    .orderBy("reservations.id", "desc")
    .limit(limit + 1)
    .execute();
  return cutPage(rows, limit, (last) => ({ key: last.forDay, id: last.id }));
}
