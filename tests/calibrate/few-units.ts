/** What a model is worth when it has seen only a few units: trained on random subsets, tested on the rest. */
import { backtest, type Method } from "./backtest.ts";
import { laserData } from "./data.ts";
import { pluggedIn, wearLine } from "./methods.ts";
import { chance } from "./worlds.ts";

/** One printed row per model: crossing of 6 % by lasers that were not in the training subset. */
export function fewUnits(n: number, subsets: number, seed: number): string[] {
  const { units, limit, horizon, prior } = laserData();
  const random = chance(seed);
  const methods: [string, Method][] = [
    ["drift ML", pluggedIn(limit, {})],
    ["wear line", wearLine(limit, prior)],
  ];
  const sums = methods.map(() => [0, 0, 0, 0]);
  for (let s = 0; s < subsets; s++) {
    const order = units.map((_, i) => ({ i, key: random.uniform() })).sort((a, b) => a.key - b.key);
    const train = order.slice(0, n).map(({ i }) => units[i]!);
    const rest = order.slice(n).map(({ i }) => units[i]!);
    methods.forEach(([, method], m) => {
      const learned = method(train);
      const scores = backtest(
        rest,
        limit,
        () => learned,
        () => [3, 6, 9],
        horizon,
        { gridSize: 120, readings: false },
      );
      const row = [scores.rul_cov50, scores.rul_cov80, scores.rul_cov95, scores.rul_crps];
      row.forEach((x, k) => {
        sums[m]![k]! += x / subsets;
      });
    });
  }
  return methods.map(([label], m) => `${label.padEnd(10)} ${sums[m]!.map((x) => x.toFixed(3)).join(" ")}`);
}
