import { setImmediate } from "node:timers/promises";
import type { PlannedMeeting } from "../domain/calendar.ts";
import type { LineWorld, WornBy } from "../domain/demand.ts";
import { mateReach } from "../domain/demand-mates.ts";
import { pieceDemand, type PieceInUse } from "../domain/forecast.ts";
import { groupedBy } from "./grouped-by.ts";
import type { CurrentModel } from "./line-models.ts";
import type { InUse } from "./pieces-in-scope.ts";
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
  }));
  const worlds = strata.map(({ weight }, s) => ({
    weight,
    newWorn: newWorn[s]!,
    groups: groups.map(({ group, owner, usageThrough, runs }) => ({
      owner,
      pieceIds: group.map(({ piece }) => piece.id),
      worn: group.map(({ piece }) => tables.get(piece.id)![s]!),
      usageThrough: usageThrough[s]!,
      runs,
    })),
  }));
  const calendars = [...usages.values()];
  const places = groups.map(({ group, owner, usageThrough, runs }) => [
    ...[owner, group.length, calendars.indexOf(usageThrough), runs],
  ]);
  return {
    worlds,
    from: [
      model.breakage,
      newWorn,
      ...groups.flatMap(({ group }) => group.map(({ piece }) => tables.get(piece.id))),
    ],
    said: JSON.stringify([calendars, places]),
  };
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
