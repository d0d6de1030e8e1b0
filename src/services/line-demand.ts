import type { PlannedMeeting } from "../domain/calendar.ts";
import { piecesNeeded } from "../domain/demand.ts";
import { type MateLine, seasonsWithMates } from "../domain/demand-mates.ts";
import { lawOf, seasonsOfNeed } from "../domain/demand-seasons.ts";
import type { PieceInUse } from "../domain/forecast.ts";
import { populationSummary } from "../stats/index.ts";
import type { CarRow, PieceRow } from "../storage/tables.ts";
import { meetingsAhead } from "./calendar-ahead.ts";
import { groupedBy } from "./grouped-by.ts";
import { keptNeeds } from "./kept-needs.ts";
import { piecesInUse } from "./line-pieces.ts";
import type { CurrentModel } from "./line-models.ts";
import { type WorldsInUse, worldsOf } from "./line-worlds.ts";
import { type InUse, piecesOf } from "./pieces-in-scope.ts";
import { type KeptForPractice, keptPieces, type PracticeAhead, practiceAhead } from "./practice-sets.ts";
import { sparesAmong } from "./spare-pieces.ts";
import type { Work } from "./work.ts";

/** What one line will need, through each checkpoint day, of the cars asked for. */
export interface LineDemand {
  model: CurrentModel;
  /** pieces of the line in use in these cars, and how many drivers have them */
  inUse: number;
  drivers: number;
  driverIds: ReadonlySet<string>;
  /** part-worn pieces that can still serve */
  spares: number;
  /** the day on which each of those was bought; null where it is not known */
  sparesBoughtOn: readonly (string | null)[];
  /** what is kept for practice at each place where anything is */
  practice: readonly PracticeAhead[];
  needs: { day: string; needed: number[] }[];
  /** the most pieces that one change takes */
  perChange: number;
  /** pieces needed through each day in each of so many seasons, beyond what is held, for questions about stretches of time */
  seasons: (seasons: number) => Int32Array[];
}

export interface DemandOptions {
  /** only this line */
  lineId?: string | undefined;
  /** only these lines */
  lineIds?: ReadonlySet<string> | undefined;
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
  const ahead = sharedCalendars(await meetingsAhead(work, cars, days.at(-1)!));
  const { inUse, loose } = await piecesOf(work, cars, ahead);
  const lineIds = [...new Set([...inUse, ...loose].map(({ piece }) => piece.lineId))];
  const asked = options.lineIds ?? (options.lineId === undefined ? null : new Set([options.lineId]));
  const wanted = lineIds.filter((id) => asked === null || asked.has(id));
  const byLine = groupedBy(inUse, ({ piece }) => piece.lineId);
  const byCar = groupedBy(inUse, ({ carId }) => carId);
  const looseByLine = groupedBy(loose, ({ piece }) => piece.lineId);
  const lines = new Map<string, LineInUse>();
  const lineInUse = async (lineId: string): Promise<LineInUse> => {
    let one = lines.get(lineId);
    if (one === undefined) {
      const [fitted, spare] = [byLine.get(lineId) ?? [], looseByLine.get(lineId) ?? []];
      one = await readLine(work, lineId, fitted, spare, days, options.changed);
      lines.set(lineId, one);
    }
    return one;
  };
  const demands: LineDemand[] = [];
  const fits = fitsAhead(work, wanted);
  try {
    for (const id of wanted) {
      const line = await lineInUse(id);
      const mates = await mateLine(line, byCar, lineInUse, options.changed);
      demands.push(demandOfLine(line, mates, days, options.heldBy?.(id)));
    }
  } finally {
    fits.stop();
  }
  return demands;
}

/** Cars with the same plans have one calendar, so that what follows from it is worked out once. */
function sharedCalendars<K>(ahead: ReadonlyMap<K, readonly PlannedMeeting[]>) {
  const known = new Map<string, readonly PlannedMeeting[]>();
  return new Map(
    [...ahead].map(([car, meetings]) => {
      const said = JSON.stringify(meetings);
      const shared = known.get(said) ?? meetings;
      known.set(said, shared);
      return [car, shared] as const;
    }),
  );
}

/** So many lines are on their way to the threads that fit, while the need of those before them is worked out here. */
const fittedAhead = 4;

/** Has the lines fitted in the order in which they will be asked for; whoever asks for one is told what went wrong with it. */
function fitsAhead(work: Work, lineIds: readonly string[]) {
  const waiting = work.db.isTransaction || lineIds.length < 2 ? [] : [...lineIds].reverse();
  const next = async (): Promise<void> => {
    for (let id = waiting.pop(); id !== undefined; id = waiting.pop())
      await work.models.get(work, id).catch(() => {});
  };
  for (let i = 0; i < fittedAhead; i++) void next();
  return { stop: () => waiting.splice(0) };
}

/** One line with its pieces in these cars, under each way the line may be. */
interface LineInUse extends WorldsInUse {
  model: CurrentModel;
  inUse: readonly InUse[];
  spares: readonly PieceRow[];
  uses: ReadonlyMap<string, PieceInUse>;
  practice: readonly PracticeAhead[];
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
  const rows = loose.map(({ piece }) => piece);
  const places = keptAt(inUse);
  const kept = await keptPieces(
    work,
    places.map(({ practice }) => practice),
  );
  return {
    model,
    inUse,
    spares: await sparesAmong(work, model, rows, uses),
    uses,
    practice: places.map(({ practice, ahead }) => practiceAhead(model, practice, kept, ahead)),
    ...(await worldsOf(work, model, inUse, uses, days, kept, changed)),
  };
}

/** The places with sets kept for practice, each once; the packs of a driver share what is kept. */
function keptAt(inUse: readonly InUse[]) {
  const places = new Map<unknown, { practice: KeptForPractice; ahead: readonly PlannedMeeting[] }>();
  for (const { practice, ahead } of inUse)
    if (practice !== undefined) places.set(practice.sets, { practice, ahead });
  return [...places.values()];
}

/**
 * A line of a kind that is changed with its mate, with the lines that lead; null where nothing leads. The mate of a
 * position is a piece of the leading kind on the same car: among those tied to it by the same word, where it is tied.
 */
async function mateLine(
  { model, inUse, uses, worlds }: LineInUse,
  byCar: ReadonlyMap<string | null, readonly InUse[]>,
  lineInUse: (lineId: string) => Promise<LineInUse>,
  changed: ReadonlySet<string> = new Set(),
): Promise<LedLine | null> {
  const { changeRule, mateCode } = model.kind;
  if (changeRule !== "with-mate" || mateCode === null) return null;
  const leaders: LineInUse[] = [];
  const mates: MateLine["mates"][number][] = [];
  const byId = new Map(inUse.map((one) => [one.piece.id, one]));
  for (const group of worlds[0]?.groups ?? []) {
    const own = byId.get(group.pieceIds![0]!)!;
    const onCar = own.carId === null ? [] : byCar.get(own.carId)!.filter((one) => one.kindCode === mateCode);
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
    from: leaders.flatMap((line) => [line.model.wear, ...line.from]),
    said: JSON.stringify([mates, leaders.map((line) => line.said)]),
  };
}

/** What follows is kept with what it was made of, as that of the line itself. */
type LedLine = MateLine & Pick<WorldsInUse, "from" | "said">;

/** Standard error of a chance near 0.9 with so many seasons: 0.5 %. */
const seasonsOfMates = 4000;

function demandOfLine(
  { model, inUse, spares, practice, worlds, from, said }: LineInUse,
  mates: LedLine | null,
  days: readonly string[],
  held: ReadonlyMap<string, number> | undefined,
): LineDemand {
  const { breakage, line } = model;
  const beyond = held === undefined ? {} : { held };
  const seasons = (count: number) => {
    const asked = { seasons: count, seed: seedOf(line.id), ...beyond };
    return mates === null ? seasonsOfNeed(worlds, breakage, asked) : seasonsWithMates(mates, asked);
  };
  const driverIds = new Set(inUse.map(({ piece }) => piece.driverId));
  const given = JSON.stringify([line.id, said, mates?.said, held && [...held]]);
  const needed =
    inUse.length === 0
      ? days.map(() => [1])
      : keptNeeds(model.wear, mates === null ? from : [...from, ...mates.from], given, () =>
          mates === null
            ? piecesNeeded(worlds, breakage, held)
            : seasonsWithMates(mates, {
                seasons: seasonsOfMates,
                seed: seedOf(line.id),
                ...beyond,
              }).map(lawOf),
        );
  return {
    model,
    inUse: inUse.length,
    drivers: driverIds.size,
    driverIds,
    spares: spares.length,
    sparesBoughtOn: spares.map(({ boughtOn }) => boughtOn),
    practice,
    needs: days.map((day, i) => ({ day, needed: needed[i]! })),
    perChange: Math.max(1, ...(worlds[0]?.groups.map((group) => group.worn.length) ?? [])),
    seasons: (asked) => (inUse.length === 0 ? days.map(() => new Int32Array(asked)) : seasons(asked)),
  };
}

/** A seed that belongs to a line (FNV-1a of its id): the same question gives the same seasons. */
function seedOf(id: string): number {
  let hash = 0x811c9dc5;
  for (let i = 0; i < id.length; i++) hash = Math.imul(hash ^ id.charCodeAt(i), 0x01000193);
  return hash >>> 0;
}
