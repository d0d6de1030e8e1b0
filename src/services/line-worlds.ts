import { setImmediate } from "node:timers/promises";
import { type PlannedMeeting, practiceOnly } from "../domain/calendar.ts";
import type { LineWorld, WornBy } from "../domain/demand.ts";
import type { Practice } from "../domain/demand-practice.ts";
import { mateReach } from "../domain/demand-mates.ts";
import { pieceDemand, type PieceInUse } from "../domain/forecast.ts";
import { groupedBy } from "./grouped-by.ts";
import type { CurrentModel } from "./line-models.ts";
import type { InUse } from "./pieces-in-scope.ts";
import { type KeptPiece, practiceShare } from "./practice-sets.ts";
import type { Work } from "./work.ts";
import { newWornTables, strataOf, wornTables } from "./worn-tables.ts";

/** The pieces of a line in use, under each way the line may be. */
export interface WorldsInUse {
  worlds: LineWorld[];
  /** what the worlds were made of, each the same object as long as it says the same; and the rest, as text */
  from: readonly unknown[];
  said: string;
}

/** The pieces in use under each stratum of the line's fit, as groups that are changed together. */
export async function worldsOf(
  work: Work,
  model: CurrentModel,
  inUse: readonly InUse[],
  uses: ReadonlyMap<string, PieceInUse>,
  days: readonly string[],
  kept: ReadonlyMap<string, KeptPiece>,
  changed: ReadonlySet<string> = new Set(),
): Promise<WorldsInUse> {
  const strata = strataOf(model.wear);
  const alone = model.kind.changeRule === "alone";
  const byGroup = groupedBy(inUse, (one) => (alone ? `${one.group} ${one.piece.id}` : one.group));
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
  const groups = [...byGroup.values()].map((group) => ({
    ...{ group, owner: group[0]!.piece.driverId, usageThrough: usages.get(group[0]!.ahead)! },
    runs: group[0]!.ahead.reduce((sum, meeting) => sum + meeting.runs, 0),
    practice: practiceAt(work, model, group, { days, kept, uses, changed }),
  }));
  const worlds = strata.map(({ weight }, s) => ({
    weight,
    newWorn: newWorn[s]!,
    groups: groups.map(({ group, owner, usageThrough, runs, practice }) => ({
      owner,
      pieceIds: group.map(({ piece }) => piece.id),
      worn: group.map(({ piece }) => tables.get(piece.id)![s]!),
      usageThrough: usageThrough[s]!,
      runs,
      ...(practice === null ? {} : { practice: practice.worlds[s]! }),
    })),
  }));
  const calendars = [...usages.values()];
  const places = groups.map(({ group, owner, usageThrough, runs, practice }) => [
    ...[owner, group.length, calendars.indexOf(usageThrough), runs],
    ...(practice === null ? [] : practice.said),
  ]);
  return {
    worlds,
    from: [
      model.breakage,
      newWorn,
      ...groups.flatMap(({ group, practice }) => [
        ...group.map(({ piece }) => tables.get(piece.id)),
        ...(practice?.from ?? []),
      ]),
    ],
    said: JSON.stringify([calendars, places]),
  };
}

interface PracticeInWorlds {
  /** under each stratum of the line */
  worlds: Practice[];
  from: readonly unknown[];
  said: readonly unknown[];
}

/** What is kept for practice at a place, under each way the line may be; null where nothing is, or it has no practice. */
function practiceAt(
  work: Work,
  model: CurrentModel,
  group: readonly InUse[],
  asked: {
    days: readonly string[];
    kept: ReadonlyMap<string, KeptPiece>;
    uses: ReadonlyMap<string, PieceInUse>;
    changed: ReadonlySet<string>;
  },
): PracticeInWorlds | null {
  const [{ ahead, practice }] = group as [InUse];
  if (practice === undefined || model.kind.clock === "days") return null;
  const { sets, sharedBy } = practice;
  const { days, kept, uses, changed } = asked;
  const strata = strataOf(model.wear);
  const runs = practiceOnly(ahead);
  const through = strata.map(({ wear }) => usageBy(work, { ...model, wear }, runs, days));
  const end = sharedBy * Math.max(...through.map((one) => one.at(-1)!));
  const tables = sets.map((set) =>
    set.map(({ id }) => {
      const { model: own, use } = kept.get(id)!;
      return { own, tables: wornTables(own, use, end, "practice") };
    }),
  );
  const after = practiceShare(model);
  const used = group.map(({ piece }) => (changed.has(piece.id) ? 0 : uses.get(piece.id)!.now.usage));
  const usedNow = Math.max(...used);
  return {
    worlds: strata.map((_, s) => ({
      through: through[s]!,
      sets: tables.map((set) => set.map((one) => shared(inWorld(model, one, s), sharedBy))),
      after,
      usedNow,
    })),
    from: tables.flatMap((set) => set.map((one) => one.tables)),
    said: [through, tables.map((set) => set.length), sharedBy, after, usedNow],
  };
}

/** The wear of a kept piece in one world: of another line, which has worlds of its own, that of all of them. */
function inWorld(
  model: CurrentModel,
  { own, tables }: { own: CurrentModel; tables: readonly WornBy[] },
  s: number,
): WornBy {
  if (own.wear === model.wear) return tables[s]!;
  const strata = strataOf(own.wear);
  return (usage) => tables.reduce((sum, worn, i) => sum + strata[i]!.weight * worn(usage), 0);
}

/** Each of several that share a set has its part of what it bears. */
const shared =
  (worn: WornBy, sharedBy: number): WornBy =>
  (usage) =>
    worn(usage * sharedBy);

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
