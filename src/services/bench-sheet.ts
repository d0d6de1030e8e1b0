import { pieceDemand, pieceForecast, chancesThrough, restsOn } from "../domain/forecast.ts";
import { benchSteps, type BenchStep } from "../domain/kind.ts";
import { wearLimit, wearScale } from "../domain/wear.ts";

import { getRecord } from "../storage/records.ts";
import { meetingsAhead } from "./calendar-ahead.ts";
import { pieceInUse } from "./forecast-piece.ts";
import { fittedCar } from "./keep-cars.ts";
import type { Work } from "./work.ts";

/** Below this chance of getting through the next meeting, a piece is to be changed before it. */
const changeBelow = 0.7;
/** Below this one, it is to be looked at. */
const lookBelow = 0.95;
/** A piece that nobody has looked at for this many runs is looked at, whatever its forecast. */
const runsUnseen = 18;

export type Advice = "change" | "look" | "leave";
const adviceOrder: Advice[] = ["change", "look", "leave"];

/**
 * The bench sheet of a car: every fitted piece in the order in which the bench works, with its chance of getting
 * through the next meeting and what to do about it. Positions with nothing fitted are named as well.
 */
export async function benchSheet(work: Work, carId: string) {
  const car = await fittedCar(work, carId);
  const { positions: _, ...carRow } = car;
  const ahead = (await meetingsAhead(work, [carRow])).get(carId) ?? [];
  const entries = [];
  for (const position of car.positions) {
    if (position.fitted === null) continue;
    const piece = await getRecord(work.db, "pieces", work.actor.clubId, position.fitted.pieceId, "piece");
    entries.push(await benchEntry(work, position.name, piece, ahead));
  }
  const stepOf = (step: BenchStep) => benchSteps.indexOf(step);
  entries.sort(
    (a, b) =>
      stepOf(a.benchStep) - stepOf(b.benchStep) ||
      adviceOrder.indexOf(a.advice) - adviceOrder.indexOf(b.advice) ||
      (a.lasts ?? 1) - (b.lasts ?? 1),
  );
  const [next] = ahead;
  return {
    carId,
    carName: car.name,
    asOf: work.now(),
    nextMeeting: next ?? null,
    ready:
      entries.every((entry) => entry.advice !== "change") && car.positions.every((p) => p.fitted !== null),
    minutes: entries
      .filter((entry) => entry.advice !== "leave")
      .reduce((sum, entry) => sum + entry.checkMinutes, 0),
    entries,
    emptyPositions: car.positions
      .filter((position) => position.fitted === null)
      .map((position) => position.name),
    cautions: [
      ...new Set(entries.filter((entry) => entry.advice !== "leave").flatMap((entry) => entry.cautions)),
    ],
  };
}

async function benchEntry(
  work: Work,
  position: string,
  piece: Awaited<ReturnType<typeof getRecord<"pieces">>>,
  ahead: Parameters<typeof pieceDemand>[1],
) {
  const model = await work.models.get(work, piece.lineId);
  const { use, runs, lastSeenAt } = await pieceInUse(work, piece, model);
  const forecast = pieceForecast(model, use);
  const [next] = pieceDemand(model, ahead);
  const daysAhead =
    next === undefined ? 0 : (Date.parse(next.startsOn) - Date.parse(work.now())) / 86_400_000 + 1;
  const chances =
    next === undefined
      ? null
      : chancesThrough(forecast, model.breakage, {
          wearingUsage: model.kind.clock === "days" ? Math.max(0, daysAhead) : next.wearingUsage,
          runs: next.runs,
        });
  const runsSinceSeen = runs.filter((run) => lastSeenAt === null || run.at > lastSeenAt).length;
  const limit = wearLimit(wearScale(model.kind, model.overrides))!;
  const lastGrade = use.seen.findLast((one) => one.grade !== null)?.grade ?? null;
  const wornOut = chances === null ? forecast.pastLimitProbability : chances.wearsOut;
  const advice: Advice =
    1 - wornOut < changeBelow
      ? "change"
      : 1 - wornOut < lookBelow || runsSinceSeen >= runsUnseen
        ? "look"
        : "leave";
  return {
    position,
    pieceId: piece.id,
    mark: piece.mark,
    kindCode: model.kind.code,
    kindName: model.kind.name,
    benchStep: model.kind.benchStep,
    check: model.kind.check,
    checkMinutes: model.kind.checkMinutes,
    carStopper: model.kind.carStopper,
    usage: use.now.usage,
    clock: model.kind.clock,
    unit: model.kind.measure?.unit ?? null,
    wear: forecast.wear,
    wearShare: {
      p10: forecast.wear.p10 / limit,
      median: forecast.wear.median / limit,
      p90: forecast.wear.p90 / limit,
    },
    lasts: chances?.lasts ?? null,
    wearsOut: chances?.wearsOut ?? null,
    breaks: chances?.breaks ?? null,
    lastSeenAt,
    lastGrade,
    runsSinceSeen,
    advice,
    why: whyOf({ wornOut, runsSinceSeen, lastGrade, next: next?.name }),
    restsOn: { ...restsOn(model, use), current: model.current },
    cautions: model.kind.cautions,
  };
}

function whyOf({
  wornOut,
  runsSinceSeen,
  lastGrade,
  next,
}: {
  wornOut: number;
  runsSinceSeen: number;
  lastGrade: number | null;
  next: string | undefined;
}): string {
  const percent = wornOut < 0.01 ? "under 1 %" : `${Math.round(wornOut * 100)} %`;
  const when = next === undefined ? "now" : `by the end of ${next}`;
  const seen =
    runsSinceSeen === 0 ? "seen since its last run" : `${runsSinceSeen} runs since it was last seen`;
  const grade = lastGrade === null ? "" : `, last grade ${lastGrade}`;
  return `Worn out ${when} with a chance of ${percent}; ${seen}${grade}.`;
}
