import { allRecords } from "../storage/records.ts";
import type { CarRow, DriverRow, LineRow, LocationRow, MeetingRow, PieceRow } from "../storage/tables.ts";
import { kindFromRow } from "./keep-kinds.ts";
import { Wrong } from "./import-cells.ts";
import { nearestName } from "./nearest-name.ts";
import type { Work } from "./work.ts";

/**
 * What a table refers to, by id or by the name that people know it by; read once for each import.
 *
 * Where a row gives both, they must speak of the same thing, but an id that this club does not know is passed over:
 * so an export of one club can be read into another that has the same names.
 */
export class Names<T> {
  readonly #what: string;
  /** comparing names takes long, and helps with the first few errors only */
  #hintsLeft = 20;
  readonly #byId = new Map<string, T>();
  /** null where two things have the same name */
  readonly #byName = new Map<string, T | null>();

  constructor(what: string, things: Iterable<readonly [id: string, name: string, thing: T]>) {
    this.#what = what;
    for (const [id, name, thing] of things) {
      this.#byId.set(id, thing);
      this.#byName.set(name, this.#byName.has(name) ? null : thing);
    }
  }

  /** What is meant, or what is wrong with it. @param label how messages show the name, if not as it is */
  find(id: string | null, name: string | null, label = name): T | Wrong {
    const byId = id === null ? undefined : this.#byId.get(id);
    const byName = name === null ? undefined : this.#byName.get(name);
    if (byId !== undefined)
      return byName === undefined || byName === byId
        ? byId
        : new Wrong(`is another ${this.#what} than the one with the id ${id}; give one of them only`);
    if (name === null) return new Wrong(`there is no ${this.#what} with id ${id}`);
    if (byName === null) return new Wrong(`there are several of the name "${label}"; give the id instead`);
    if (byName !== undefined) return byName;
    this.#hintsLeft -= 1;
    const near = this.#hintsLeft < 0 ? null : nearestName(name, this.#byName.keys());
    return new Wrong(
      `there is no ${this.#what} "${label}"${near === null ? "" : `; is "${near.split("\n").at(-1)}" meant?`}`,
    );
  }
}

const clubRows = async <
  T extends "cars" | "drivers" | "lines" | "locations" | "meetings" | "pieces" | "kinds" | "positions",
>(
  work: Work,
  table: T,
) => allRecords(work.db, table, work.actor.clubId);

export const driverNames = async (work: Work): Promise<Names<DriverRow>> =>
  new Names(
    "driver",
    (await clubRows(work, "drivers")).map((row) => [row.id, row.name, row] as const),
  );

/** Cars as "driver / car". */
export async function carNames(work: Work): Promise<Names<CarRow>> {
  const drivers = new Map((await clubRows(work, "drivers")).map(({ id, name }) => [id, name]));
  const cars = await clubRows(work, "cars");
  return new Names(
    "car",
    cars.map((car) => [car.id, `${drivers.get(car.driverId)} / ${car.name}`, car] as const),
  );
}

/** Meetings as "day / name". */
export async function meetingNames(work: Work): Promise<Names<MeetingRow>> {
  const meetings = await clubRows(work, "meetings");
  return new Names(
    "meeting",
    meetings.map((row) => [row.id, `${row.startsOn} / ${row.name}`, row] as const),
  );
}

/** Marks are unique for a driver only, so that the name of a piece is both. */
export const pieceName = (driverId: string, mark: string): string => `${driverId}\n${mark}`;

export async function pieceNames(work: Work): Promise<Names<PieceRow>> {
  const pieces = await clubRows(work, "pieces");
  return new Names(
    "piece",
    pieces.map((row) => [row.id, pieceName(row.driverId, row.mark), row] as const),
  );
}

/** The packs among the pieces: few, where a club has logged thousands of pieces. */
export async function packNames(work: Work): Promise<Names<PieceRow>> {
  const lines = [...(await kindsOfLines(work)).values()].filter(({ kind }) => kind.usedBy === "pack");
  const lineId = lines.map(({ line }) => line.id);
  const packs = lineId.length === 0 ? [] : await allRecords(work.db, "pieces", work.actor.clubId, { lineId });
  return new Names(
    "pack",
    packs.map((row) => [row.id, pieceName(row.driverId, row.mark), row] as const),
  );
}

export const lineNames = async (work: Work): Promise<Names<LineRow>> =>
  new Names(
    "line",
    (await clubRows(work, "lines")).map((row) => [row.id, row.sku, row] as const),
  );

/** Each line with its kind. */
export async function kindsOfLines(work: Work) {
  const kinds = new Map((await clubRows(work, "kinds")).map((row) => [row.id, kindFromRow(row)]));
  const lines = await clubRows(work, "lines");
  return new Map(lines.map((line) => [line.id, { line, kind: kinds.get(line.kindId)! }]));
}

/** The name of a driver's location: several drivers have a "Home". */
export const locationName = (driverId: string, name: string): string => `${driverId}\n${name}`;

/** Locations by name alone, and by driver and name for those that several drivers have ("Home"). */
export async function locationNames(work: Work): Promise<Names<LocationRow>> {
  const locations = await clubRows(work, "locations");
  return new Names("location", [
    ...locations.map((row) => [row.id, row.name, row] as const),
    ...locations
      .filter(({ driverId }) => driverId !== null)
      .map((row) => [row.id, locationName(row.driverId!, row.name), row] as const),
  ]);
}

/** Positions by car and name. */
export async function positionNames(work: Work) {
  const positions = await clubRows(work, "positions");
  return new Map(positions.map((row) => [`${row.carId}\n${row.name}`, row]));
}
