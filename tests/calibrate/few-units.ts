/** What a model is worth when it has seen only a few units: trained on random subsets, tested on the rest. */
import { backtest, type Method, type Scores } from "./backtest.ts";
import { laserData } from "./data.ts";
import { pluggedIn, wearLine } from "./methods.ts";
import { chance } from "./worlds.ts";

/**
 * One printed row per model: later readings of lasers that were not in the training subset, and when they cross 6 %. All
 * forecasts of all subsets count alike.
 */
export function fewUnits(n: number, subsets: number, seed: number): string[] {
  const { units, limit, horizon, prior } = laserData();
  const random = chance(seed);
  const methods: [string, Method][] = [
    ["drift ML", pluggedIn(limit, {})],
    ["wear line", wearLine(limit, prior)],
  ];
  const scores: Scores[][] = methods.map(() => []);
  for (let s = 0; s < subsets; s++) {
    const order = units.map((_, i) => ({ i, key: random.uniform() })).sort((a, b) => a.key - b.key);
    const train = order.slice(0, n).map(({ i }) => units[i]!);
    const rest = order.slice(n).map(({ i }) => units[i]!);
    methods.forEach(([, method], m) => {
      const learned = method(train);
      const origins = () => [3, 6, 9];
      scores[m]!.push(backtest(rest, limit, () => learned, origins, horizon, { gridSize: 120 }));
    });
  }
  return methods.map(([label], m) => `${label.padEnd(10)} ${pooled(scores[m]!).join(" ")}`);
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
