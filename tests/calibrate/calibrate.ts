/**
 * Prints the calibration of the wear model over simulated lines.
 *
 * Call: npm run calibrate [lines per row, default 2000] [words of the rows wanted]
 */
import { coverage } from "./score.ts";
import type { World } from "./worlds.ts";

const WORLDS: [string, World][] = [
  ["model", {}],
  ["grades only", { grades: "only" }],
  ["readings and grades", { grades: "mixed" }],
  ["coarse readings", { readingSd: 0.12 }],
  ["coarse, straight", { readingSd: 0.12, exponent: 1 }],
  ["surfaces logged", { surfaces: "logged" }],
  ["gamma process", { gamma: true }],
  ["usage^0.8", { exponent: 0.8 }],
  ["usage^1.2", { exponent: 1.2 }],
  ["1 in 20 wrong by 8 SD", { wrongShare: 0.05 }],
  ["surfaces not logged", { surfaces: "hidden" }],
  ["life believed x 0.4", { belief: 0.4 }],
  ["life believed x 2.5", { belief: 2.5 }],
];

const lines = Number(process.argv[2] ?? 2000);
const wanted = process.argv.slice(3);
const cell = (x: number, digits: number): string => x.toFixed(digits).padStart(7);
console.log(`${"world".padEnd(24)} pieces  cov50  cov80  cov95  chi2p   mean  ms/line`);
for (const [name, world] of WORLDS) {
  if (wanted.length > 0 && !wanted.some((word) => name.includes(word))) continue;
  for (const pieces of [1, 3, 10]) {
    const c = coverage(pieces, world, lines, 20_000 + pieces);
    const numbers = [c.cover50, c.cover80, c.cover95, c.uniform, c.meanProbability].map((x) => cell(x, 3));
    console.log(
      `${name.padEnd(24)} ${String(pieces).padStart(6)}${numbers.join("")}${cell(c.millisecondsPerLine, 1)}`,
    );
  }
}
