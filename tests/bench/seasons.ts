import { spawn, spawnSync } from "node:child_process";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";
import { simulateSeasons } from "../../src/stats/index.ts";
import { median } from "./measure.ts";

/**
 * Ten thousand simulated seasons of a thousand positions, beside the same law in numpy (seasons.py), simulated life by life and by
 * the same method as here, in turn; and how the time grows with the positions.
 */
const seasons = 10_000;
const lineCount = 20;
const rounds = 7;

interface Question {
  way: "lives" | "counts";
  lines: { shape: number; scale: number; logScaleSd: number; breakageRate: number }[];
  positions: { line: number; age: number; horizon: number }[];
  seasons: number;
  seed: number;
  commonLogScaleSd: number;
}
const question = (
  positions: number,
  breakageRate: number,
  seed: number,
  way: Question["way"] = "counts",
): Question => ({
  lines: Array.from({ length: lineCount }, (_, i) => ({
    ...{ shape: 2 + (i % 3), scale: 60 + 5 * i, logScaleSd: 0.2, breakageRate },
  })),
  positions: Array.from({ length: positions }, (_, i) => ({
    line: i % lineCount,
    age: (i * 7.31) % 60,
    horizon: 100,
  })),
  ...{ way, seasons, seed, commonLogScaleSd: 0.1 },
});

interface Answer {
  seconds: number;
  means: number[];
  variances: number[];
}

function here(asked: Question): Answer {
  const started = performance.now();
  const { demand } = simulateSeasons(asked);
  const took = (performance.now() - started) / 1000;
  const means = demand.map((taken) => taken.reduce((sum, one) => sum + one, 0) / seasons);
  const variances = demand.map((taken, i) => {
    const squares = taken.reduce((sum, one) => sum + (one - means[i]!) ** 2, 0);
    return squares / (seasons - 1);
  });
  return { seconds: took, means, variances };
}

const withNumpy = () =>
  ["python3", "/usr/bin/python3"].find((python) => spawnSync(python, ["-c", "import numpy"]).status === 0);

function numpy(python: string) {
  const child = spawn(python, [fileURLToPath(new URL("./seasons.py", import.meta.url))], {
    stdio: ["pipe", "pipe", "inherit"],
  });
  const answers = createInterface({ input: child.stdout })[Symbol.asyncIterator]();
  return {
    ask: async (asked: Question): Promise<Answer> => {
      child.stdin.write(`${JSON.stringify(asked)}\n`);
      const { value, done } = await answers.next();
      if (done === true) throw new Error("numpy gave no answer");
      return JSON.parse(value) as Answer;
    },
    end: () => child.stdin.end(),
  };
}

const range = (values: readonly number[]) =>
  `${Math.min(...values).toFixed(2)} to ${Math.max(...values).toFixed(2)} s`;

/** The largest difference of two simulations over the lines, in standard errors of it; that of a variance is roughly normal. */
function apart(a: Answer, b: Answer) {
  const spread = (i: number) => a.variances[i]! + b.variances[i]!;
  return {
    means: Math.max(
      ...a.means.map((mean, i) => Math.abs(mean - b.means[i]!) / Math.sqrt(spread(i) / seasons)),
    ),
    variances: Math.max(
      ...a.variances.map((one, i) => Math.abs(one - b.variances[i]!) / (spread(i) / Math.sqrt(seasons))),
    ),
  };
}

export async function benchSeasons(say: (line: string) => void): Promise<void> {
  const python = withNumpy();
  if (python === undefined) say("beside numpy: skipped, no python3 with numpy was found");
  else {
    const other = numpy(python);
    for (const [name, rate] of [
      ["without breakage", 0],
      ["with breakage", 0.004],
    ] as const) {
      const [ours, lives, counts]: [Answer[], Answer[], Answer[]] = [[], [], []];
      for (let round = 0; round <= rounds; round++) {
        ours.push(here(question(1000, rate, 3 * round)));
        lives.push(await other.ask(question(1000, rate, 3 * round + 1, "lives")));
        counts.push(await other.ask(question(1000, rate, 3 * round + 2, "counts")));
      }
      const times = (all: Answer[]) => all.slice(1).map((one) => one.seconds);
      const took = (all: Answer[]) => `${median(times(all)).toFixed(2)} s (${range(times(all))})`;
      const ratio = (all: Answer[]) => (median(times(ours)) / median(times(all))).toFixed(2);
      const off = [lives, counts].map((all) => apart(ours[1]!, all[1]!));
      const most = (of: "means" | "variances") => Math.max(...off.map((one) => one[of])).toFixed(1);
      say(
        `${seasons.toLocaleString("en")} seasons of 1,000 positions ${name}: ${took(ours)}; numpy, each life followed, ${took(lives)}: ${ratio(lives)} times; numpy, counts drawn, ${took(counts)}: ${ratio(counts)} times (wanted at most 1); of ${lineCount} lines the means differ by at most ${most("means")} standard errors, the variances by ${most("variances")}`,
      );
    }
    other.end();
  }
  const times = [100, 1000, 10_000].map((positions) =>
    median([1, 2, 3].map((seed) => here(question(positions, 0.004, seed)).seconds)),
  );
  say(
    `100, 1,000 and 10,000 positions with breakage: ${times.map((one) => `${one.toFixed(2)} s`).join(", ")}: ${(times[1]! / times[0]!).toFixed(1)} and ${(times[2]! / times[1]!).toFixed(1)} times for ten times the positions (wanted at most 11)`,
  );
}
