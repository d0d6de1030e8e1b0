import {
  forecastWear,
  normalCdf,
  normalPdf,
  populationSummary,
  type PossibleOutcome,
  sampleInformation,
  type WearForecast,
  type WearObservation,
} from "../stats/index.ts";
import type { LineKnowledge, PieceInUse } from "./forecast.ts";
import { exposures, wearPiece } from "./wear.ts";

/**
 * Is one more look at a piece worth its minutes? It is where it may change what is done: change the piece now, or leave
 * it on and risk that it wears out at the next meeting.
 */

/** Money in minor units. */
export interface CheckCosts {
  /** a planned change: part and labour */
  change: number;
  /** what is lost on top when it wears out at the meeting */
  lostRun: number;
}

export interface CheckGain {
  /** expected cost saved by looking first, minor units, >= 0 */
  gain: number;
  /** chance that it wears out by the end of the meeting, as known now */
  wearsOut: number;
  /** from this chance on, changing it now is the cheaper */
  changeFrom: number;
  decision: "change" | "leave";
  /** chance that the look leads to the other decision */
  switches: number;
}

/** Where the next reading may lie, in standard deviations of what is expected of it; the outer ones are asked first. */
const outerScores = [-2.5, 2.5, -1.5, 1.5];
const innerScores = [-0.75, 0, 0.75];
const scoreStep = 0.05;
const scoreReach = 4;
/** 90th percentile of the standard normal law. */
const z90 = 1.2815515655446004;
/** Lower bounds of the grades 1 to 4 in shares of the limit, and the error of a grading, as the fit takes them. */
const gradeBounds = [0.1, 0.4, 0.75, 1];
const gradeSd = 0.1;
/** A grade less likely than this decides nothing. */
const rareGrade = 1e-3;
/** Nothing is worked out where even certainty would save less than this, in minor units. */
const worthAsking = 0.5;

/**
 * What one more reading (or grade, where the kind is graded) of a piece would save before the next meeting.
 *
 * The law of the reading is that of the wear now, with the reading error on top; at a few places of it the forecast is
 * made again as if the reading had been taken, and the decision with it.
 *
 * @param wearingUsage of the meeting, on the surface of multiplier 1, or days
 */
export function checkGain(
  line: LineKnowledge,
  piece: PieceInUse,
  forecast: WearForecast,
  wearingUsage: number,
  { change, lostRun }: CheckCosts,
): CheckGain {
  const costs = { sure: change, loss: change + lostRun };
  const wearsOutIn = (law: WearForecast) =>
    law.pastLimitProbability + (1 - law.pastLimitProbability) * law.remainingCdf(wearingUsage);
  const wearsOut = wearsOutIn(forecast);
  const changeFrom = costs.loss > 0 ? costs.sure / costs.loss : 1;
  const asKnown = {
    wearsOut,
    changeFrom,
    decision: wearsOut > changeFrom ? ("change" as const) : ("leave" as const),
  };
  const nothing = { gain: 0, ...asKnown, switches: 0 };
  if (sampleInformation([{ weight: 1, probability: wearsOut }], costs).perfect < worthAsking) return nothing;

  const own = wearPiece(line.kind, line.overrides, piece, piece.seen);
  const now = { usage: piece.now.usage, exposures: exposures(line.kind, piece.now) };
  const after = (seen: Partial<WearObservation>) =>
    wearsOutIn(
      forecastWear(line.wear, { ...own, observations: [...own.observations, { ...now, ...seen }] }, now),
    );
  const outcomes =
    line.kind.measure === null
      ? gradeOutcomes(forecast, own.limit, (grade) => after({ grade }))
      : readingOutcomes(
          forecast,
          populationSummary(line.wear).readingSd,
          (wear) => after({ wear, sd: line.wear.prior.readingSd }),
          wearsOut > changeFrom,
          changeFrom,
        );
  if (outcomes === null) return nothing;
  const { gain, switches } = sampleInformation(outcomes, costs);
  return { gain, ...asKnown, switches };
}

/** Two half normal laws that meet the 10th percentile, the median and the 90th of the wear now. */
function wearNow({ wear }: WearForecast) {
  const below = Math.max(0, wear.median - wear.p10) / z90;
  const above = Math.max(0, wear.p90 - wear.median) / z90;
  return { median: wear.median, sdTowards: (score: number) => (score < 0 ? below : above) };
}

/**
 * Outcomes of a reading on a fine grid; null where even the outer readings lead to the decision that stands now. The
 * log odds are taken as straight between the places at which the forecast is made again.
 */
function readingOutcomes(
  forecast: WearForecast,
  readingSd: number,
  after: (wear: number) => number,
  changeNow: boolean,
  changeFrom: number,
): PossibleOutcome[] | null {
  const { median, sdTowards } = wearNow(forecast);
  const at = (score: number) => ({
    score,
    probability: after(median + score * Math.hypot(sdTowards(score), readingSd)),
  });
  const outer = outerScores.map(at);
  if (outer.every(({ probability }) => probability > changeFrom === changeNow)) return null;
  const places = [...outer, ...innerScores.map(at)].sort((a, b) => a.score - b.score);
  const odds = places.map(({ probability }) => logit(probability));
  const outcomes: PossibleOutcome[] = [];
  for (let score = -scoreReach; score <= scoreReach; score += scoreStep) {
    const next = places.findIndex((place) => place.score >= score);
    const to = next === -1 ? places.length - 1 : Math.max(1, next);
    const [a, b] = [places[to - 1]!, places[to]!];
    const share = Math.min(1, Math.max(0, (score - a.score) / (b.score - a.score)));
    const logOdds = odds[to - 1]! + share * (odds[to]! - odds[to - 1]!);
    outcomes.push({ weight: normalPdf(score), probability: 1 / (1 + Math.exp(-logOdds)) });
  }
  return outcomes;
}

/** Log odds, kept finite. */
const logit = (p: number) => Math.log(Math.max(p, 1e-12) / Math.max(1 - p, 1e-12));

/** Outcomes of a grading: each grade with its chance, and what would be known after it. */
function gradeOutcomes(
  forecast: WearForecast,
  limit: number,
  after: (grade: number) => number,
): PossibleOutcome[] {
  const { median, sdTowards } = wearNow(forecast);
  const below = (bound: number) => {
    const off = bound * limit - median;
    return normalCdf(off / Math.hypot(sdTowards(off), gradeSd * limit));
  };
  const bounds = [0, ...gradeBounds.map(below), 1];
  return bounds
    .slice(1)
    .map((upper, grade) => ({ grade, weight: Math.max(0, upper - bounds[grade]!) }))
    .filter(({ weight }) => weight > rareGrade)
    .map(({ grade, weight }) => ({ weight, probability: after(grade) }));
}

/** A check that could be made tonight. */
export interface PossibleCheck {
  minutes: number;
  gain: number;
}

/** Minutes are counted in tenths; a check that takes less is counted as one tenth. */
const perMinute = 10;

/**
 * The checks whose gains add up to most within some minutes, the most gain for each minute first. Only checks that gain
 * something are chosen. Gains are taken as independent of each other.
 *
 * @param minutes >= 0, at most 600
 * @throws {RangeError} if `minutes` is outside its range
 */
export function checksWithin<C extends PossibleCheck>(checks: readonly C[], minutes: number): C[] {
  if (!(minutes >= 0 && minutes <= 600))
    throw new RangeError(`checksWithin requires minutes in [0, 600], got ${minutes}`);
  const worth = checks.filter(({ gain }) => gain > 0);
  const room = Math.floor(minutes * perMinute + 1e-9);
  const tenths = worth.map((check) => Math.max(1, Math.ceil(check.minutes * perMinute - 1e-9)));
  // best[i][m]: most gain of the first i checks within m tenths of a minute.
  const best = [new Float64Array(room + 1)];
  for (const [i, { gain }] of worth.entries()) {
    const before = best[i]!;
    best.push(
      before.map((without, m) =>
        m < tenths[i]! ? without : Math.max(without, before[m - tenths[i]!]! + gain),
      ),
    );
  }
  const chosen: C[] = [];
  let left = room;
  for (let i = worth.length; i > 0; i--) {
    if (best[i]![left]! <= best[i - 1]![left]!) continue;
    chosen.push(worth[i - 1]!);
    left -= tenths[i - 1]!;
  }
  const each = ({ gain, minutes: taken }: PossibleCheck) => gain / Math.max(taken, 1 / perMinute);
  return chosen.sort((a, b) => each(b) - each(a));
}
