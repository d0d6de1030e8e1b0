import { carsInClub, type Half, halfOverSeasonBehind, lines, minutesInHalf } from "./club.ts";

/** What the lists promised against what came of it, and fixed rules of thumb that are given the same service. */

export interface Outcome {
  halves: number;
  /** share of the halves of all lines without a shortage, and what was stated on average */
  achieved: number;
  stated: number;
  standardError: number;
  /** share of whole clubs' halves in which no line ran short, and the product of what was stated */
  jointAchieved: number;
  jointStated: number;
  jointStandardError: number;
  /** money, per club and season, in minor units */
  bought: number;
  leftOver: number;
}

export interface RuleOutcome {
  rule: string;
  factor: number;
  achieved: number;
  bought: number;
  leftOver: number;
}

const served = ({ needed, onHand, bought }: Half) => needed <= onHand + bought;

/** @param seasons the halves of each club: per line, first and second */
export function outcomeOf(seasons: readonly Half[][]): Outcome {
  const halves = seasons.flat();
  const achieved = halves.filter(served).length / halves.length;
  const stated = halves.reduce((sum, half) => sum + half.stated, 0) / halves.length;
  const together = seasons.flatMap((season) => [0, 1].map((h) => season.filter((_, i) => i % 2 === h)));
  const jointStated =
    together.reduce((sum, group) => sum + group.reduce((p, half) => p * half.stated, 1), 0) / together.length;
  return {
    halves: halves.length,
    achieved,
    stated,
    standardError: Math.sqrt((stated * (1 - stated)) / halves.length),
    jointAchieved: together.filter((group) => group.every(served)).length / together.length,
    jointStated,
    jointStandardError: Math.sqrt((jointStated * (1 - jointStated)) / together.length),
    bought: money(halves, (half) => half.bought) / seasons.length,
    leftOver:
      money(
        halves.filter((_, i) => i % 2 === 1),
        (half) => Math.max(0, half.onHand + half.bought - half.needed),
      ) / seasons.length,
  };
}

const money = (halves: readonly Half[], pieces: (half: Half) => number) =>
  halves.reduce((sum, half) => sum + pieces(half) * lines[half.line]!.priceMinorUnits, 0);

/** Pieces that each rule of thumb wants at the beginning of a half, times a factor that is the same for all lines. */
const rules: [name: string, level: (half: Half) => number][] = [
  ["so many for each one on a car", ({ line }) => carsInClub * lines[line]!.size],
  [
    "what last season used, at least one change",
    ({ line, usedBefore }) => Math.max(lines[line]!.size, usedBefore * halfOverSeasonBehind),
  ],
  [
    "minutes over the middle of the usual life",
    ({ line }) => {
      const { life, size } = lines[line]!;
      return (carsInClub * size * minutesInHalf) / Math.sqrt(life.p10 * life.p90);
    },
  ],
];

/** The share of halves served: of one line, or of whole clubs in which no line ran short. */
export type Service = "line" | "list";

/**
 * Each rule at the service of the lists: between the last factor that serves less and the first that serves as much, which
 * jump by whole pieces, its costs are interpolated.
 */
export function rulesAtSameService(
  seasons: readonly Half[][],
  { achieved, jointAchieved }: Outcome,
  service: Service,
): RuleOutcome[] {
  const wanted = service === "line" ? achieved : jointAchieved;
  return rules.map(([rule, level]) => {
    let factor = 0;
    let below = followRule(seasons, level, factor, service);
    let outcome = below;
    while (outcome.achieved < wanted && factor < 40) {
      factor += 0.02;
      below = outcome;
      outcome = followRule(seasons, level, factor, service);
    }
    const share =
      outcome.achieved > below.achieved
        ? Math.min(1, (wanted - below.achieved) / (outcome.achieved - below.achieved))
        : 1;
    const between = (low: number, high: number) => low + share * (high - low);
    return {
      rule,
      factor: Math.round(factor * 100) / 100,
      achieved: between(below.achieved, outcome.achieved),
      bought: between(below.bought, outcome.bought),
      leftOver: between(below.leftOver, outcome.leftOver),
    };
  });
}

function followRule(
  seasons: readonly Half[][],
  level: (half: Half) => number,
  factor: number,
  service: Service,
) {
  let served = 0;
  let halves = 0;
  let bought = 0;
  let leftOver = 0;
  for (const season of seasons) {
    const short = [0, 0];
    for (let i = 0; i < season.length; i += 2) {
      let onHand = 0;
      for (const h of [0, 1]) {
        const half = season[i + h]!;
        const { size, priceMinorUnits } = lines[half.line]!;
        const wanted = Math.ceil((level(half) * factor) / size - 1e-9) * size;
        const more = Math.max(0, wanted - onHand);
        bought += more * priceMinorUnits;
        if (half.needed > onHand + more) short[h]!++;
        onHand = Math.max(0, onHand + more - half.needed);
      }
      leftOver += onHand * lines[season[i]!.line]!.priceMinorUnits;
    }
    const asked = service === "line" ? season.length : 2;
    halves += asked;
    served += service === "line" ? asked - short[0]! - short[1]! : short.filter((n) => n === 0).length;
  }
  return { achieved: served / halves, bought: bought / seasons.length, leftOver: leftOver / seasons.length };
}
