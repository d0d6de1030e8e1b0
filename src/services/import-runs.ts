import type { Change } from "../domain/change.ts";
import { surfaces } from "../domain/kind.ts";
import { latestMoment } from "../domain/moment.ts";
import { conditionWords } from "../domain/piece.ts";
import { emptyRun } from "../domain/run.ts";
import { insertRows, selectRunsAt } from "../storage/bulk.ts";
import type { CarRow, MeetingRow, RunRow } from "../storage/tables.ts";
import {
  type Given,
  moment,
  name,
  number,
  text,
  whole,
  Wrong,
  WrongAt,
  word,
  words,
} from "./import-cells.ts";
import { type ImportCounts, keepTogether, notOwn, reachesDriver, requireLogReach } from "./import-counts.ts";
import { countEvidenceOfRuns } from "./import-evidence.ts";
import { groupedBy } from "./grouped-by.ts";
import { Faults } from "./import-faults.ts";
import { carNames, meetingNames, pieceName, packNames } from "./import-names.ts";
import { changeOfRuns } from "./log-runs.ts";
import { type Bytes, readTable, type Table, type TableForm } from "./tables-in.ts";
import type { Work } from "./work.ts";

export const runColumns = {
  car: name(200),
  carId: name(64),
  at: moment,
  minutes: number(0, 600),
  surface: word(surfaces),
  conditions: words(conditionWords),
  pack: name(60),
  packId: name(64),
  knocks: whole(0, 100),
  meeting: name(200),
  meetingId: name(64),
  notes: text(2000),
};
const table: Table<typeof runColumns> = {
  columns: runColumns,
  unused: ["id", "version"],
  needs: [["car", "carId"], ["at"], ["minutes"]],
};

/** Conditions are a set: their order says nothing. */
const conditionsIn = (row: RunRow) => (JSON.parse(row.conditions ?? "[]") as string[]).sort().join(" ");

/** The first column in which two runs of one car at one time differ, or null where they say the same. */
function differing(one: RunRow, other: RunRow): keyof RunRow | null {
  const plain = ["minutes", "surface", "knocks", "packId", "meetingId", "notes"] as const;
  const found = plain.find((column) => one[column] !== other[column]);
  return found ?? (conditionsIn(one) === conditionsIn(other) ? null : "conditions");
}

/** How a sound row becomes a run, with everything it refers to found. */
async function runReader(work: Work): Promise<(given: Given<typeof runColumns>) => RunRow | WrongAt> {
  const cars = await carNames(work);
  const packs = await packNames(work);
  const meetings = await meetingNames(work);
  const latest = latestMoment(work.now());
  const { clubId } = work.actor;

  const packOf = (given: Given<typeof runColumns>, driverId: string): string | null | WrongAt => {
    if (given.pack === null && given.packId === null) return null;
    const column = given.pack === null ? "packId" : "pack";
    const name = given.pack === null ? null : pieceName(driverId, given.pack);
    const pack = packs.find(given.packId, name, given.pack);
    if (pack instanceof Wrong) return new WrongAt(column, pack.detail);
    if (pack.driverId !== driverId) return new WrongAt(column, `${pack.mark} belongs to another driver`);
    return pack.id;
  };
  const meetingOf = (given: Given<typeof runColumns>): MeetingRow | null | WrongAt => {
    if (given.meeting === null && given.meetingId === null) return null;
    const meeting = meetings.find(given.meetingId, given.meeting);
    return meeting instanceof Wrong
      ? new WrongAt(given.meeting === null ? "meetingId" : "meeting", meeting.detail)
      : meeting;
  };

  return (given) => {
    const car = cars.find(given.carId, given.car);
    const carColumn = given.car === null ? "carId" : "car";
    if (car instanceof Wrong) return new WrongAt(carColumn, car.detail);
    if (!reachesDriver(work, car.driverId)) return new WrongAt(carColumn, notOwn);
    if (given.at! > latest) return new WrongAt("at", "is in the future; log a run when it has happened");
    const meeting = meetingOf(given);
    if (meeting instanceof WrongAt) return meeting;
    const surface = given.surface ?? meeting?.surface;
    if (surface === undefined) return new WrongAt("surface", "must be given where no meeting is named");
    const packId = packOf(given, car.driverId);
    if (packId instanceof WrongAt) return packId;
    const minutes = given.minutes!;
    const knocks = given.knocks ?? 0;
    const empty = emptyRun({ minutes, knocks, packId });
    if (empty !== null) return new WrongAt("minutes", empty);
    const conditions = given.conditions ?? [];
    return {
      id: "",
      clubId,
      carId: car.id,
      at: given.at!,
      minutes,
      surface,
      conditions: conditions.length === 0 ? null : JSON.stringify(conditions),
      packId,
      knocks,
      meetingId: meeting?.id ?? null,
      notes: given.notes,
      version: 1,
    };
  };
}

/** The rows that were not inserted because a run was there: each must say the same as that run. */
async function alreadyThere(
  work: Work,
  runs: readonly RunRow[],
  faults: Faults,
): Promise<ReadonlySet<RunRow>> {
  const byCar = groupedBy(runs, (run) => run.carId);
  const rowOf = new Map(runs.map((run, row) => [run, row]));
  const there = new Set<RunRow>();
  for (const [carId, some] of byCar) {
    const moments = [...new Set(some.map((run) => run.at))];
    const logged = new Map((await selectRunsAt(work.db, carId, moments)).map((run) => [run.at, run]));
    for (const run of some) {
      const other = logged.get(run.at)!;
      if (other.id === run.id) continue;
      there.add(run);
      const column = differing(run, other);
      if (column !== null)
        faults.add(
          rowOf.get(run)!,
          column,
          `a run of this car at ${run.at} is there already with ${JSON.stringify(other[column])}; change that one, or give another time`,
        );
    }
  }
  return there;
}

/** One entry for each car, as where the runs of a meeting are logged together. */
async function changesOf(work: Work, added: readonly RunRow[]): Promise<Change[]> {
  const cars = await carNames(work);
  return [...groupedBy(added, (run) => run.carId)].map(([carId, runs]) =>
    changeOfRuns("car.runs-logged", cars.find(carId, null) as CarRow, runs),
  );
}

/**
 * Imports runs: all of them, or none. A row that says the same as a run that is there already changes nothing.
 *
 * @throws {DomainError} `import_refused` or `not_allowed`
 * @throws {TableTooLarge}
 */
export async function importRuns(
  work: Work,
  body: Bytes,
  form: TableForm,
  dryRun: boolean,
): Promise<ImportCounts> {
  requireLogReach(work);
  const faults = new Faults();
  const runs: RunRow[] = [];
  const runOf = await runReader(work);
  const rowsRead = await readTable(body, form, table, faults, (given, row) =>
    faults.sort(row, runOf(given), (run) => runs.push(run)),
  );
  faults.refuse();
  return keepTogether(work, "runs", dryRun, async (work) => {
    for (const run of runs) run.id = work.newId();
    const rowsKept = await insertRows(work.db, "runs", runs, "run", ["carId", "at"]);
    const there = rowsKept === runs.length ? null : await alreadyThere(work, runs, faults);
    faults.refuse();
    const added = there === null ? runs : runs.filter((run) => !there.has(run));
    await countEvidenceOfRuns(work.db, added);
    const changes = await changesOf(work, added);
    return { rowsRead, rowsKept, rowsAlreadyThere: rowsRead - rowsKept, changes };
  });
}
