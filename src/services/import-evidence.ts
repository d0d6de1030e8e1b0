import type { Queries } from "../storage/database.ts";
import { countEvidenceOfMany, selectFittingsSince, selectLastInspections } from "../storage/bulk.ts";

type WearingRun = { carId: string; at: string; packId: string | null };

/** Does any of the moments (in order) lie from `from` on, before `until`, and no later than `last`? */
function anyBetween(moments: readonly string[], from: string, until: string | null, last: string): boolean {
  let low = 0;
  let high = moments.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (moments[middle]! < from) low = middle + 1;
    else high = middle;
  }
  const found = moments[low];
  return found !== undefined && found <= last && (until === null || found < until);
}

/**
 * Says that what the fits of some lines rest on has changed: the lines of every piece that one of these runs wears and
 * that was inspected since. The same rule as for a single run, but by two queries and a search instead of one
 * statement for each.
 */
export async function countEvidenceOfRuns(q: Queries, runs: readonly WearingRun[]): Promise<void> {
  const ofCar = new Map<string, string[]>();
  const firstOfPack = new Map<string, string>();
  let first = "9";
  for (const { carId, at, packId } of runs) {
    if (at < first) first = at;
    const moments = ofCar.get(carId);
    if (moments === undefined) ofCar.set(carId, [at]);
    else moments.push(at);
    if (packId !== null && !(firstOfPack.get(packId)! <= at)) firstOfPack.set(packId, at);
  }
  for (const moments of ofCar.values()) moments.sort();
  const fittings = await selectFittingsSince(q, [...ofCar.keys()], first);
  const pieceIds = [...new Set([...fittings.map((fitting) => fitting.pieceId), ...firstOfPack.keys()])];
  const inspected = new Map((await selectLastInspections(q, pieceIds)).map((row) => [row.pieceId, row]));
  const lines = new Set<string>();
  for (const fitting of fittings) {
    const last = inspected.get(fitting.pieceId);
    if (last === undefined || lines.has(last.lineId)) continue;
    if (anyBetween(ofCar.get(fitting.carId)!, fitting.fittedAt, fitting.removedAt, last.at))
      lines.add(last.lineId);
  }
  for (const [packId, firstUse] of firstOfPack) {
    const last = inspected.get(packId);
    if (last !== undefined && firstUse <= last.at) lines.add(last.lineId);
  }
  await countEvidenceOfMany(q, [...lines]);
}
