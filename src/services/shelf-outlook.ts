import { needBeyond } from "../domain/dying-stock.ts";
import type { KindDetails } from "../domain/kind.ts";
import type { NeedThrough } from "../domain/restock.ts";
import { allRecords } from "../storage/records.ts";
import type { LineShown } from "../storage/lines.ts";
import type { CarRow, KindRow, LineRow } from "../storage/tables.ts";
import type { LineDemand } from "./line-demand.ts";
import { lineToBuy } from "./needs-ahead.ts";
import { addedNeeds, type BoughtDemand, byBought } from "./bought-demand.ts";
import { fewestDrivers, pooledDemands } from "./shelf-needs.ts";
import type { Work } from "./work.ts";

/** What may be said of a line's need: who could use it, and how many will be needed, or null where that is withheld. */
export interface LineOutlook {
  use: "used" | "fits" | "no-car" | "withheld";
  needs: readonly NeedThrough[] | null;
}

interface Pooled {
  today: string;
  days: readonly string[];
  groups: Map<string, BoughtDemand>;
  byId: ReadonlyMap<string, LineRow>;
  /** drivers who share theirs and have a car that could take the line */
  driversFor: (line: LineShown) => number;
  driversSharing: number;
}

const withheld: LineOutlook = { use: "withheld", needs: null };

/**
 * The pooled need of lines one by one. What is shown of a line is never finer than the plan of the shelf: where that adds
 * the needs of several lines up, a part is shown only if every other part rests on three drivers too, for it could be
 * had by subtraction.
 */
export async function shelfOutlook(
  work: Work,
  asked: { today: string; days: readonly string[]; lines: readonly LineShown[] },
) {
  const { today, days, lines } = asked;
  const pooled = await pooledDemands(work, days);
  const byId = new Map<string, LineRow>(lines.map((line) => [line.id, line]));
  const groups = new Map(
    [...byBought(pooled.demands, (line) => lineToBuy(line, byId, today))].map((group) => [
      group.bought.id,
      group,
    ]),
  );
  const driversFor = await driversByCar(work, pooled.cars);
  const { driversSharing, drivers } = pooled;
  const all: Pooled = { today, days, groups, byId, driversFor, driversSharing };
  return {
    driversSharing,
    drivers,
    /** @param onShelf pieces of a line on the shelf, which serve before the line that replaces it */
    of: (line: LineShown, onShelf: (lineId: string) => number) => outlookOf(line, all, onShelf),
  };
}

function outlookOf(line: LineShown, pooled: Pooled, onShelf: (lineId: string) => number): LineOutlook {
  if (pooled.driversSharing < fewestDrivers) return withheld;
  const parts = [ownNeeds(line, pooled), ...replacedNeeds(line, pooled, onShelf)];
  if (parts.includes("withheld")) return withheld;
  const known = parts.filter((part) => part !== null && part !== "withheld");
  if (known.length > 0) return { use: "used", needs: known.reduce((a, b) => addedNeeds(a, b)) };
  const needs = pooled.days.map((day) => ({ day, needed: [1] }));
  return { use: pooled.driversFor(line) < fewestDrivers ? "no-car" : "fits", needs };
}

type Part = LineDemand["needs"] | "withheld" | null;
const enough = (drivers: ReadonlySet<string>) => drivers.size >= fewestDrivers;

/** The need of the line itself, with what it has replaced already; null where nobody uses it. */
function ownNeeds(line: LineRow, { groups, byId, today }: Pooled): Part {
  const bought = lineToBuy(line, byId, today);
  const group = groups.get(bought.id);
  if (group === undefined) return null;
  if (bought.id === line.id) return enough(group.drivers) ? group.needs : "withheld";
  const own = group.parts.find(({ model }) => model.line.id === line.id);
  if (own === undefined) return null;
  return group.parts.every(({ driverIds }) => enough(driverIds)) ? own.needs : "withheld";
}

/** The needs of lines that it replaces and that have not ended yet, beyond what there is of those. */
function replacedNeeds(line: LineRow, { groups, byId }: Pooled, onShelf: (lineId: string) => number): Part[] {
  return [...groups.values()]
    .filter(({ bought }) => bought.id !== line.id && leadsTo(bought, line.id, byId))
    .map(({ bought, drivers, needs }) =>
      enough(drivers)
        ? needs.map(({ day, needed }) => ({ day, needed: needBeyond(needed, onShelf(bought.id)) }))
        : "withheld",
    );
}

/** Does the chain of lines that supersede one another lead from one to another? */
function leadsTo(from: LineRow, to: string, byId: ReadonlyMap<string, LineRow>): boolean {
  let id = from.supersededById;
  for (let hops = 0; hops < 20 && id !== null; hops++) {
    if (id === to) return true;
    id = byId.get(id)?.supersededById ?? null;
  }
  return false;
}

/** How many drivers have a car that could take a line: by its model, or by a place for the kind where no model tells. */
async function driversByCar(work: Work, cars: readonly CarRow[]) {
  const { clubId } = work.actor;
  const [positions, kinds] = await Promise.all([
    allRecords(work.db, "positions", clubId),
    allRecords(work.db, "kinds", clubId),
  ]);
  const places = new Set(positions.map(({ carId, kindId }) => `${carId} ${kindId}`));
  const isPack = ({ details }: KindRow) => (JSON.parse(details) as KindDetails).usedBy === "pack";
  const packs = new Set(kinds.filter(isPack).map(({ id }) => id));
  const takes = (car: CarRow, { fits, kindId }: LineShown) =>
    fits.length > 0 && car.carModelId !== null
      ? fits.includes(car.carModelId)
      : packs.has(kindId) || places.has(`${car.id} ${kindId}`);
  return (line: LineShown) =>
    new Set(cars.filter((car) => takes(car, line)).map(({ driverId }) => driverId)).size;
}
