import { setImmediate } from "node:timers/promises";
import {
  type Advice,
  adviceBy,
  type AdviceRule,
  changeBelow,
  lookAfterRuns,
  lookBelow,
} from "../domain/piece-advice.ts";
import { breakageOf } from "../domain/breakage.ts";
import { pieceDemand, pieceForecast, chancesThrough, restsOn } from "../domain/forecast.ts";
import { benchSteps, type BenchStep, type Kind } from "../domain/kind.ts";
import { wearAnswered, wearLimit, wearScale } from "../domain/wear.ts";
import { type CheckGain, checkGain, checksWithin } from "../domain/worthwhile-check.ts";
import { selectClub } from "../storage/clubs.ts";
import { getRecord } from "../storage/records.ts";
import { meetingsAhead } from "./calendar-ahead.ts";
import { pieceInUse } from "./forecast-piece.ts";
import { count, percent } from "./in-words.ts";
import { fittedCar } from "./keep-cars.ts";
import { lesserShare, usualCosts } from "./usual-costs.ts";
import { raceCalendars } from "./race-calendars.ts";
import type { Work } from "./work.ts";

export interface AskedBench {
  /** bench time to spend on checks tonight */
  minutes?: number | undefined;
  labourMinorUnits?: number | undefined;
  lostRunMinorUnits?: number | undefined;
}

interface BenchCosts {
  labourMinorUnits: number;
  lostRunMinorUnits: number;
  lesserShare: number;
}

/** What a change and a lost run cost, as asked or else by default, in minor units of the club's currency. */
function benchCosts(asked: AskedBench, currency: string): BenchCosts {
  const usual = usualCosts(currency);
  return {
    labourMinorUnits: asked.labourMinorUnits ?? usual.labourMinorUnits,
    lostRunMinorUnits: asked.lostRunMinorUnits ?? usual.lostRunMinorUnits,
    lesserShare,
  };
}

const adviceOrder: Advice[] = ["change", "look", "leave"];

/**
 * The bench sheet of a car: every fitted piece in the order in which the bench works, with its chance of getting
 * through the next meeting and what to do about it. Positions with nothing fitted are named as well.
 */
export async function benchSheet(work: Work, carId: string, asked: AskedBench = {}) {
  const car = await fittedCar(work, carId);
  const { currency } = await selectClub(work.db, work.actor.clubId);
  const costs = benchCosts(asked, currency);
  const { positions: _, ...carRow } = car;
  const ahead = (await meetingsAhead(work, [carRow])).get(carId) ?? [];
  const entries = [];
  const calendarOf = await raceCalendars(work, carRow, ahead);
  for (const position of car.positions) {
    if (position.fitted === null) continue;
    const piece = await getRecord(work.db, "pieces", work.actor.clubId, position.fitted.pieceId, "piece");
    entries.push(await benchEntry(work, position.name, piece, calendarOf, costs));
    // A car has dozens of pieces, and each forecast takes milliseconds: other requests are let in between.
    await setImmediate();
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
    adviceBy: { rule: "chance" as const, changeBelow, lookBelow, lookAfterRuns },
    checkCosts: { rule: "cost" as const, currency, ...costs },
    tonight: asked.minutes === undefined ? null : tonight(entries, asked.minutes),
    entries: entries.map(({ gain: _, ...entry }) => entry),
    emptyPositions: car.positions
      .filter((position) => position.fitted === null)
      .map((position) => position.name),
    cautions: [
      ...new Set(entries.filter((entry) => entry.advice !== "leave").flatMap((entry) => entry.cautions)),
    ],
  };
}

/** The checks to spend some minutes on: those that together save most. */
function tonight(entries: readonly Awaited<ReturnType<typeof benchEntry>>[], minutes: number) {
  const checks = checksWithin(
    entries.map((entry) => ({ minutes: entry.checkMinutes, gain: entry.gain, entry })),
    minutes,
  );
  return {
    rule: "cost" as const,
    minutes,
    minutesUsed: checks.reduce((sum, check) => sum + check.minutes, 0),
    gainMinorUnits: Math.round(checks.reduce((sum, check) => sum + check.gain, 0)),
    checks: checks.map(({ entry }) => ({
      position: entry.position,
      pieceId: entry.pieceId,
      mark: entry.mark,
      kindName: entry.kindName,
      check: entry.check,
      checkMinutes: entry.checkMinutes,
      checkGainMinorUnits: entry.checkGainMinorUnits,
      checkGainPerMinute: entry.checkGainPerMinute,
      checkWhy: entry.checkWhy,
    })),
  };
}

/** What changing a piece costs tonight: the pieces that are changed together, and the labour of it. */
function changeCost(line: { priceMinorUnits: number; packSize: number }, kind: Kind, labour: number): number {
  const together = kind.changeRule === "pair" || kind.changeRule === "set" ? kind.changedTogether : 1;
  return (line.priceMinorUnits * together) / line.packSize + labour;
}

async function benchEntry(
  work: Work,
  position: string,
  piece: Awaited<ReturnType<typeof getRecord<"pieces">>>,
  calendarOf: Awaited<ReturnType<typeof raceCalendars>>,
  costs: BenchCosts,
) {
  const model = await work.models.get(work, piece.lineId);
  const { use, runs, lastSeenAt } = await pieceInUse(work, piece, model);
  const forecast = pieceForecast(model, use);
  const [next] = pieceDemand(model, calendarOf(piece.id, model).ahead);
  const daysAhead =
    next === undefined ? 0 : (Date.parse(next.startsOn) - Date.parse(work.now())) / 86_400_000 + 1;
  const wearingUsage = model.kind.clock === "days" ? Math.max(0, daysAhead) : (next?.wearingUsage ?? 0);
  const chances =
    next === undefined
      ? null
      : chancesThrough(forecast, breakageOf(model.breakage, piece.driverId), {
          wearingUsage,
          runs: next.runs,
        });
  const check =
    next === undefined
      ? null
      : checkGain(model, use, forecast, wearingUsage, {
          change: changeCost(model.line, model.kind, costs.labourMinorUnits),
          lostRun: costs.lostRunMinorUnits * (model.kind.carStopper ? 1 : costs.lesserShare),
        });
  const gain = check?.gain ?? 0;
  const runsSinceSeen = runs.filter((run) => lastSeenAt === null || run.at > lastSeenAt).length;
  const scale = wearScale(model.kind, model.overrides);
  const limit = wearLimit(scale)!;
  const wear = wearAnswered(scale, forecast.wear);
  const lastGrade = use.seen.findLast((one) => one.grade !== null)?.grade ?? null;
  const wornOut = chances === null ? forecast.pastLimitProbability : chances.wearsOut;
  const { advice, rule } = adviceBy(wornOut, runsSinceSeen);
  return {
    position,
    pieceId: piece.id,
    mark: piece.mark,
    kindCode: model.kind.code,
    kindName: model.kind.name,
    benchStep: model.kind.benchStep,
    check: model.kind.check,
    checkMinutes: model.kind.checkMinutes,
    gain,
    checkGainMinorUnits: Math.round(gain),
    checkGainPerMinute: gain / Math.max(0.1, model.kind.checkMinutes),
    checkWhy: checkWhyOf(check, next?.name, model.kind.measure === null ? "grade" : "reading"),
    carStopper: model.kind.carStopper,
    usage: use.now.usage,
    clock: model.kind.clock,
    unit: model.kind.measure?.unit ?? null,
    wear,
    limitWear: limit,
    wearShare: {
      p10: wear.p10 / limit,
      median: wear.median / limit,
      p90: wear.p90 / limit,
    },
    lasts: chances?.lasts ?? null,
    wearsOut: chances?.wearsOut ?? null,
    breaks: chances?.breaks ?? null,
    lastSeenAt,
    lastGrade,
    runsSinceSeen,
    advice,
    rule,
    why: whyOf({ rule, wornOut, runsSinceSeen, lastGrade, next: next?.name }),
    restsOn: { ...restsOn(model, use), current: model.current },
    cautions: model.kind.cautions,
  };
}

/** In one sentence, what one more reading may decide. */
function checkWhyOf(check: CheckGain | null, next: string | undefined, look: "reading" | "grade"): string {
  if (check === null) return "No meeting ahead: nothing has to be decided by one.";
  const standing = `worn out by the end of ${next} with a chance of ${percent(check.wearsOut)}, where changing pays from ${percent(check.changeFrom)}`;
  if (check.gain === 0)
    return check.decision === "leave"
      ? `By cost, it may stay on whatever a ${look} says: ${standing}.`
      : `By cost, a change pays whatever a ${look} says: ${standing}.`;
  return `By cost, a ${look} may turn "${check.decision}" into "${check.decision === "leave" ? "change" : "leave"}" (chance ${percent(check.switches)}): ${standing}.`;
}

/** In one sentence, what the advice goes by and what was found. */
function whyOf({
  rule,
  wornOut,
  runsSinceSeen,
  lastGrade,
  next,
}: {
  rule: AdviceRule;
  wornOut: number;
  runsSinceSeen: number;
  lastGrade: number | null;
  next: string | undefined;
}): string {
  const when = next === undefined ? "now" : `by the end of ${next}`;
  const by =
    rule === "unseen"
      ? `By the runs it was not seen for (look from ${lookAfterRuns} on)`
      : `By chance of wear (change from ${percent(1 - changeBelow)} on, look from ${percent(1 - lookBelow)} on)`;
  const seen =
    runsSinceSeen === 0 ? "seen since its last run" : `${count(runsSinceSeen, "run")} since it was last seen`;
  const grade = lastGrade === null ? "" : `, last grade ${lastGrade}`;
  return `${by}: worn out ${when} with a chance of ${percent(wornOut)}; ${seen}${grade}.`;
}
