import { breakagePerRun } from "../domain/breakage.ts";
import { chancesThrough } from "../domain/forecast.ts";
import { learnedSurfaces, wearLimit, wearScale } from "../domain/wear.ts";
import { conditionMultipliers, forecastNewPiece, populationSummary } from "../stats/index.ts";
import { lineConditions } from "./line-conditions.ts";
import { onlyDriver, type Work } from "./work.ts";

/** How the pieces of a line wear: the fitted rate, its spread, the effect of surfaces and conditions, and the life of a new piece. */
export async function lineWear(work: Work, lineId: string) {
  const model = await work.models.get(work, lineId);
  const { kind, line, wear, breakage, current } = model;
  const scale = wearScale(kind, model.overrides);
  const { rate, pieceSpread, runSpread, readingSd, pathExponent } = populationSummary(wear);
  const fresh = forecastNewPiece(wear);
  const lifeAt = (p: number) => fresh.remainingQuantile(p);
  const only = onlyDriver(work);
  const met = new Set(wear.activeConditions);
  return {
    lineId,
    sku: line.sku,
    kindCode: kind.code,
    asOf: work.now(),
    clock: kind.clock,
    unit: scale.unit,
    limits: scale.limits,
    limitWear: wearLimit(scale)!,
    wearRate: rate,
    pieceSpread,
    runSpread,
    readingSd,
    pathExponent,
    newPieceLife: { p10: lifeAt(0.1), median: lifeAt(0.5), p90: lifeAt(0.9) },
    surfaces: conditionMultipliers(wear)
      .filter(({ name }) => (learnedSurfaces(kind) as string[]).includes(name))
      .map(({ name, ...range }, i) => ({ surface: name, ...range, learned: met.has(i) })),
    conditions: await lineConditions(work, model),
    breakage: {
      perRun: breakage.shape / breakage.rate,
      broken: breakage.broken,
      runs: breakage.runs,
      range: breakagePerRun(breakage),
      drivers: Object.entries(breakage.drivers)
        .filter(([driverId]) => only === null || driverId === only)
        .map(([driverId, own]) => ({
          driverId,
          perRun: breakagePerRun(own),
          broken: own.broken,
          runs: own.runs,
        })),
      lastsTenRuns: chancesThrough(fresh, breakage, { wearingUsage: 0, runs: 10 }).lasts,
    },
    restsOn: { pieces: wear.counts.pieces, readings: wear.counts.readings, current },
  };
}
