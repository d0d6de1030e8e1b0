/**
 * Prints the leave-one-unit-out back-tests on real data: straight lines, drift process, wear line.
 *
 * Call: npm run calibrate:backtest
 */
import { backtest, type Method } from "./backtest.ts";
import { alloyData, batteryData, laserData } from "./data.ts";
import { fewUnits } from "./few-units.ts";
import { pluggedIn, wearLine } from "./methods.ts";

console.log(
  "data         model          readings: cov50 cov80 cov95  CRPS   crossing: cov50 cov80 cov95  CRPS",
);
for (const [name, data] of [
  ["laser 6 %", laserData()],
  ["laser 10 %", laserData(10)],
  ["battery", batteryData()],
  ["battery, 0.15", batteryData(0.15)],
  ["battery, 0.25", batteryData(0.25)],
  ["alloy", alloyData("raw")],
  ["alloy evened", alloyData("evened")],
] as const) {
  const methods: [string, Method][] = [
    ["line + error", pluggedIn(data.limit, { diffusion: false })],
    ["drift ML", pluggedIn(data.limit, {})],
    ["wear line", wearLine(data)],
    ["wear, straight", wearLine({ ...data, prior: { ...data.prior, exponentSd: 0, bendSd: 0 } })],
    ["wear, bent", wearLine({ ...data, prior: { ...data.prior, straightShare: 0 } })],
  ];
  for (const [label, method] of methods) {
    const s = backtest(data.units, data.limit, method, data.origins, data.horizon, { gridSize: 200 });
    const row = [s.cov50, s.cov80, s.cov95, s.crps, s.rul_cov50, s.rul_cov80, s.rul_cov95, s.rul_crps];
    console.log(`${name.padEnd(12)} ${label.padEnd(14)}`, row.map((x) => x.toFixed(4)).join(" "));
  }
}

console.log("\nfew units: lasers, trained on n of them, later readings and crossing of the others");
console.log("n  model      readings: cov50 cov80 cov95  CRPS   crossing: cov50 cov80 cov95  CRPS");
for (const n of [2, 3, 5]) for (const row of fewUnits(n)) console.log(n, row);
