import { pieceForecast, type PieceInUse } from "../domain/forecast.ts";
import { wholeSets } from "../domain/spare-sets.ts";
import { forecastNewPiece } from "../stats/index.ts";
import type { PieceRow } from "../storage/tables.ts";
import type { CurrentModel } from "./line-models.ts";
import { setSize, withLastPlace } from "./matched-sets.ts";
import type { Work } from "./work.ts";

/** A part-worn piece counts as a spare where it lasts half as long as the median new one with at least this chance. */
const spareChance = 0.8;

/** Part-worn pieces that count as spares; of a kind changed in pairs or sets, whole matched ones only. */
export async function sparesAmong(
  work: Work,
  model: CurrentModel,
  pieces: readonly PieceRow[],
  uses: ReadonlyMap<string, PieceInUse>,
): Promise<PieceRow[]> {
  if (pieces.length === 0) return [];
  const half = (forecastNewPiece(model.wear).remainingQuantile(0.5) ?? 0) / 2;
  const good = pieces.filter(({ id }) => {
    const forecast = pieceForecast(model, uses.get(id)!);
    return (1 - forecast.pastLimitProbability) * (1 - forecast.remainingCdf(half)) >= spareChance;
  });
  const size = setSize(model.kind);
  if (size === 1) return good;
  if (good.length < size) return [];
  const placed = await withLastPlace(work, good);
  return wholeSets(placed, size).flatMap((set) => set.map(({ piece }) => piece));
}
