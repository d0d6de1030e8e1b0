import { allRecords } from "../storage/records.ts";
import type { Tables } from "../storage/tables.ts";
import { kindFromRow } from "./keep-kinds.ts";
import type { Work } from "./work.ts";

type Looked =
  | "drivers"
  | "cars"
  | "carModels"
  | "kinds"
  | "lines"
  | "locations"
  | "meetings"
  | "pieces"
  | "positions"
  | "suppliers";

/** The rows that others refer to, each table read once and only if it is needed. */
export class Referred {
  readonly #work: Work;
  readonly #tables = new Map<Looked, Map<string, unknown>>();
  constructor(work: Work) {
    this.#work = work;
  }
  async load(...tables: Looked[]): Promise<void> {
    for (const table of tables)
      if (!this.#tables.has(table)) {
        const rows = await allRecords(this.#work.db, table, this.#work.actor.clubId);
        this.#tables.set(table, new Map(rows.map((row) => [row.id, row])));
      }
  }
  get<T extends Looked>(table: T, id: string | null): Tables[T] | null {
    return id === null ? null : ((this.#tables.get(table)?.get(id) as Tables[T] | undefined) ?? null);
  }
  driver(id: string | null): string | null {
    return this.get("drivers", id)?.name ?? null;
  }
  /** as imports take it */
  car(id: string | null): string | null {
    const car = this.get("cars", id);
    return car === null ? null : `${this.driver(car.driverId)} / ${car.name}`;
  }
  meeting(id: string | null): string | null {
    const meeting = this.get("meetings", id);
    return meeting === null ? null : `${meeting.startsOn} / ${meeting.name}`;
  }
  sku(lineId: string): string | null {
    return this.get("lines", lineId)?.sku ?? null;
  }
  kindCode(id: string): string | null {
    return this.get("kinds", id)?.code ?? null;
  }
  /** the unit in which readings of a line are kept */
  unit(lineId: string): string | null {
    const kind = this.get("kinds", this.get("lines", lineId)?.kindId ?? null);
    return kind === null ? null : (kindFromRow(kind).measure?.unit ?? null);
  }
  piece(id: string) {
    const piece = this.get("pieces", id);
    return {
      pieceId: id,
      driverId: piece?.driverId ?? null,
      driver: this.driver(piece?.driverId ?? null),
      mark: piece?.mark ?? null,
    };
  }
}
