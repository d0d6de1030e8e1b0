import type { Db } from "../../src/storage/database.ts";
import type { Tables } from "../../src/storage/tables.ts";

/**
 * A club's history of any length, written straight into the tables: 16 cars with ten positions each, 80 runs a car
 * and season, a new piece at each position after 60 runs, a reading of every piece after every sixth run. One season
 * is 1,280 runs, about 220 pieces and 2,100 readings.
 */
const cars = 16;
const positionsPerCar = 10;
const runsPerSeason = 80;
const runsPerPiece = 60;
const runsPerReading = 6;

const start = Date.parse("2020-01-01T00:00:00.000Z");
/** Runs of a car lie four hours apart; a hundred seasons end within four years, and what is logged after them lies before `now`. */
const at = (run: number, minutes = 0) => new Date(start + (run * 240 + minutes) * 60_000).toISOString();

export interface History {
  carIds: string[];
  /** the moment after the last run */
  now: string;
  /** first moment at which another run may be logged, and the moments after it */
  freeAt: (i: number) => string;
}

/** Writes rows, as many at a time as a statement holds. */
export async function insertMany<T extends keyof Tables>(
  db: Db,
  table: T,
  rows: readonly Tables[T][],
): Promise<void> {
  const columns = Object.keys(rows[0]!).length;
  const most = Math.floor(30_000 / columns);
  for (let i = 0; i < rows.length; i += most)
    await db
      .insertInto(table as "runs")
      .values(rows.slice(i, i + most) as never)
      .execute();
}

/** Fills a database that has a club, a driver, and a line of the kind measured. */
export async function fillHistory(
  db: Db,
  given: { clubId: string; driverId: string; lineId: string; kindId: string; seasons: number },
): Promise<History> {
  const { clubId, driverId, lineId, kindId, seasons } = given;
  const runs: Tables["runs"][] = [];
  const pieces: Tables["pieces"][] = [];
  const fittings: Tables["fittings"][] = [];
  const inspections: Tables["inspections"][] = [];
  const readings: Tables["readings"][] = [];
  const carRows: Tables["cars"][] = [];
  const positions: Tables["positions"][] = [];
  const total = runsPerSeason * seasons;
  let made = 0;
  const id = (sort: string) => `${sort}-${String(++made).padStart(9, "0")}`;
  for (let c = 0; c < cars; c++) {
    const carId = id("car");
    const unset = {
      carModelId: null,
      raceClass: null,
      gearCase: null,
      spurTeeth: null,
      pinionTeeth: null,
      meshNote: null,
      notes: null,
    };
    carRows.push({ id: carId, clubId, driverId, name: carId, createdAt: at(0), version: 1, ...unset });
    for (let r = 0; r < total; r++) {
      const run = {
        minutes: 5.5,
        surface: "asphalt",
        conditions: null,
        packId: null,
        knocks: 0,
        meetingId: null,
        notes: null,
      };
      runs.push({ id: id("run"), clubId, carId, at: at(r), version: 1, ...run });
    }
    for (let p = 0; p < positionsPerCar; p++) {
      const positionId = id("pos");
      positions.push({
        id: positionId,
        clubId,
        carId,
        name: `position ${p}`,
        kindId,
        changedWith: null,
        createdAt: at(0),
      });
      for (let from = 0; from < total; from += runsPerPiece) {
        const pieceId = id("piece");
        const until = from + runsPerPiece;
        const ended = until < total;
        const end = ended ? at(until, -1) : null;
        const none = { priorUsage: null, priorUsageSd: null, boughtOn: null, keptFor: null, notes: null };
        const retired = { retiredAt: end, retiredFor: ended ? ("worn" as const) : null };
        const asNew = 15.485;
        pieces.push({
          id: pieceId,
          clubId,
          driverId,
          lineId,
          mark: pieceId,
          asNew,
          createdAt: at(from),
          version: 1,
          ...none,
          ...retired,
        });
        fittings.push({
          id: id("fit"),
          clubId,
          pieceId,
          carId,
          positionId,
          fittedAt: at(from, -1),
          removedAt: end,
          version: 1,
        });
        // Rates differ from piece to piece by a third or so, readings scatter by what a calliper does.
        const rate = 0.00015 * (0.7 + 0.6 * ((made * 0.618) % 1));
        for (let r = from + runsPerReading; r < Math.min(until, total); r += runsPerReading) {
          const inspectionId = id("look");
          const value = asNew - rate * (r - from) * 5.5 + 0.018 * (((made * 0.7548) % 1) * 2 - 1);
          inspections.push({
            id: inspectionId,
            clubId,
            pieceId,
            at: at(r, -2),
            grade: null,
            findings: "[]",
            services: "[]",
            notes: null,
            version: 1,
          });
          const entered = {
            sd: 0.018,
            instrument: "calliper",
            enteredValue: value,
            enteredUnit: "mm",
            confirmed: 0,
          };
          readings.push({ id: id("read"), clubId, inspectionId, pieceId, at: at(r, -2), value, ...entered });
        }
      }
    }
  }
  await db.transaction().execute(async (trx) => {
    await insertMany(trx, "cars", carRows);
    await insertMany(trx, "positions", positions);
    await insertMany(trx, "pieces", pieces);
    await insertMany(trx, "fittings", fittings);
    await insertMany(trx, "runs", runs);
    await insertMany(trx, "inspections", inspections);
    await insertMany(trx, "readings", readings);
  });
  return { carIds: carRows.map((car) => car.id), now: at(total + 100_000), freeAt: (i) => at(total + i) };
}
