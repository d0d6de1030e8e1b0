import { changeEarly, dueNow } from "../domain/change-early.ts";
import { DomainError } from "../domain/errors.ts";
import { chancesThrough, pieceDemand, pieceForecast } from "../domain/forecast.ts";
import { moneyText } from "../domain/money.ts";
import { forecastNewPiece } from "../stats/index.ts";
import { selectPositions } from "../storage/fittings.ts";
import { getRecord } from "../storage/records.ts";
import { meetingsAhead } from "./calendar-ahead.ts";
import { pieceInUse } from "./forecast-piece.ts";
import { getOwnCar } from "./keep-cars.ts";
import { getOwnPiece } from "./keep-pieces.ts";
import { oneDecimal, percent } from "./in-words.ts";
import { lesserShare, usualCosts } from "./usual-costs.ts";
import type { Work } from "./work.ts";
import { strataOf } from "./worn-tables.ts";

/** Runs in a typical meeting, for breakage per unit of usage where the calendar says nothing. */
const usualRun = { minutes: 5.5, runs: 1, cycles: 1, knocks: 0.5, days: 7 };

export interface AskedCosts {
  /** parts and labour together; what is not given follows from the price and the labour */
  plannedCostMinorUnits?: number | undefined;
  labourMinorUnits?: number | undefined;
  lostRunCostMinorUnits?: number | undefined;
}

/**
 * Is changing early worth it for the line of this piece, at which usage, and is it time for this one?
 *
 * @throws {DomainError} `not_found`, `not_allowed`, `piece_retired`
 */
export async function changePieceEarly(work: Work, id: string, asked: AskedCosts) {
  const piece = await getOwnPiece(work, id);
  if (piece.retiredAt !== null)
    throw new DomainError(
      "piece_retired",
      `${piece.mark} was retired at ${piece.retiredAt} (${piece.retiredFor})`,
    );
  const model = await work.models.get(work, piece.lineId);
  const { kind, line, breakage } = model;
  const { use, fitting, runs } = await pieceInUse(work, piece, model);
  const size = fitting === undefined ? 1 : await tiedPieces(work, fitting.positionId, kind.changeRule);
  const costs = costsOf(line, size, kind.carStopper, asked);
  const car = fitting === undefined ? undefined : await getOwnCar(work, fitting.carId);
  const ahead = car === undefined ? [] : ((await meetingsAhead(work, [car])).get(car.id) ?? []);
  const [next] = pieceDemand(model, ahead);
  const perRun =
    next !== undefined && next.runs > 0 && kind.clock !== "days"
      ? next.wearingUsage / next.runs
      : runs.length > 0 && kind.clock !== "days"
        ? use.now.usage / runs.length
        : usualRun[kind.clock];
  const early = changeEarly(
    strataOf(model.wear).map(({ weight, wear }) => {
      const fresh = forecastNewPiece(wear);
      return { weight, worn: (usage: number) => fresh.remainingCdf(usage) };
    }),
    {
      size,
      breaksPerUsage: breakage.shape / breakage.rate / Math.max(perRun, 1e-9),
      usualLife: model.wear.scale.usage,
    },
    costs,
  );
  const stretch = kind.clock === "days" ? daysThrough(work, next?.startsOn) : (next?.wearingUsage ?? perRun);
  const { lasts } = chancesThrough(pieceForecast(model, use), breakage, {
    wearingUsage: stretch,
    runs: next?.runs ?? 1,
  });
  const changeNow = dueNow(early, 1 - lasts, stretch, costs);
  const saving = Math.round(early.saving * 100);
  const paid = (minorUnits: number) => moneyText({ minorUnits, currency: line.currency });
  return {
    pieceId: piece.id,
    mark: piece.mark,
    lineId: line.id,
    sku: line.sku,
    kindCode: kind.code,
    asOf: work.now(),
    clock: kind.clock,
    currency: line.currency,
    rule: "cost" as const,
    changedTogether: size,
    plannedCostMinorUnits: costs.plannedCost,
    labourMinorUnits: costs.labour,
    lostRunCostMinorUnits: costs.lostRunCost,
    assumed: {
      plannedCost: asked.plannedCostMinorUnits === undefined,
      labour: asked.plannedCostMinorUnits === undefined && asked.labourMinorUnits === undefined,
      lostRunCost: asked.lostRunCostMinorUnits === undefined,
    },
    worthwhile: early.worthwhile,
    changeAtUsage: early.worthwhile ? early.interval : null,
    within: early.worthwhile ? early.within : null,
    saving: early.saving,
    costPerHundredMinorUnits: early.costRate * 100,
    costPerHundredRunToEndMinorUnits: early.costRateRunToEnd * 100,
    plannedShare: early.plannedShare,
    usage: use.now.usage,
    endsInNextMeeting: next === undefined ? null : 1 - lasts,
    changeNow,
    sentence: early.worthwhile
      ? `By cost, change it at about ${Math.round(early.interval!)} ${kind.clock} (anywhere from ${Math.round(early.within.from)} ${early.within.to === null ? "on" : `to ${Math.round(early.within.to)}`} costs within 1 % of the least): that saves ${saving} % against running it to its end; this one has ${oneDecimal(use.now.usage)}, and ends in the next meeting with a chance of ${percent(1 - lasts)}, so ${changeNow ? "change it now" : "it stays"}.`
      : `By cost, changing early is not worth it: with ${paid(costs.plannedCost)} for a planned change and ${paid(costs.lostRunCost)} for a lost run the best rule saves ${early.saving < 0.005 ? "nothing" : `only ${(early.saving * 100).toFixed(1)} %`} against running it to its end.`,
  };
}

/** Days from now through a day; a week where there is none. */
const daysThrough = (work: Work, day: string | undefined): number =>
  day === undefined
    ? usualRun.days
    : Math.max(1, Math.floor((Date.parse(day) - Date.parse(work.now())) / 86_400_000) + 1);

function costsOf(
  line: { priceMinorUnits: number; packSize: number; currency: string },
  size: number,
  carStopper: boolean,
  asked: AskedCosts,
) {
  const parts = Math.ceil((line.priceMinorUnits * size) / line.packSize);
  const usual = usualCosts(line.currency);
  const labour =
    asked.plannedCostMinorUnits === undefined ? (asked.labourMinorUnits ?? usual.labourMinorUnits) : null;
  const lostRun = usual.lostRunMinorUnits * (carStopper ? 1 : lesserShare);
  return {
    // What costs nothing is changed for one minor unit: rates of cost need something to compare.
    plannedCost: Math.max(1, asked.plannedCostMinorUnits ?? parts + labour!),
    labour,
    lostRunCost: asked.lostRunCostMinorUnits ?? Math.round(lostRun),
  };
}

/** How many pieces come off together with the one at a position. */
async function tiedPieces(work: Work, positionId: string, changeRule: string): Promise<number> {
  if (changeRule === "alone" || changeRule === "with-mate") return 1;
  const position = await getRecord(work.db, "positions", work.actor.clubId, positionId, "position");
  if (position.changedWith === null) return 1;
  const positions = await selectPositions(work.db, work.actor.clubId, position.carId);
  return positions.filter((one) => one.changedWith === position.changedWith && one.kindId === position.kindId)
    .length;
}
