/** What a model is worth when it has seen only a few units: trained on random subsets, tested on the rest. */
import { backtest, type Method, type Scores } from "./backtest.ts";
import { laserData } from "./data.ts";
import { pluggedIn, wearLine } from "./methods.ts";
import { chance } from "./worlds.ts";

/** More subsets than this are not tried, but so many of them drawn by chance. */
const MOST_SUBSETS = 455;

/** All ways to choose `n` of the first `count` numbers, in lexical order. */
function subsetsOf(count: number, n: number, from = 0): number[][] {
  if (n === 0) return [[]];
  const out: number[][] = [];
  for (let i = from; i <= count - n; i++)
    for (const rest of subsetsOf(count, n - 1, i + 1)) out.push([i, ...rest]);
  return out;
}

/** Shuffled by Fisher and Yates, the first `most` of them. */
function drawn<T>(all: T[], most: number, seed: number): T[] {
  const random = chance(seed);
  for (let i = all.length - 1; i > 0; i--) {
    const j = Math.floor(random.uniform() * (i + 1));
    [all[i], all[j]] = [all[j]!, all[i]!];
  }
  return all.slice(0, most);
}

/**
 * One printed row per model: later readings of lasers that were not in the training subset, and when they cross 6 %. All
 * forecasts of all subsets count alike.
 *
 * @param n units in a subset; every subset is tried where there are at most 455 of them
 */
export function fewUnits(n: number): string[] {
  const data = laserData();
  const { units, limit, horizon } = data;
  const all = subsetsOf(units.length, n);
  const subsets = all.length > MOST_SUBSETS ? drawn(all, MOST_SUBSETS, n) : all;
  const methods: [string, Method][] = [
    ["drift ML", pluggedIn(limit, {})],
    ["wear line", wearLine(data)],
  ];
  return methods.map(([label, method]) => {
    const scores = subsets.map((subset) => {
      const learned = method(subset.map((i) => units[i]!));
      const rest = units.filter((_, i) => !subset.includes(i));
      return backtest(
        rest,
        limit,
        () => learned,
        () => [3, 6, 9],
        horizon,
        { gridSize: 120 },
      );
    });
    return `${label.padEnd(10)} ${pooled(scores).join(" ")}`;
  });
}

function pooled(scores: readonly Scores[]): string[] {
  const mean = (value: (s: Scores) => number, weight: (s: Scores) => number) =>
    scores.reduce((sum, s) => sum + weight(s) * value(s), 0) / scores.reduce((sum, s) => sum + weight(s), 0);
  const readings = (["cov50", "cov80", "cov95", "crps"] as const).map((key) =>
    mean(
      (s) => s[key],
      (s) => s.n,
    ),
  );
  const crossings = (["rul_cov50", "rul_cov80", "rul_cov95", "rul_crps"] as const).map((key) =>
    mean(
      (s) => s[key],
      (s) => s.rul_n,
    ),
  );
  return [...readings, ...crossings].map((x) => x.toFixed(3));
}
