import { DomainError } from "../domain/errors.ts";
import { attends, plannedRuns } from "../domain/meeting.ts";
import {
  type CarAtMeeting,
  deleteEntries,
  pageOfCarsAtMeeting,
  pageOfMeetings,
  upsertEntry,
} from "../storage/meetings.ts";
import { getRecord, type Page, type PageRequest } from "../storage/records.ts";
import type { MeetingRow } from "../storage/tables.ts";
import { changeRecord, makeRecord, readRecord, removeRecord } from "./keep-records.ts";
import { noteChange } from "./note-change.ts";
import { onlyDriver, requireOwn, together, type Work } from "./work.ts";

type MeetingGiven = Omit<MeetingRow, "id" | "clubId" | "createdAt" | "version" | "surface"> & {
  surface?: string | undefined;
};

/**
 * Puts a meeting into the calendar. Its surface is the venue's unless another is given.
 *
 * @throws {DomainError} `not_found` (venue), or `inconsistent` where neither surface nor venue is given
 */
export async function addMeeting(work: Work, given: MeetingGiven): Promise<MeetingRow> {
  return together(work, async (work) => {
    requirePractice(given);
    const surface = given.surface ?? (await surfaceOfVenue(work, given.venueId));

    const meeting = await makeRecord(work, "meetings", "meeting", { ...given, surface }, [
      ["venues", given.venueId, "venue"],
    ]);
    await noteMeeting(work, "meeting.added", meeting);
    return meeting;
  });
}

/** @throws {DomainError} `inconsistent` where more runs are practice than there are */
function requirePractice({ practiceRuns, plannedRuns }: Pick<MeetingRow, "practiceRuns" | "plannedRuns">) {
  if (practiceRuns === null || practiceRuns <= plannedRuns) return;
  const detail = `must not be more than the ${plannedRuns} runs planned: practice is counted among them`;
  throw new DomainError("inconsistent", `practiceRuns ${detail}`, [{ pointer: "#/practiceRuns", detail }]);
}

/** Tells the feed: what lies ahead of every car has changed. */
const noteMeeting = (
  work: Work,
  type: "meeting.added" | "meeting.changed" | "meeting.removed",
  { id, name, startsOn, discipline }: MeetingRow,
): Promise<void> =>
  noteChange(work, {
    type,
    subject: { kind: "meeting", id },
    audience: "everyone",
    data: { name, startsOn, discipline },
  });

async function surfaceOfVenue(work: Work, venueId: string | null): Promise<string> {
  if (venueId === null)
    throw new DomainError("inconsistent", "surface must be given where no venue is named", [
      { pointer: "#/surface", detail: "must be given where no venue is named" },
    ]);
  return (await getRecord(work.db, "venues", work.actor.clubId, venueId, "venue")).surface;
}

/** Changes the members given. A new venue brings its surface along unless a surface is given too. */
export async function changeMeeting(
  work: Work,
  id: string,
  changes: { [K in keyof MeetingGiven]?: MeetingGiven[K] | undefined },
): Promise<MeetingRow> {
  const { venueId } = changes;
  return together(work, async (work) => {
    const moved = typeof venueId === "string" && changes.surface === undefined;
    const surface = moved ? await surfaceOfVenue(work, venueId) : changes.surface;

    const meeting = await changeRecord(work, "meetings", "meeting", id, { ...changes, surface }, [
      ["venues", venueId, "venue"],
    ]);
    requirePractice(meeting);
    await noteMeeting(work, "meeting.changed", meeting);
    return meeting;
  });
}

export const listMeetings = (
  work: Work,
  page: PageRequest,
  only: { from?: string | undefined; through?: string | undefined; discipline?: string | undefined },
): Promise<Page<MeetingRow>> => pageOfMeetings(work.db, work.actor.clubId, page, only);

/** Takes a meeting off the calendar, with its entries. @throws {DomainError} `in_use` where runs were logged there */
export const removeMeeting = (work: Work, id: string): Promise<void> =>
  together(work, async (work) => {
    const meeting = await readRecord(work, "meetings", "meeting", id);
    await deleteEntries(work.db, id);
    await removeRecord(work, "meetings", "meeting", id);
    await noteMeeting(work, "meeting.removed", meeting);
  });

/** What a car does at a meeting, whether it was stated or follows from the disciplines. */
const shown = (meeting: MeetingRow, car: CarAtMeeting) => {
  const stated = car.attends !== null;
  const entry = stated ? { attends: car.attends === 1, plannedRuns: car.plannedRuns } : undefined;
  const { carId, carName, driverId, discipline } = car;
  return {
    meetingId: meeting.id,
    carId,
    carName,
    driverId,
    attends: attends(meeting, discipline, entry),
    plannedRuns: plannedRuns(meeting, discipline, entry),
    stated,
    version: car.version,
  };
};

/** States whether a car attends, and how many runs it plans there. @throws {DomainError} `not_found`, `not_allowed` */
export async function enterCar(
  work: Work,
  meetingId: string,
  carId: string,
  given: { attends: boolean; plannedRuns: number | null },
) {
  const { clubId } = work.actor;
  return together(work, async (work) => {
    const meeting = await getRecord(work.db, "meetings", clubId, meetingId, "meeting");
    const car = await getRecord(work.db, "cars", clubId, carId, "car");
    requireOwn(work, car.driverId, "a car");
    const entry = { attends: given.attends ? 1 : 0, plannedRuns: given.plannedRuns };
    await upsertEntry(work.db, { id: work.newId(), clubId, meetingId, carId, ...entry, version: 1 });
    await noteChange(work, {
      type: "car.entered",
      subject: { kind: "car", id: carId },
      audience: { driverId: car.driverId },
      data: { name: car.name, meetingId, ...given },
    });
    return entryOf(work, meeting, carId);
  });
}

async function entryOf(work: Work, meeting: MeetingRow, carId: string) {
  const page = { limit: 1, after: null };
  const { items } = await pageOfCarsAtMeeting(work.db, work.actor.clubId, meeting.id, page, { carId });
  return shown(meeting, items[0]!);
}

/** What one car does at a meeting. @throws {DomainError} `not_found`, `not_allowed` */
export async function readEntry(work: Work, meetingId: string, carId: string) {
  const { clubId } = work.actor;
  const meeting = await getRecord(work.db, "meetings", clubId, meetingId, "meeting");
  const car = await getRecord(work.db, "cars", clubId, carId, "car");
  requireOwn(work, car.driverId, "a car");
  return entryOf(work, meeting, carId);
}

/** Every car within reach, with what it does at the meeting. */
export async function listEntries(work: Work, meetingId: string, page: PageRequest) {
  const { clubId } = work.actor;
  const meeting = await getRecord(work.db, "meetings", clubId, meetingId, "meeting");
  const driverId = onlyDriver(work) ?? undefined;
  const { items, next } = await pageOfCarsAtMeeting(work.db, clubId, meetingId, page, { driverId });
  return { items: items.map((car) => shown(meeting, car)), next };
}
