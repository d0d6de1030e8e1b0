import { setImmediate } from "node:timers/promises";
import type { PlannedMeeting } from "../domain/calendar.ts";
import { type LineWorld, piecesNeeded, type WornBy } from "../domain/demand.ts";
import { type MateLine, mateReach, seasonsWithMates } from "../domain/demand-mates.ts";
import { lawOf, seasonsOfNeed } from "../domain/demand-seasons.ts";
import { pieceDemand, pieceForecast, type PieceInUse } from "../domain/forecast.ts";
import { forecastNewPiece, populationSummary } from "../stats/index.ts";
import type { CarRow, PieceRow } from "../storage/tables.ts";
import { meetingsAhead } from "./calendar-ahead.ts";
import { piecesInUse } from "./line-pieces.ts";
import type { CurrentModel } from "./line-models.ts";
import { type InUse, piecesOf } from "./pieces-in-scope.ts";
import type { Work } from "./work.ts";
import { newWornTables, strataOf, wornTables } from "./worn-tables.ts";

/** What one line will need, through each checkpoint day, of the cars asked for. */
export interface LineDemand {
  model: CurrentModel;
  /** pieces of the line in use in these cars, and how many drivers have them */
  inUse: number;
  drivers: number;
  driverIds: ReadonlySet<string>;
  /** part-worn pieces that can still serve */
  spares: number;
  needs: { day: string; needed: number[] }[];
  /** the most pieces that one change takes */
  perChange: number;
  /** pieces needed through each day in each of so many seasons, for questions about stretches of time */
  seasons: (seasons: number) => Int32Array[];
}

export interface DemandOptions {
  /** only this line */
  lineId?: string | undefined;
  /** pieces of a line that a driver holds already, where only what goes beyond them is asked for */
  heldBy?: (lineId: string) => ReadonlyMap<string, number>;
  /** pieces to be taken as changed for new ones now */
  changed?: ReadonlySet<string>;
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
  const lines = new Map<string, LineInUse>();
  const lineInUse = async (lineId: string): Promise<LineInUse> => {
    let one = lines.get(lineId);
    if (one === undefined) {
      const of = <T extends { piece: PieceRow }>(all: readonly T[]) =>
        all.filter(({ piece }) => piece.lineId === lineId);
      one = await readLine(work, lineId, of(inUse), of(loose), days, options.changed);
      lines.set(lineId, one);
    }
    return one;
  };
  const demands: LineDemand[] = [];
  for (const id of new Set([...inUse, ...loose].map(({ piece }) => piece.lineId))) {
    if (options.lineId !== undefined && id !== options.lineId) continue;
    const line = await lineInUse(id);
    const mates = await mateLine(line, inUse, lineInUse, options.changed);
    demands.push(demandOfLine(line, mates, days, options.heldBy?.(id)));
  }
  return demands;
}

/** One line with its pieces in these cars, under each way the line may be. */
interface LineInUse {
  model: CurrentModel;
  inUse: readonly InUse[];
  spares: number;
  uses: ReadonlyMap<string, PieceInUse>;
  worlds: LineWorld[];
}

async function readLine(
  work: Work,
  lineId: string,
  inUse: readonly InUse[],
  loose: readonly { piece: PieceRow }[],
  days: readonly string[],
  changed: ReadonlySet<string> | undefined,
): Promise<LineInUse> {
  const model = await work.models.get(work, lineId);
  const uses = await piecesInUse(
    work,
    model,
    [...inUse, ...loose].map(({ piece }) => piece),
  );
  const spare = loose.map(({ piece }) => uses.get(piece.id)!);
  return {
    model,
    inUse,
    spares: sparesAmong(model, spare),
    uses,
    worlds: await worldsOf(work, model, inUse, uses, days, changed),
  };
}

/**
 * A line of a kind that is changed with its mate, with the lines that lead; null where nothing leads. The mate of a
 * position is a piece of the leading kind on the same car: among those tied to it by the same word, where it is tied.
 */
async function mateLine(
  { model, inUse, uses, worlds }: LineInUse,
  all: readonly InUse[],
  lineInUse: (lineId: string) => Promise<LineInUse>,
  changed: ReadonlySet<string> = new Set(),
): Promise<MateLine | null> {
  const { changeRule, mateCode } = model.kind;
  if (changeRule !== "with-mate" || mateCode === null) return null;
  const leaders: LineInUse[] = [];
  const mates: MateLine["mates"][number][] = [];
  for (const group of worlds[0]?.groups ?? []) {
    const own = inUse.find(({ piece }) => group.pieceIds?.includes(piece.id))!;
    const onCar = all.filter(
      (one) => one.carId !== null && one.carId === own.carId && one.kindCode === mateCode,
    );
    const leading = onCar.find((one) => one.group === own.group) ?? onCar[0];
    const usedNow = changed.has(own.piece.id) ? 0 : uses.get(own.piece.id)!.now.usage;
    if (leading === undefined) {
      mates.push({ usedNow, leader: null });
      continue;
    }
    const line = await lineInUse(leading.piece.lineId);
    if (!leaders.includes(line)) leaders.push(line);
    const at = line.worlds[0]!.groups.findIndex(({ pieceIds }) => pieceIds?.includes(leading.piece.id));
    mates.push({ usedNow, leader: { line: leaders.indexOf(line), group: at } });
  }
  if (leaders.length === 0) return null;
  return {
    worlds,
    breakage: model.breakage,
    exponent: populationSummary(model.wear).pathExponent,
    mates,
    leaders: leaders.map((line) => ({ worlds: line.worlds, breakage: line.model.breakage })),
  };
}

/** Standard error of a chance near 0.9 with so many seasons: 0.5 %. */
const seasonsOfMates = 4000;

function demandOfLine(
  { model, inUse, spares, worlds }: LineInUse,
  mates: MateLine | null,
  days: readonly string[],
  held: ReadonlyMap<string, number> | undefined,
): LineDemand {
  const { breakage, line } = model;
  const seasons = (asked: { seasons: number; seed: number }) =>
    mates === null ? seasonsOfNeed(worlds, breakage, asked) : seasonsWithMates(mates, asked);
  const driverIds = new Set(inUse.map(({ piece }) => piece.driverId));
  const needed =
    inUse.length === 0
      ? days.map(() => [1])
      : mates === null
        ? piecesNeeded(worlds, breakage, held)
        : seasonsWithMates(mates, {
            seasons: seasonsOfMates,
            seed: seedOf(line.id),
            ...(held === undefined ? {} : { held }),
          }).map(lawOf);
  return {
    model,
    inUse: inUse.length,
    drivers: driverIds.size,
    driverIds,
    spares,
    needs: days.map((day, i) => ({ day, needed: needed[i]! })),
    perChange: Math.max(1, ...(worlds[0]?.groups.map((group) => group.worn.length) ?? [])),
    seasons: (asked) =>
      inUse.length === 0
        ? days.map(() => new Int32Array(asked))
        : seasons({ seasons: asked, seed: seedOf(line.id) }),
  };
}

/** A seed that belongs to a line (FNV-1a of its id): the same question gives the same seasons. */
function seedOf(id: string): number {
  let hash = 0x811c9dc5;
  for (let i = 0; i < id.length; i++) hash = Math.imul(hash ^ id.charCodeAt(i), 0x01000193);
  return hash >>> 0;
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
  const withMate = model.kind.changeRule === "with-mate";
  const usedMost = withMate ? Math.max(0, ...inUse.map(({ piece }) => uses.get(piece.id)!.now.usage)) : 0;
  const newWorn = newWornTables(model, withMate ? mateReach(furthest, usedMost) : furthest);
  const tables = new Map<string, readonly WornBy[]>();
  for (const { piece, ahead } of inUse) {
    // A pause between pieces: hundreds of forecasts must not keep other requests waiting.
    await setImmediate();
    const use = uses.get(piece.id)!;
    const end = withMate ? mateReach(endOf(ahead), use.now.usage) : endOf(ahead);
    tables.set(piece.id, changed.has(piece.id) ? newWorn : wornTables(model, use, end));
  }
  const groups = [...byGroup.values()];
  return strata.map(({ weight }, s) => ({
    weight,
    newWorn: newWorn[s]!,
    groups: groups.map((group) => ({
      owner: group[0]!.piece.driverId,
      pieceIds: group.map(({ piece }) => piece.id),
      worn: group.map(({ piece }) => tables.get(piece.id)![s]!),
      usageThrough: usages.get(group[0]!.ahead)![s]!,
      runs: group[0]!.ahead.reduce((sum, meeting) => sum + meeting.runs, 0),
    })),
  }));
}

/** A part-worn piece counts as a spare where it lasts half as long as the median new one with at least this chance. */
const spareChance = 0.8;

/** Part-worn pieces that count as spares; of a kind changed in sets, whole sets only. */
function sparesAmong(model: CurrentModel, pieces: readonly PieceInUse[]): number {
  if (pieces.length === 0) return 0;
  const half = (forecastNewPiece(model.wear).remainingQuantile(0.5) ?? 0) / 2;
  const good = pieces.filter((piece) => {
    const forecast = pieceForecast(model, piece);
    return (1 - forecast.pastLimitProbability) * (1 - forecast.remainingCdf(half)) >= spareChance;
  }).length;
  const { changeRule, changedTogether } = model.kind;
  const size = changeRule === "set" || changeRule === "pair" ? Math.max(1, changedTogether) : 1;
  return Math.floor(good / size) * size;
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
