import { setImmediate } from "node:timers/promises";
import type { PlannedMeeting } from "../domain/calendar.ts";
import { type ChangedTogether, piecesNeeded, tabulated, type WornBy } from "../domain/demand.ts";
import { pieceDemand, pieceForecast } from "../domain/forecast.ts";
import { forecastNewPiece, type WearForecast } from "../stats/index.ts";
import { allRecords } from "../storage/records.ts";
import { selectFittedOnCars, selectLoosePieces } from "../storage/restock.ts";
import type { CarRow, PieceRow } from "../storage/tables.ts";
import { meetingsAhead } from "./calendar-ahead.ts";
import { pieceInUse } from "./forecast-piece.ts";
import type { CurrentModel } from "./line-models.ts";
import { onlyDriver, requireOwn, type Work } from "./work.ts";

/** What one line will need, through each checkpoint day, of the cars asked for. */
export interface LineDemand {
  model: CurrentModel;
  /** pieces of the line in use in these cars */
  inUse: number;
  /** spares with a mark, weighed by their chance of being still good */
  spares: number;
  needs: { day: string; needed: number[] }[];
}

export interface Scope {
  driverId?: string | undefined;
  carId?: string | undefined;
}

interface InUse {
  piece: PieceRow;
  /** null for a pack, which goes from car to car */
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

const dayMs = 86_400_000;
const daysTo = (work: Work, day: string) =>
  Math.max(0, (Date.parse(day) - Date.parse(work.now())) / dayMs + 1);

/**
 * Demand of every line in use in some cars, through each of the days given.
 *
 * @param days checkpoints, YYYY-MM-DD, in order
 * @param lineId only this line, if given
 */
export async function lineDemands(
  work: Work,
  cars: readonly CarRow[],
  days: readonly string[],
  lineId?: string,
): Promise<LineDemand[]> {
  if (cars.length === 0 || days.length === 0) return [];
  const ahead = await meetingsAhead(work, cars, days.at(-1)!);
  const { inUse, loose } = await piecesOf(work, cars, ahead);
  const lineIds = [...new Set([...inUse, ...loose].map(({ piece }) => piece.lineId))];
  const demands: LineDemand[] = [];
  for (const id of lineIds) {
    if (lineId !== undefined && id !== lineId) continue;
    const of = <T extends { piece: PieceRow }>(all: readonly T[]) =>
      all.filter(({ piece }) => piece.lineId === id);
    demands.push(await demandOfLine(work, id, of(inUse), of(loose), days));
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
    group: `${carId} ${changedWith ?? position}`,
    ahead: ahead.get(carId) ?? [],
  }));
  for (const piece of loose.filter(isPack)) {
    const sharing = loose.filter((other) => isPack(other) && other.driverId === piece.driverId).length;
    const driven = cars
      .filter((car) => car.driverId === piece.driverId)
      .flatMap((car) => ahead.get(car.id) ?? []);
    const shared = driven.map((meeting) => ({ ...meeting, runs: meeting.runs / sharing }));
    inUse.push({ piece, group: piece.id, ahead: shared.sort((a, b) => (a.startsOn < b.startsOn ? -1 : 1)) });
  }
  return { inUse, loose: loose.filter((piece) => !isPack(piece)).map((piece) => ({ piece })) };
}

async function demandOfLine(
  work: Work,
  lineId: string,
  inUse: readonly InUse[],
  loose: readonly { piece: PieceRow }[],
  days: readonly string[],
): Promise<LineDemand> {
  const model = await work.models.get(work, lineId);
  const byGroup = new Map<string, { ahead: readonly PlannedMeeting[]; forecasts: WearForecast[] }>();
  for (const { piece, group, ahead } of inUse) {
    // A pause between pieces: hundreds of forecasts must not keep other requests waiting.
    await setImmediate();
    const { use } = await pieceInUse(work, piece, model);
    const key = model.kind.changeRule === "alone" ? `${group} ${piece.id}` : group;
    const one = byGroup.get(key) ?? { ahead, forecasts: [] };
    one.forecasts.push(pieceForecast(model, use));
    byGroup.set(key, one);
  }
  const groups: ChangedTogether[] = [];
  let furthest = 0;
  for (const { ahead, forecasts } of byGroup.values()) {
    const usageThrough = usageBy(work, model, ahead, days);
    const end = usageThrough.at(-1)!;
    furthest = Math.max(furthest, end);
    groups.push({
      worn: forecasts.map((forecast) => tabulated(wornBy(forecast), end, 60)),
      usageThrough,
      runs: ahead.reduce((sum, meeting) => sum + meeting.runs, 0),
    });
  }
  const newPiece = tabulated(wornBy(forecastNewPiece(model.wear)), furthest);
  const totals = groups.length === 0 ? days.map(() => [1]) : piecesNeeded(groups, newPiece, model.breakage);
  let spares = 0;
  for (const { piece } of loose) {
    const { use } = await pieceInUse(work, piece, model);
    spares += 1 - pieceForecast(model, use).pastLimitProbability;
  }
  return {
    model,
    inUse: inUse.length,
    spares: Math.floor(spares + 0.5),
    needs: days.map((day, i) => ({ day, needed: totals[i]! })),
  };
}

const wornBy =
  (forecast: WearForecast): WornBy =>
  (usage) => {
    const past = forecast.pastLimitProbability;
    return usage <= 0 ? past : past + (1 - past) * forecast.remainingCdf(usage);
  };

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
