import { setImmediate } from "node:timers/promises";
import type { PlannedMeeting } from "../domain/calendar.ts";
import { type LineWorld, piecesNeeded, type WornBy } from "../domain/demand.ts";
import { pieceDemand, pieceForecast, type PieceInUse } from "../domain/forecast.ts";
import { forecastNewPiece } from "../stats/index.ts";
import { allRecords } from "../storage/records.ts";
import { selectFittedOnCars, selectLoosePieces } from "../storage/restock.ts";
import type { CarRow, PieceRow } from "../storage/tables.ts";
import { meetingsAhead } from "./calendar-ahead.ts";
import { piecesInUse } from "./line-pieces.ts";
import type { CurrentModel } from "./line-models.ts";
import { onlyDriver, requireOwn, type Work } from "./work.ts";
import { newWornTables, strataOf, wornTables } from "./worn-tables.ts";

/** What one line will need, through each checkpoint day, of the cars asked for. */
export interface LineDemand {
  model: CurrentModel;
  /** pieces of the line in use in these cars, and how many drivers have them */
  inUse: number;
  drivers: number;
  /** part-worn pieces that can still serve */
  spares: number;
  needs: { day: string; needed: number[] }[];
  /** the ways the line may be, for questions that follow a season step by step */
  worlds: LineWorld[];
}

export interface Scope {
  driverId?: string | undefined;
  carId?: string | undefined;
}

export interface DemandOptions {
  /** only this line */
  lineId?: string | undefined;
  /** pieces of a line that a driver holds already, where only what goes beyond them is asked for */
  heldBy?: (lineId: string) => ReadonlyMap<string, number>;
  /** pieces to be taken as changed for new ones now */
  changed?: ReadonlySet<string>;
}

interface InUse {
  piece: PieceRow;
  carId: string | null;
  /** pieces with the same word here are changed together, where their kind is */
  group: string;
  ahead: readonly PlannedMeeting[];
}

/** The cars that a question is about: one, a driver's, or the club's; never more than the actor may see. */
export async function carsInScope(work: Work, scope: Scope): Promise<CarRow[]> {
  const own = onlyDriver(work);
  if (scope.driverId !== undefined) requireOwn(work, scope.driverId, "the cars");
  const driverId = own ?? scope.driverId;
  const cars = await allRecords(work.db, "cars", work.actor.clubId, { driverId });
  return scope.carId === undefined ? cars : cars.filter((car) => car.id === scope.carId);
}

/**
 * Demand of every line in use in some cars, through each of the days given.
 *
 * @param days checkpoints, YYYY-MM-DD, in order
 */
export async function lineDemands(
  work: Work,
  cars: readonly CarRow[],
  days: readonly string[],
  options: DemandOptions = {},
): Promise<LineDemand[]> {
  if (cars.length === 0 || days.length === 0) return [];
  const ahead = await meetingsAhead(work, cars, days.at(-1)!);
  const { inUse, loose } = await piecesOf(work, cars, ahead);
  const lineIds = [...new Set([...inUse, ...loose].map(({ piece }) => piece.lineId))];
  const demands: LineDemand[] = [];
  for (const id of lineIds) {
    if (options.lineId !== undefined && id !== options.lineId) continue;
    const of = <T extends { piece: PieceRow }>(all: readonly T[]) =>
      all.filter(({ piece }) => piece.lineId === id);
    demands.push(await demandOfLine(work, id, of(inUse), of(loose), days, options));
  }
  return demands;
}

async function piecesOf(
  work: Work,
  cars: readonly CarRow[],
  ahead: ReadonlyMap<string, readonly PlannedMeeting[]>,
) {
  const carIds = cars.map((car) => car.id);
  const driverIds = [...new Set(cars.map((car) => car.driverId))];
  const [fitted, loose, kinds, lines] = await Promise.all([
    selectFittedOnCars(work.db, carIds),
    selectLoosePieces(work.db, driverIds),
    allRecords(work.db, "kinds", work.actor.clubId),
    allRecords(work.db, "lines", work.actor.clubId),
  ]);
  const isPackKind = new Map(kinds.map((kind) => [kind.id, JSON.parse(kind.details).usedBy === "pack"]));
  const kindOf = new Map(lines.map((line) => [line.id, line.kindId]));
  const isPack = (piece: PieceRow) => isPackKind.get(kindOf.get(piece.lineId) ?? "") === true;
  const inUse: InUse[] = fitted.map(({ carId, changedWith, position, ...piece }) => ({
    piece,
    carId,
    group: `${carId} ${changedWith ?? position}`,
    ahead: ahead.get(carId) ?? [],
  }));
  for (const piece of loose.filter(isPack)) {
    const sharing = loose.filter((other) => isPack(other) && other.driverId === piece.driverId).length;
    const driven = cars
      .filter((car) => car.driverId === piece.driverId)
      .flatMap((car) => ahead.get(car.id) ?? []);
    const shared = driven
      .map((meeting) => ({ ...meeting, runs: meeting.runs / sharing }))
      .sort((a, b) => (a.startsOn < b.startsOn ? -1 : 1));
    inUse.push({ piece, carId: null, group: piece.id, ahead: shared });
  }
  return { inUse, loose: loose.filter((piece) => !isPack(piece)).map((piece) => ({ piece })) };
}

async function demandOfLine(
  work: Work,
  lineId: string,
  inUse: readonly InUse[],
  loose: readonly { piece: PieceRow }[],
  days: readonly string[],
  options: DemandOptions,
): Promise<LineDemand> {
  const model = await work.models.get(work, lineId);
  const uses = await piecesInUse(
    work,
    model,
    [...inUse, ...loose].map(({ piece }) => piece),
  );
  const worlds = await worldsOf(work, model, inUse, uses, days, options.changed);
  const needed =
    inUse.length === 0 ? days.map(() => [1]) : piecesNeeded(worlds, model.breakage, options.heldBy?.(lineId));
  return {
    model,
    inUse: inUse.length,
    drivers: new Set(inUse.map(({ piece }) => piece.driverId)).size,
    spares: sparesAmong(
      model,
      loose.map(({ piece }) => uses.get(piece.id)!),
    ),
    needs: days.map((day, i) => ({ day, needed: needed[i]! })),
    worlds,
  };
}

/** The pieces in use under each stratum of the line's fit, as groups that are changed together. */
async function worldsOf(
  work: Work,
  model: CurrentModel,
  inUse: readonly InUse[],
  uses: ReadonlyMap<string, PieceInUse>,
  days: readonly string[],
  changed: ReadonlySet<string> = new Set(),
): Promise<LineWorld[]> {
  const strata = strataOf(model.wear);
  const byGroup = new Map<string, InUse[]>();
  for (const one of inUse) {
    const key = model.kind.changeRule === "alone" ? `${one.group} ${one.piece.id}` : one.group;
    byGroup.set(key, [...(byGroup.get(key) ?? []), one]);
  }
  const usages = new Map<readonly PlannedMeeting[], number[][]>();
  for (const { ahead } of inUse)
    if (!usages.has(ahead))
      usages.set(
        ahead,
        strata.map(({ wear }) => usageBy(work, { ...model, wear }, ahead, days)),
      );
  const endOf = (ahead: readonly PlannedMeeting[]) =>
    Math.max(...usages.get(ahead)!.map((through) => through.at(-1)!));
  const furthest = Math.max(0, ...[...usages.keys()].map(endOf));
  const newWorn = newWornTables(model, furthest);
  const tables = new Map<string, readonly WornBy[]>();
  for (const { piece, ahead } of inUse) {
    // A pause between pieces: hundreds of forecasts must not keep other requests waiting.
    await setImmediate();
    tables.set(
      piece.id,
      changed.has(piece.id) ? newWorn : wornTables(model, uses.get(piece.id)!, endOf(ahead)),
    );
  }
  const groups = [...byGroup.values()];
  return strata.map(({ weight }, s) => ({
    weight,
    newWorn: newWorn[s]!,
    groups: groups.map((group) => ({
      owner: group[0]!.piece.driverId,
      worn: group.map(({ piece }) => tables.get(piece.id)![s]!),
      usageThrough: usages.get(group[0]!.ahead)![s]!,
      runs: group[0]!.ahead.reduce((sum, meeting) => sum + meeting.runs, 0),
    })),
  }));
}

/**
 * Part-worn pieces that count as spares: as many as are expected to last half as long as the median new piece.
 * Of a kind changed in sets, whole sets only.
 */
function sparesAmong(model: CurrentModel, pieces: readonly PieceInUse[]): number {
  if (pieces.length === 0) return 0;
  const half = (forecastNewPiece(model.wear).remainingQuantile(0.5) ?? 0) / 2;
  const good = pieces.reduce((sum, piece) => {
    const forecast = pieceForecast(model, piece);
    return sum + (1 - forecast.pastLimitProbability) * (1 - forecast.remainingCdf(half));
  }, 0);
  const { changeRule, changedTogether } = model.kind;
  const size = changeRule === "set" || changeRule === "pair" ? Math.max(1, changedTogether) : 1;
  return Math.floor(Math.floor(good + 1e-9) / size) * size;
}

const dayMs = 86_400_000;
const daysTo = (work: Work, day: string) =>
  Math.max(0, Math.floor((Date.parse(day) - Date.parse(work.now())) / dayMs) + 1);

/** The wearing usage through each day: meeting by meeting, or simply the days where a kind ages by days. */
function usageBy(
  work: Work,
  model: CurrentModel,
  ahead: readonly PlannedMeeting[],
  days: readonly string[],
): number[] {
  if (model.kind.clock === "days") return days.map((day) => daysTo(work, day));
  const demand = pieceDemand(model, ahead);
  return days.map((day) => demand.findLast((meeting) => meeting.startsOn <= day)?.throughHere ?? 0);
}
