import { type Coverage, intervalCoverage } from "../stats/index.ts";
import type { Score, Scored } from "./back-test.ts";

/** What a back-test says of the forecasts of a line: how often the ranges held, how far off, and against what. */

export const levels = [0.5, 0.8, 0.95] as const;

export interface CoverageAt extends Omit<Coverage, "forecasts"> {
  level: number;
}

export interface Scoreboard {
  forecasts: number;
  /** how often the central ranges of each level held; none where there was no forecast */
  coverage: CoverageAt[];
  /** mean continuous ranked probability score of known outcomes, in the unit of the outcome; null without one */
  meanCrps: number | null;
  /** mean of outcome less median over known outcomes: positive where things turn out larger than forecast */
  bias: number | null;
}

export interface Accuracy extends Scoreboard {
  target: Scored["target"];
  /** pieces that the forecasts are of; forecasts of one piece are not independent of each other */
  pieces: number;
  /** forecasts whose outcome is known, and not only that it had not come by the last look */
  known: number;
  /** at least 30 forecasts; with fewer a coverage is no evidence */
  enough: boolean;
  /** the straight line through the piece's own readings, and our score for the very same forecasts */
  naive: Scoreboard & { ourMeanCrps: number | null };
  sentence: string;
}

/** Mean of what is known; null where nothing is. */
function mean(values: readonly (number | null)[]): number | null {
  const known = values.filter((value) => value !== null);
  return known.length === 0 ? null : known.reduce((sum, value) => sum + value, 0) / known.length;
}

function scoreboard(scores: readonly Score[]): Scoreboard {
  const coverage =
    scores.length === 0
      ? []
      : levels.map((level): CoverageAt => {
          // A central range holds what happened where its probability lies in the middle of them.
          const [low, high] = [(1 - level) / 2, (1 + level) / 2];
          const { forecasts: _, ...held } = intervalCoverage(
            scores.map(({ probability }) => ({ low, high, outcome: probability })),
            level,
          );
          return { level, ...held };
        });
  return {
    forecasts: scores.length,
    coverage,
    meanCrps: mean(scores.map(({ crps }) => crps)),
    bias: mean(scores.map(({ error }) => error)),
  };
}

const words = {
  reading: ["next reading", "next readings"],
  grade: ["next grade", "next grades"],
  end: ["end of life", "ends of life"],
} as const;

/** The accuracy of the forecasts of each sort of outcome that there was. */
export function accuracyOf(scored: readonly Scored[]): Accuracy[] {
  return (["reading", "grade", "end"] as const)
    .map((target) => {
      const of = scored.filter((one) => one.target === target);
      const ours = scoreboard(of.map((one) => one.ours));
      const both = of.filter((one) => one.naive !== null);
      const naive = {
        ...scoreboard(both.map((one) => one.naive!)),
        ourMeanCrps: mean(both.map((one) => one.ours.crps)),
      };
      const pieces = new Set(of.map(({ pieceId }) => pieceId)).size;
      const enough = ours.coverage[0]?.enough ?? false;
      const known = of.filter((one) => one.known).length;
      const accuracy = { target, pieces, known, enough, ...ours, naive };
      return { ...accuracy, sentence: sentenceOf(accuracy) };
    })
    .filter(({ forecasts }) => forecasts > 0);
}

const percent = (p: number) => `${Math.round(p * 100)} %`;

function sentenceOf({
  target,
  forecasts,
  pieces,
  enough,
  coverage,
  naive,
}: Omit<Accuracy, "sentence">): string {
  const [one, many] = words[target];
  const counted = `${forecasts} ${forecasts === 1 ? one : many} of ${pieces} ${pieces === 1 ? "piece" : "pieces"}`;
  if (!enough) return `Not enough evidence: ${counted}; at least 30 forecasts are wanted.`;
  const at80 = coverage.find(({ level }) => level === 0.8)!;
  const { low, high } = at80.limits;
  const held = `the 80 % ranges held ${percent(at80.share)} of ${counted} (95 % limits ${percent(low)} to ${percent(high)})`;
  const verdict = at80.asStated
    ? "as often as they should"
    : at80.share < at80.level
      ? "too seldom: they are too narrow"
      : "too often: they are too wide";
  const better =
    naive.meanCrps === null || naive.ourMeanCrps === null || naive.meanCrps === 0
      ? ""
      : `; the error score is ${percent(naive.ourMeanCrps / naive.meanCrps)} of that of a straight line through each piece's readings`;
  return `${held[0]!.toUpperCase()}${held.slice(1)}, ${verdict}${better}.`;
}
