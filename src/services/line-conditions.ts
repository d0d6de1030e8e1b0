import {
  factorsMet,
  type FactorMet,
  type RunUnderConditions,
  usageUnderLevels,
} from "../domain/conditions.ts";
import { surfaceMultipliers } from "../domain/forecast.ts";
import { wearLimit, wearPiece, wearPrior, wearScale } from "../domain/wear.ts";
import { conditionMultipliers, type WearPiece } from "../stats/index.ts";
import { selectConditionsOfPieces } from "../storage/line-conditions.ts";
import { groupedBy } from "./grouped-by.ts";
import { type PieceRecord, pieceRecords } from "./line-evidence.ts";
import type { CurrentModel } from "./line-models.ts";
import type { Work } from "./work.ts";

/** How much faster a line wears under one condition than its other use, as a range, and what that rests on. */
export interface ConditionEffect {
  factor: string;
  condition: string;
  p10: number;
  median: number;
  p90: number;
  /** what was believed before the log said anything */
  believed: number;
  runs: number;
  /** share of the line's use */
  share: number;
  sentence: string;
}

/** The fits of all factors of a line take as long as several of the line, and say the same until the log changes. */
const kept = new WeakMap<Work["models"], Map<string, { evidence: number; effects: ConditionEffect[] }>>();

/** A piece as the wear line sees it, its use split over the levels of one factor. */
function pieceUnder(
  { kind, overrides, wear }: CurrentModel,
  met: FactorMet,
  { row, seen }: PieceRecord,
  runs: readonly RunUnderConditions[],
): WearPiece {
  const onSurface = surfaceMultipliers(kind, wear);
  const used = usageUnderLevels(
    { kind, met, onSurface },
    runs,
    seen.map(({ at }) => at),
  );
  const prior = row.priorUsage ?? 0;
  const looks = seen.map(({ value, sd, grade }, i) => ({
    usage: prior + used[i]!.usage,
    bySurface: {},
    value,
    sd,
    grade,
  }));
  // Equal use is the same moment, or one without a run in between: its split is equal as well.
  const splits = new Map(looks.map(({ usage }, i) => [usage, used[i]!.exposures]));
  const piece = wearPiece(kind, overrides, row, looks);
  const none = met.levels.map(() => 0);
  return {
    ...piece,
    observations: piece.observations.map((one) => ({ ...one, exposures: splits.get(one.usage) ?? none })),
  };
}

/**
 * The effect of every condition that the log of a line can tell, one factor at a time: the line is fitted once for each
 * factor, its use turned into use on the usual surface and split over the levels.
 */
export async function lineConditions(work: Work, model: CurrentModel): Promise<ConditionEffect[]> {
  const { line, kind, overrides } = model;
  const byLine = kept.get(work.models) ?? new Map<string, { evidence: number; effects: ConditionEffect[] }>();
  kept.set(work.models, byLine);
  const known = byLine.get(line.id);
  if (known?.evidence === line.evidence) return known.effects;

  const records = (await pieceRecords(work.db, line.id)).filter(({ seen }) => seen.length > 0);
  const first = records[0];
  const effects: ConditionEffect[] = [];
  if (first !== undefined) {
    const seenIds = new Set(records.map(({ row }) => row.id));
    const runs = (await selectConditionsOfPieces(work.db, line.id, first.row.id)).filter(({ pieceId }) =>
      seenIds.has(pieceId),
    );
    const runsOf = groupedBy(runs, ({ pieceId }) => pieceId);
    const limit = wearLimit(wearScale(kind, overrides))!;
    for (const met of factorsMet(kind, runs)) {
      const pieces = records.map((record) => pieceUnder(model, met, record, runsOf.get(record.row.id) ?? []));
      const prior = { ...wearPrior(kind, overrides), conditions: met.levels };
      const { wear } = await work.models.fit({ pieces, limit, prior, start: undefined });
      const learned = conditionMultipliers(wear);
      effects.push(...met.levels.map((level, i) => effectOf(met, level, learned[i]!)));
    }
  }
  byLine.set(line.id, { evidence: line.evidence, effects });
  return effects;
}

function effectOf(
  { factor, levels }: FactorMet,
  level: FactorMet["levels"][number],
  { p10, median, p90 }: { p10: number; median: number; p90: number },
): ConditionEffect {
  const times = (x: number) => x.toFixed(2);
  const against = levels.length > 1 ? "the usual" : "other use";
  const verdict =
    p10 <= 1 && p90 >= 1 ? "; it may make no difference" : p10 > 1 ? "" : ", which is more slowly";
  return {
    factor: factor.name,
    condition: level.name,
    p10,
    median,
    p90,
    believed: level.multiplier,
    runs: level.runs,
    share: level.share,
    sentence: `"${level.name}" wears it ${times(median)} times as fast as ${against} (${times(p10)} to ${times(p90)})${verdict}; from ${level.runs} runs, ${Math.round(level.share * 100)} % of its use.`,
  };
}
