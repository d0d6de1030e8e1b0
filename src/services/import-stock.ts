import type { Change } from "../domain/change.ts";
import { latestMoment } from "../domain/moment.ts";
import { insertRows, selectLevelsWithLast } from "../storage/bulk.ts";
import { levelOf } from "../storage/stock-ledger.ts";
import type { LineRow, LocationRow, MovementRow } from "../storage/tables.ts";
import { type Given, moment, name, whole, Wrong, WrongAt } from "./import-cells.ts";
import { type ImportCounts, keepTogether } from "./import-counts.ts";
import { Faults } from "./import-faults.ts";
import { driverNames, lineNames, locationName, locationNames } from "./import-names.ts";
import { changeOfLevel } from "./move-stock.ts";
import { reachableLocations } from "./reach-locations.ts";
import { type Bytes, readTable, type Table, type TableForm } from "./tables-in.ts";
import type { Work } from "./work.ts";

export const stockColumns = {
  location: name(120),
  locationId: name(64),
  driver: name(120),
  driverId: name(64),
  sku: name(60),
  lineId: name(64),
  pieces: whole(0, 1e6),
  at: moment,
};
type GivenCount = Given<typeof stockColumns>;
const table: Table<typeof stockColumns> = {
  columns: stockColumns,
  unused: ["lineName", "sort"],
  needs: [["location", "locationId"], ["sku", "lineId"], ["pieces"]],
};

interface Count {
  row: number;
  line: LineRow;
  location: LocationRow;
  pieces: number;
  at: string;
}

/** How a sound row becomes a count of a line at a location within reach. */
async function countReader(work: Work) {
  const drivers = await driverNames(work);
  const lines = await lineNames(work);
  const locations = await locationNames(work);
  const reachable = new Set((await reachableLocations(work, work.db)).map(({ id }) => id));
  const now = work.now();
  const latest = latestMoment(now);

  const locationOf = (given: GivenCount): LocationRow | WrongAt => {
    const named = given.driver !== null || given.driverId !== null;
    const driver = named ? drivers.find(given.driverId, given.driver) : null;
    if (driver instanceof Wrong)
      return new WrongAt(given.driver === null ? "driverId" : "driver", driver.detail);
    const driverId = driver?.id ?? work.actor.driverId;
    const name = given.location;
    const key = name === null || driverId === null ? name : locationName(driverId, name);
    const found = locations.find(given.locationId, key, name);
    // A driver who does not say whose a location is means their own, or else the only one of that name.
    const location = found instanceof Wrong && !named ? locations.find(given.locationId, name) : found;
    const column = name === null ? "locationId" : "location";
    if (location instanceof Wrong) return new WrongAt(column, location.detail);
    return reachable.has(location.id)
      ? location
      : new WrongAt(column, `"${location.name}" is out of reach of this key`);
  };

  return (given: GivenCount, row: number): Count | WrongAt => {
    if (given.at !== null && given.at > latest)
      return new WrongAt("at", "is in the future; log a count when it was taken");
    const location = locationOf(given);
    if (location instanceof WrongAt) return location;
    const line = lines.find(given.lineId, given.sku);
    if (line instanceof Wrong) return new WrongAt(given.sku === null ? "lineId" : "sku", line.detail);
    return { row, line, location, pieces: given.pieces!, at: given.at ?? now };
  };
}

const placeOf = (lineId: string, locationId: string) => `${lineId}\n${locationId}`;

/** A movement with where it is, and what lies there after it. */
interface Difference {
  movement: MovementRow;
  location: LocationRow;
  pieces: number;
}

function* changesOf(differences: readonly Difference[]): Generator<Change> {
  for (const { movement, location, pieces } of differences) yield changeOfLevel(movement, location, pieces);
}

/** The movements that make the ledger agree with the counts; a count that agrees already needs none. */
async function differences(work: Work, counts: readonly Count[], faults: Faults): Promise<Difference[]> {
  const { clubId } = work.actor;
  const locationIds = [...new Set(counts.map(({ location }) => location.id))];
  const levels = new Map(
    (await selectLevelsWithLast(work.db, locationIds)).map((level) => [
      placeOf(level.lineId, level.locationId),
      level,
    ]),
  );
  const found: Difference[] = [];
  const recordedAt = work.now();
  const rowOf = new Map<string, number>();
  for (const { row, line, location, pieces, at } of counts) {
    const place = placeOf(line.id, location.id);
    const twice = rowOf.get(place);
    if (twice !== undefined) {
      faults.add(
        row,
        "pieces",
        `${line.sku} at "${location.name}" is counted in row ${twice + 1} too: add them up`,
      );
      continue;
    }
    rowOf.set(place, row);
    const level = levels.get(place);
    const now = Number(level?.pieces ?? 0);
    // The ledger may hold movements after the count; they stay as they are.
    const later = level !== undefined && level.lastAt > at;
    const expected = later ? await levelOf(work.db, clubId, line.id, location.id, at) : now;
    const quantity = pieces - expected;
    if (now + quantity < 0)
      faults.add(
        row,
        "pieces",
        `${pieces} were counted at ${at}, but the ledger has ${expected - now} taken since: count again now, or undo what was not taken`,
      );
    else if (quantity !== 0) {
      const where = { clubId, lineId: line.id, locationId: location.id };
      const nothing = { pieceId: null, orderId: null, undoesId: null, pairId: null, notes: null };
      const said = { quantity, reason: "counted" as const, at, recordedAt };
      found.push({
        movement: { id: work.newId(), ...where, ...said, ...nothing },
        location,
        pieces: now + quantity,
      });
    }
  }
  return found;
}

/**
 * Imports a count of stock: each difference to what the ledger holds is written as a movement, all of them or none.
 * A count that agrees with the ledger changes nothing; lines that are not counted stay as they are.
 *
 * @throws {DomainError} `import_refused`
 * @throws {TableTooLarge}
 */
export async function importStock(
  work: Work,
  body: Bytes,
  form: TableForm,
  dryRun: boolean,
): Promise<ImportCounts> {
  const faults = new Faults();
  const counts: Count[] = [];
  const countOf = await countReader(work);
  const rowsRead = await readTable(body, form, table, faults, (given, row) =>
    faults.sort(row, countOf(given, row), (count) => counts.push(count)),
  );
  faults.refuse();
  return keepTogether(work, "stock", dryRun, async (work) => {
    const found = await differences(work, counts, faults);
    faults.refuse();
    const movements = found.map(({ movement }) => movement);
    const rowsKept = await insertRows(work.db, "movements", movements, "movement");
    return { rowsRead, rowsKept, rowsAlreadyThere: rowsRead - rowsKept, changes: changesOf(found) };
  });
}
