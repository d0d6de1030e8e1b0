import type { Queries } from "../storage/database.ts";
import {
  countEvidenceOfMany,
  countExposureOfPieces,
  selectFittingsSince,
  selectLastInspections,
} from "../storage/bulk.ts";

type WearingRun = { carId: string; at: string; packId: string | null };

/** The first of the moments (in order) that lies from `from` on and before `until`. */
function firstBetween(moments: readonly string[], from: string, until: string | null): string | undefined {
  let low = 0;
  let high = moments.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (moments[middle]! < from) low = middle + 1;
    else high = middle;
  }
  const found = moments[low];
  return found !== undefined && (until === null || found < until) ? found : undefined;
}

/**
 * Says that what is known of some lines has changed: the breakages of every line that one of these runs wears a piece of,
 * and the fits of those whose piece was inspected since. The same rules as for a single run, but by a few queries and a
 * search instead of two statements for each.
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
  const worn = new Set(firstOfPack.keys());
  for (const { pieceId, carId, fittedAt, removedAt } of fittings) {
    const firstRun = firstBetween(ofCar.get(carId)!, fittedAt, removedAt);
    if (firstRun === undefined) continue;
    worn.add(pieceId);
    const last = inspected.get(pieceId);
    if (last !== undefined && firstRun <= last.at) lines.add(last.lineId);
  }
  for (const [packId, firstUse] of firstOfPack) {
    const last = inspected.get(packId);
    if (last !== undefined && firstUse <= last.at) lines.add(last.lineId);
  }
  await countExposureOfPieces(q, [...worn]);
  await countEvidenceOfMany(q, [...lines]);
}
