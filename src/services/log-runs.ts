import type { Change, ChangeType } from "../domain/change.ts";
import { DomainError } from "../domain/errors.ts";
import type { Surface } from "../domain/kind.ts";
import { requirePast } from "../domain/moment.ts";
import type { ConditionWord } from "../domain/piece.ts";
import { requireUse } from "../domain/run.ts";
import { deleteRecord, getRecord, insertRecord, updateRecord } from "../storage/records.ts";
import type { CarRow, RunRow } from "../storage/tables.ts";
import { countEvidenceOfRun } from "../storage/usage.ts";
import { groupedBy } from "./grouped-by.ts";
import { getOwnCar } from "./keep-cars.ts";
import { lineAndKind } from "./keep-pieces.ts";
import { noteChange } from "./note-change.ts";
import { together, type Work } from "./work.ts";

export interface GivenRun {
  carId: string;
  at: string;
  minutes: number;
  surface: Surface | null;
  conditions: ConditionWord[];
  packId: string | null;
  knocks: number;
  meetingId: string | null;
  notes: string | null;
}

/** A run as it is answered: its conditions as words. */
export const runFromRow = (row: RunRow) => ({
  ...row,
  surface: row.surface as Surface,
  conditions: JSON.parse(row.conditions ?? "[]") as ConditionWord[],
});
export type Run = ReturnType<typeof runFromRow>;

/** The pack that a run names must be a pack of the car's driver. */
async function requirePack(work: Work, packId: string, driverId: string): Promise<void> {
  const pack = await getRecord(work.db, "pieces", work.actor.clubId, packId, "pack");
  const { kind } = await lineAndKind(work, pack.lineId);
  if (kind.usedBy !== "pack")
    throw new DomainError("wrong_kind", `${pack.mark} is a ${kind.name}, not a pack`);
  if (pack.driverId !== driverId)
    throw new DomainError("not_allowed", `${pack.mark} belongs to another driver`);
}

async function surfaceOf(
  work: Work,
  given: Pick<GivenRun, "surface" | "meetingId">,
  member: string,
): Promise<Surface> {
  const meeting =
    given.meetingId === null
      ? null
      : await getRecord(work.db, "meetings", work.actor.clubId, given.meetingId, "meeting");
  const surface = given.surface ?? meeting?.surface;
  if (surface === undefined)
    throw new DomainError("inconsistent", "Say on which surface the run was, or at which meeting", [
      { pointer: `${member}/surface`, detail: "must be given where no meeting is named" },
    ]);
  return surface as Surface;
}

const twice = (given: { at: string }) =>
  new DomainError(
    "name_taken",
    `A run of this car at ${given.at} is logged already; change that one, or give another time`,
  );

async function insertRun(work: Work, row: RunRow): Promise<void> {
  try {
    await insertRecord(work.db, "runs", row, "run");
  } catch (error) {
    throw error instanceof DomainError && error.code === "name_taken" ? twice(row) : error;
  }
}

/** What was said of a car's runs, as the feed tells it: everything fitted to it, and the packs, are used by them. */
export function changeOfRuns(
  type: Extract<ChangeType, `car.run${string}`>,
  { id, driverId, name }: CarRow,
  runs: readonly Pick<RunRow, "at" | "packId">[],
): Change {
  let [from, through] = [runs[0]?.at, runs[0]?.at];
  const packIds = new Set<string>();
  for (const { at, packId } of runs) {
    if (at < from!) from = at;
    if (at > through!) through = at;
    if (packId !== null) packIds.add(packId);
  }
  const data = { name, runs: runs.length, from, through, packIds: [...packIds] };
  return { type, subject: { kind: "car", id }, audience: { driverId }, data };
}

const noteRuns = (work: Work, ...what: Parameters<typeof changeOfRuns>): Promise<void> =>
  noteChange(work, changeOfRuns(...what));

/** @param member where the request has the run: a JSON pointer */
async function addRun(work: Work, given: GivenRun, member = "#"): Promise<{ run: Run; car: CarRow }> {
  requirePast(work.now(), given.at, "A run", `${member}/at`);
  requireUse(given, `${member}/minutes`);
  const car = await getOwnCar(work, given.carId);
  if (given.packId !== null) await requirePack(work, given.packId, car.driverId);
  const { conditions, ...members } = given;
  const row: RunRow = {
    id: work.newId(),
    clubId: work.actor.clubId,
    version: 1,
    ...members,
    surface: await surfaceOf(work, given, member),
    conditions: conditions.length === 0 ? null : JSON.stringify(conditions),
  };
  await insertRun(work, row);
  await countEvidenceOfRun(work.db, row);
  return { run: runFromRow(row), car };
}

/** Logs one outing of a car. The usage of everything fitted then, and of the pack named, follows from it. */
export const logRun = (work: Work, given: GivenRun): Promise<Run> =>
  together(work, async (work) => {
    const { run, car } = await addRun(work, given);
    await noteRuns(work, "car.runs-logged", car, [run]);
    return run;
  });

/** Logs the runs of a whole meeting, for one car or several: all of them, or none. */
export const logMeeting = (
  work: Work,
  meetingId: string,
  runs: readonly Omit<GivenRun, "meetingId">[],
): Promise<Run[]> =>
  together(work, async (work) => {
    const logged: { run: Run; car: CarRow }[] = [];
    for (const [i, run] of runs.entries())
      logged.push(await addRun(work, { ...run, meetingId }, `#/runs/${i}`));
    for (const [, ofCar] of groupedBy(logged, ({ run }) => run.carId))
      await noteRuns(
        work,
        "car.runs-logged",
        ofCar[0]!.car,
        ofCar.map(({ run }) => run),
      );
    return logged.map(({ run }) => run);
  });

async function ownRun(work: Work, id: string): Promise<{ run: RunRow; car: CarRow }> {
  const run = await getRecord(work.db, "runs", work.actor.clubId, id, "run");
  return { run, car: await getOwnCar(work, run.carId) };
}

export const readRun = async (work: Work, id: string): Promise<Run> =>
  runFromRow((await ownRun(work, id)).run);

/** Corrects a run that was logged wrongly. */
export const changeRun = (
  work: Work,
  id: string,
  changes: { [K in keyof GivenRun]?: GivenRun[K] | undefined },
): Promise<Run> =>
  together(work, async (work) => {
    const { run: before, car: carBefore } = await ownRun(work, id);
    const { conditions, surface, ...members } = changes;
    const given = Object.fromEntries(Object.entries(members).filter(([, value]) => value !== undefined));
    if (changes.at !== undefined) requirePast(work.now(), changes.at, "A run");
    const car = await getOwnCar(work, changes.carId ?? before.carId);
    const packId = changes.packId === undefined ? before.packId : changes.packId;
    const { minutes = before.minutes, knocks = before.knocks } = changes;
    // A run of long ago may say nothing of use: its notes can still be corrected.
    if (changes.minutes !== undefined || changes.knocks !== undefined || changes.packId !== undefined)
      requireUse({ minutes, knocks, packId }, "#/minutes");
    if (packId !== null) await requirePack(work, packId, car.driverId);
    if (changes.meetingId !== undefined && changes.meetingId !== null)
      await getRecord(work.db, "meetings", work.actor.clubId, changes.meetingId, "meeting");
    try {
      const after = await updateRecord(
        work.db,
        "runs",
        work.actor.clubId,
        id,
        {
          ...given,
          ...(surface === undefined || surface === null ? {} : { surface }),
          ...(conditions === undefined
            ? {}
            : { conditions: conditions.length === 0 ? null : JSON.stringify(conditions) }),
        },
        "run",
      );
      await countEvidenceOfRun(work.db, before);
      await countEvidenceOfRun(work.db, after);
      await noteRuns(work, "car.run-changed", car, [after]);
      if (car.id !== carBefore.id || before.packId !== after.packId)
        await noteRuns(work, "car.run-changed", carBefore, [before]);
      return runFromRow(after);
    } catch (error) {
      throw error instanceof DomainError && error.code === "name_taken"
        ? twice({ at: changes.at ?? before.at })
        : error;
    }
  });

/** Deletes a run that never happened. */
export const deleteRun = (work: Work, id: string): Promise<void> =>
  together(work, async (work) => {
    const { run, car } = await ownRun(work, id);
    await deleteRecord(work.db, "runs", work.actor.clubId, id, "run");
    await countEvidenceOfRun(work.db, run);
    await noteRuns(work, "car.run-deleted", car, [run]);
  });
