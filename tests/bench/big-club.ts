import { createRandom, type Random } from "../../src/stats/index.ts";
import type { Db } from "../../src/storage/database.ts";
import type { Tables } from "../../src/storage/tables.ts";
import {
  carSorts,
  gradeOf,
  minutesPerRun,
  type ShippedKind,
  shippedKinds,
  wearAtLimit,
  wearingUsage,
} from "./big-club-cars.ts";
import { insertMany } from "./history.ts";

/**
 * A club of any number of cars with three seasons of log, written straight into the tables: 20 meetings a season with
 * five runs, pieces that wear, break and are changed, readings and grades of most lines and none of some, stock at
 * home, orders that came and orders under way, and a calendar ahead.
 */
const linesPerKind = 7;
const linesPerPackKind = 2;
const runsPerMeeting = 5;
const meetingsPerSeason = 20;
const seasons = 3;
const meetingsRun = seasons * meetingsPerSeason;
const dayMs = 86_400_000;
const start = Date.parse("2024-01-06T09:00:00.000Z");
const daysApart = 365 / meetingsPerSeason;
const moment = (ms: number) => new Date(ms).toISOString();
const before = moment(start - dayMs);
const runMs = (meeting: number, run: number) => start + meeting * daysApart * dayMs + run * 2_700_000;

/** The calendar ahead is the fourth season. */
export const bigClubNow = "2027-01-02T12:00:00.000Z";

interface Line {
  id: string;
  kind: ShippedKind;
  supplierId: string;
  /** the life of a typical piece of it, on the kind's clock */
  life: number;
  /** chance that a piece is looked at after a meeting */
  looked: number;
}

/** Positions that are changed together, and the line that they take. */
interface Group {
  line: Line;
  positionIds: string[];
  carId: string;
  driverId: string;
  surfaces: readonly string[];
}

/** Tables in the order in which their rows may refer to each other. */
const tablesInOrder = [
  ...["suppliers", "lines", "carModels", "meetings", "drivers", "locations", "cars", "positions", "pieces"],
  ...["fittings", "runs", "inspections", "readings", "orders", "orderLines", "movements"],
] as (keyof Tables)[];

/** Fills a database that has a club with the shipped kinds. */
export async function fillBigClub(db: Db, given: { clubId: string; cars: number; seed: number }) {
  const kinds = await db.selectFrom("kinds").select(["code", "id"]).execute();
  const maker = new ClubMaker(given.clubId, given.seed, new Map(kinds.map(({ code, id }) => [code, id])));
  maker.club(given.cars);
  const { rows } = maker;
  await db.transaction().execute(async (trx) => {
    for (const table of tablesInOrder) await insertMany(trx, table as "runs", rows[table] as never);
  });
  const count = (table: keyof Tables) => rows[table]!.length;
  return {
    carIds: rows.cars!.map(({ id }) => id),
    lines: count("lines"),
    fitted: rows.fittings!.filter(({ removedAt }) => removedAt === null).length,
    counts: Object.fromEntries(tablesInOrder.map((table) => [table, count(table)])),
  };
}

class ClubMaker {
  readonly rows: { [T in keyof Tables]?: Tables[T][] } = {};
  readonly #clubId: string;
  readonly #random: Random;
  readonly #kindIds: ReadonlyMap<string, string>;
  #made = 0;

  constructor(clubId: string, seed: number, kindIds: ReadonlyMap<string, string>) {
    this.#clubId = clubId;
    this.#random = createRandom(seed);
    this.#kindIds = kindIds;
  }

  /** Ids sort by the time of making. */
  #id(ms: number): string {
    return `${String(ms).padStart(14, "0")}-${String(++this.#made).padStart(8, "0")}`;
  }

  #add<T extends keyof Tables>(table: T, said: Omit<Tables[T], "id" | "clubId">, ms = start): string {
    const id = this.#id(ms);
    const row = { id, clubId: this.#clubId, ...said };
    const before = this.rows[table] as unknown[] | undefined;
    if (before === undefined) this.rows[table] = [row] as never;
    else before.push(row);
    return id;
  }

  club(cars: number): void {
    const kept = { createdAt: before, version: 1, notes: null };
    const suppliers = Array.from({ length: 12 }, (_, i) =>
      this.#add("suppliers", {
        ...{ ...kept, name: `Supplier ${i + 1}`, leadTimeDays: 4 + 3 * i, leadTimeSdDays: 2 + i },
        minimumOrderMinorUnits: i % 3 === 0 ? 20_000 : 0,
      }),
    );
    const lines = shippedKinds.flatMap((kind, k) =>
      Array.from({ length: kind.usedBy === "pack" ? linesPerPackKind : linesPerKind }, (_, i) =>
        this.#line(kind, suppliers[(k + i) % suppliers.length]!, i),
      ),
    );
    const models = carSorts.map(({ discipline }) =>
      this.#add("carModels", { ...kept, name: `Model ${discipline}`, discipline, internalRatio: null }),
    );
    const meetings = Array.from({ length: meetingsRun + meetingsPerSeason }, (_, m) => {
      const said = {
        venueId: null,
        surface: "asphalt",
        discipline: null,
        plannedRuns: runsPerMeeting,
        practiceRuns: null,
      };
      const startsOn = moment(runMs(m, 0)).slice(0, 10);
      return this.#add("meetings", {
        ...{ ...kept, name: `Meeting ${m + 1}`, startsOn, days: 1, minutesPerRun },
        ...said,
      });
    });
    for (let first = 0; first < cars; first += 2) {
      const name = `Driver ${first / 2 + 1}`;
      const driverId = this.#add("drivers", { ...kept, name, sharesDemand: 1 });
      const home = { name: `Home of ${name}`, sort: "home" as const, driverId };
      const locationId = this.#add("locations", { ...home, createdAt: before, version: 1 });
      const packs = ["P1", "P2"].map((mark) =>
        this.#piece(driverId, this.#chosen(lines, "LIP-CAP"), start, { mark }),
      );
      const used = new Set<Line>();
      for (let car = first; car < Math.min(cars, first + 2); car++)
        this.#car({ car, driverId, carModelId: models[car % models.length]!, lines, packs, meetings, used });
      this.#stock(first / 2, locationId, [...used], suppliers);
    }
  }

  #line(kind: ShippedKind, supplierId: string, i: number): Line {
    const id = this.#add("lines", {
      ...{ createdAt: before, version: 1, notes: null, sku: `${kind.code}-${i}`, name: `${kind.name} ${i}` },
      ...{ gtin: null, makersPartNumber: null, kindId: this.#kindIds.get(kind.code)!, supplierId },
      ...{ packSize: kind.changedTogether, orderMultiplePacks: i === 3 ? 2 : 1, leadTimeDays: null },
      ...{ priceMinorUnits: 400 + Math.round(4000 * this.#random.uniform()), currency: "AUD", asNew: null },
      ...{ shelfLifeDays: null, weightGrams: null, limits: null, usualLife: null, supersededById: null },
      ...{ endedOn: null, evidence: 1, exposure: 0 },
    });
    const { p10, p90 } = kind.usualLife;
    const life = Math.sqrt(p10 * p90) * Math.exp(0.25 * this.#random.normal());
    // The last line of each kind is one that nobody ever looks at.
    const looked = i === linesPerKind - 1 ? 0 : (kind.measure === null ? 0.25 : 0.4) / (1 + (i % 3));
    return { id, kind, supplierId, life, looked };
  }

  /** The first lines of a kind are those that most racers use. */
  #chosen(lines: readonly Line[], code: string): Line {
    const all = lines.filter(({ kind }) => kind.code === code);
    return all[Math.floor(all.length * this.#random.uniform() ** 1.6)]!;
  }

  #piece(driverId: string, { id: lineId, kind }: Line, ms: number, said: Partial<Tables["pieces"]>): string {
    const { measure } = kind;
    // Half the measured pieces were measured when they were new.
    const known = measure !== null && this.#random.uniform() < 0.5;
    return this.#add(
      "pieces",
      {
        ...{ driverId, lineId, mark: `M${this.#made}`, createdAt: moment(ms), version: 1, notes: null },
        asNew: known ? measure.asNew + measure.asNewSd * this.#random.normal() : null,
        ...{ priorUsage: null, priorUsageSd: null, boughtOn: null, retiredAt: null, retiredFor: null },
        keptFor: null,
        ...said,
      },
      ms,
    );
  }

  #car(given: {
    car: number;
    driverId: string;
    carModelId: string;
    lines: readonly Line[];
    packs: readonly string[];
    meetings: readonly string[];
    used: Set<Line>;
  }): void {
    const { car, driverId, carModelId, lines, packs, meetings, used } = given;
    const { surfaces, parts } = carSorts[car % carSorts.length]!;
    const carId = this.#add("cars", {
      ...{ driverId, carModelId, name: `Car ${car + 1}`, createdAt: before, version: 1, notes: null },
      ...{ raceClass: null, gearCase: null, spurTeeth: null, pinionTeeth: null, meshNote: null },
    });
    for (const [code, count] of Object.entries(parts)) {
      const line = this.#chosen(lines, code);
      used.add(line);
      const alone = line.kind.changeRule === "alone";
      const kindId = this.#kindIds.get(code)!;
      const positionIds = Array.from({ length: count }, (_, i) =>
        this.#add("positions", {
          ...{ carId, name: `${code} ${i + 1}`, kindId, changedWith: alone ? null : code, createdAt: before },
        }),
      );
      for (const group of alone ? positionIds.map((one) => [one]) : [positionIds])
        this.#lives({ line, positionIds: group, carId, driverId, surfaces });
    }
    for (let meeting = 0; meeting < meetingsRun; meeting++)
      for (let run = 0; run < runsPerMeeting; run++) {
        const ms = runMs(meeting, run);
        const surface = surfaces[meeting % surfaces.length]!;
        const said = {
          conditions: null,
          packId: packs[run % 2]!,
          meetingId: meetings[meeting]!,
          notes: null,
        };
        const ran = { carId, at: moment(ms), minutes: minutesPerRun, surface, knocks: 0, version: 1 };
        this.#add("runs", { ...ran, ...said }, ms);
      }
  }

  /** The pieces that a group of positions had, one set after another, with what was seen of them. */
  #lives(group: Group): void {
    let from: number | null = 0;
    while (from !== null) from = this.#life(group, from);
  }

  /** One set of pieces, from one meeting to the one after which the next is fitted; null where it is still in place. */
  #life({ line, positionIds, carId, driverId, surfaces }: Group, from: number): number | null {
    const { kind } = line;
    const random = this.#random;
    const limit = wearAtLimit(kind);
    const fittedMs = Math.min(runMs(from, 0), Date.parse(bigClubNow) - dayMs) - dayMs / 2;
    const pieces = positionIds.map((positionId) => ({
      id: this.#piece(driverId, line, fittedMs, {}),
      positionId,
      rate: limit / (line.life * Math.exp(kind.pieceSpread * random.normal())),
      wear: 0,
    }));
    const rowsOf = this.rows.pieces!.slice(-pieces.length);
    const breaks = 1 - (1 - kind.breakagePerRun) ** (runsPerMeeting * pieces.length);
    let ended: "worn" | "broken" | null = null;
    let until = from;
    while (until < meetingsRun && ended === null) {
      const surface = surfaces[until % surfaces.length]!;
      const usage = wearingUsage(kind, surface, runsPerMeeting, daysApart);
      for (const piece of pieces)
        piece.wear += piece.rate * usage * Math.max(0.1, 1 + (kind.runSpread / 2) * random.normal());
      if (random.uniform() < line.looked)
        for (const [i, { id, wear }] of pieces.entries())
          this.#look(kind, id, rowsOf[i]!.asNew, wear, runMs(until, runsPerMeeting));
      until++;
      if (pieces.some(({ wear }) => wear > limit * (0.9 + 0.2 * random.uniform()))) ended = "worn";
      else if (random.uniform() < breaks) ended = "broken";
    }
    const removedAt = ended === null ? null : moment(runMs(until - 1, runsPerMeeting) + dayMs / 4);
    for (const [i, { id: pieceId, positionId }] of pieces.entries()) {
      const retiredFor = ended === "broken" && i > 0 ? "precaution" : ended;
      Object.assign(rowsOf[i]!, { retiredAt: removedAt, retiredFor });
      const fittedAt = moment(fittedMs);
      this.#add("fittings", { pieceId, carId, positionId, fittedAt, removedAt, version: 1 }, fittedMs);
    }
    return ended === null ? null : until;
  }

  #look(kind: ShippedKind, pieceId: string, asNew: number | null, wear: number, ms: number): void {
    const { measure } = kind;
    const at = moment(ms);
    const share = wear / wearAtLimit(kind) + 0.08 * this.#random.normal();
    const grade = measure === null ? gradeOf(share) : null;
    const said = { findings: "[]", services: "[]", notes: null, version: 1 };
    const inspectionId = this.#add("inspections", { pieceId, at, grade, ...said }, ms);
    if (measure === null) return;
    const { name: instrument, repeatabilitySd: sd, resolution } = measure.instruments[0]!;
    const sign = measure.direction === "falls" ? -1 : 1;
    const size = (asNew ?? measure.asNew) + sign * wear + sd * this.#random.normal();
    const value = Math.round(size / resolution) * resolution;
    const entered = { instrument, enteredValue: value, enteredUnit: measure.unit, confirmed: 0 };
    this.#add("readings", { inspectionId, pieceId, at, value, sd, ...entered }, ms);
  }

  /** What lies at a driver's home, two orders that came and one under way. */
  #stock(driver: number, locationId: string, used: readonly Line[], suppliers: readonly string[]): void {
    const none = { pieceId: null, undoesId: null, pairId: null, notes: null };
    const receive = (lineId: string, quantity: number, ms: number, orderId: string | null) => {
      const at = moment(ms);
      const moved = { lineId, locationId, quantity, reason: "received" as const, at, recordedAt: at };
      this.#add("movements", { ...moved, ...none, orderId }, ms);
    };
    for (const { id } of used) {
      const pieces = Math.floor(4 * this.#random.uniform());
      if (pieces > 0) receive(id, pieces, start, null);
    }
    for (let order = 0; order < 3; order++) {
      const from = (driver + order) % suppliers.length;
      const placed = start + (400 + 300 * order + 3 * (driver % 20)) * dayMs;
      const took = Math.max(1, 4 + 3 * from + (2 + from) * this.#random.normal()) * dayMs;
      const came = order < 2;
      const orderId = this.#add("orders", {
        ...{
          supplierId: suppliers[from]!,
          locationId,
          placedAt: moment(placed),
          promisedOn: null,
          notes: null,
        },
        ...{ closedAt: came ? moment(placed + took) : null, createdAt: moment(placed), version: 1 },
      });
      const wanted = used.filter(({ supplierId }) => supplierId === suppliers[from]).slice(0, 3);
      for (const { id: lineId, kind } of wanted) {
        const pieces = kind.changedTogether;
        this.#add("orderLines", { orderId, lineId, packs: 1, pieces, priceMinorUnits: 900 });
        if (came) receive(lineId, pieces, placed + took, orderId);
      }
    }
  }
}
