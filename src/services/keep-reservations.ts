import { DomainError } from "../domain/errors.ts";
import { getRecord, type Page, type PageRequest, updateRecord } from "../storage/records.ts";
import { pageOfReservations, type ReservationNamed } from "../storage/reservations.ts";
import type { ReservationRow } from "../storage/tables.ts";
import { clubDay } from "./calendar-ahead.ts";
import { makeRecord } from "./keep-records.ts";
import { count } from "./in-words.ts";
import { noteChange } from "./note-change.ts";
import { onlyDriver, requireOwn, together, type Work } from "./work.ts";

/**
 * "Hold two for Sunday": a driver asks a shop to keep pieces of a line, and the shop confirms or refuses. The shop
 * learns the driver's name, the line, the pieces and the day, and nothing else.
 */

const states = {
  asked: "is not answered yet",
  confirmed: "is confirmed",
  refused: "was refused",
  withdrawn: "was withdrawn",
} as const;

const shown = (row: ReservationNamed) => ({
  ...row,
  sentence: `${row.driverName} asked ${row.shopName} to hold ${count(row.pieces, "piece")} of ${row.sku} (${row.lineName}) for ${row.meetingName === null ? row.forDay : `${row.meetingName}, ${row.forDay}`}; it ${states[row.state]}${row.answer === null ? "" : `: ${row.answer}`}.`,
});
export type ReservationShown = ReturnType<typeof shown>;

async function read(work: Work, id: string): Promise<ReservationShown> {
  const { items } = await pageOfReservations(work.db, work.actor.clubId, { limit: 1, after: null }, { id });
  if (items[0] === undefined) throw new DomainError("not_found", `There is no reservation with id ${id}`);
  return shown(items[0]);
}

/**
 * Asks a shop to hold pieces.
 *
 * @throws {DomainError} `not_found`, `not_allowed` (a shop asks nobody), `inconsistent`, `out_of_order` (a day that is past)
 */
export async function askReservation(
  work: Work,
  given: {
    shopId: string;
    lineId: string;
    pieces: number;
    forDay?: string | undefined;
    meetingId?: string | undefined;
    driverId?: string | undefined;
    notes: string | null;
  },
): Promise<ReservationShown> {
  const { clubId } = work.actor;
  const { shopId, lineId, pieces, meetingId, notes } = given;
  if (work.reach === "shelf")
    throw new DomainError("not_allowed", "A reservation is asked for by a driver; the shop answers it");
  const driverId = given.driverId ?? work.actor.driverId;
  if (driverId === null) throw inconsistent("#/driverId", "must name the driver who asks");
  requireOwn(work, driverId, "a reservation");
  if ((given.forDay === undefined) === (meetingId === undefined))
    throw inconsistent("#/forDay", "must be given, or else a meetingId: one of them");
  return together(work, async (work) => {
    const meeting =
      meetingId === undefined ? null : await getRecord(work.db, "meetings", clubId, meetingId, "meeting");
    const forDay = meeting?.startsOn ?? given.forDay!;
    const today = await clubDay(work);
    if (forDay < today)
      throw new DomainError("out_of_order", `The reservation is for ${forDay}, but today is ${today}`, [
        { pointer: meeting === null ? "#/forDay" : "#/meetingId", detail: `is past: today is ${today}` },
      ]);
    const row = await makeRecord(
      work,
      "reservations",
      "reservation",
      {
        ...{ shopId, lineId, driverId, pieces, forDay, meetingId: meeting?.id ?? null, notes },
        ...{ state: "asked", answer: null, answeredAt: null },
      },
      [
        ["shops", shopId, "shop"],
        ["lines", lineId, "line"],
        ["drivers", driverId, "driver"],
      ],
    );
    return told(work, row.id, "reservation.asked");
  });
}

const inconsistent = (pointer: string, detail: string) =>
  new DomainError("inconsistent", `${pointer.slice(2)} ${detail}`, [{ pointer, detail }]);

/** May it be seen: a driver's own, by the shops all. */
async function requireVisible(work: Work, id: string): Promise<ReservationRow> {
  const row = await getRecord(work.db, "reservations", work.actor.clubId, id, "reservation");
  if (work.reach === "own") requireOwn(work, row.driverId, "a reservation");
  return row;
}

export async function readReservation(work: Work, id: string): Promise<ReservationShown> {
  await requireVisible(work, id);
  return read(work, id);
}

/** The reservations that a driver asked for, or all that shops were asked for. */
export async function listReservations(
  work: Work,
  page: PageRequest,
  only: { shopId?: string | undefined; state?: ReservationRow["state"] | undefined },
): Promise<Page<ReservationShown>> {
  if (only.shopId !== undefined) await getRecord(work.db, "shops", work.actor.clubId, only.shopId, "shop");
  const driverId = onlyDriver(work) ?? undefined;
  const { items, next } = await pageOfReservations(work.db, work.actor.clubId, page, { ...only, driverId });
  return { items: items.map(shown), next };
}

/** Reads a reservation and tells whom it concerns: the shops what was asked and withdrawn, the driver the answer. */
async function told(
  work: Work,
  id: string,
  type: "reservation.asked" | "reservation.answered" | "reservation.withdrawn",
): Promise<ReservationShown> {
  const now = await read(work, id);
  const { shopId, lineId, sku, driverName, pieces, forDay, state, answer } = now;
  const audience = type === "reservation.answered" ? { driverId: now.driverId } : ("shop" as const);
  const data = { shopId, lineId, sku, driverName, pieces, forDay, state, answer };
  await noteChange(work, { type, subject: { kind: "reservation", id }, audience, data });
  return now;
}

const change = (work: Work, id: string, changes: Partial<ReservationRow>) =>
  updateRecord(work.db, "reservations", work.actor.clubId, id, changes, "reservation");

function requireOpen({ state }: ReservationRow): void {
  if (state === "withdrawn")
    throw new DomainError("reservation_over", "The driver has withdrawn this reservation");
}

/**
 * The shop confirms or refuses; a later answer replaces an earlier one.
 *
 * @throws {DomainError} `not_found`, `not_allowed` (a driver), `reservation_over`
 */
export async function answerReservation(
  work: Work,
  id: string,
  { confirmed, notes }: { confirmed: boolean; notes: string | null },
): Promise<ReservationShown> {
  return together(work, async (work) => {
    const row = await getRecord(work.db, "reservations", work.actor.clubId, id, "reservation");
    if (work.reach === "own") throw new DomainError("not_allowed", "The shop answers a reservation");
    requireOpen(row);
    const state = confirmed ? ("confirmed" as const) : ("refused" as const);
    await change(work, id, { state, answer: notes, answeredAt: work.now() });
    return told(work, id, "reservation.answered");
  });
}

/**
 * The driver no longer wants it; doing so twice is harmless.
 *
 * @throws {DomainError} `not_found`, `not_allowed` (not the driver's own)
 */
export async function withdrawReservation(work: Work, id: string): Promise<ReservationShown> {
  return together(work, async (work) => {
    const row = await getRecord(work.db, "reservations", work.actor.clubId, id, "reservation");
    requireOwn(work, row.driverId, "a reservation");
    if (row.state === "withdrawn") return read(work, id);
    await change(work, id, { state: "withdrawn" });
    return told(work, id, "reservation.withdrawn");
  });
}
