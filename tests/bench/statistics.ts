import { type ChildProcess, spawn } from "node:child_process";
import { once } from "node:events";
import { writeFileSync } from "node:fs";
import path from "node:path";
import { createInterface } from "node:readline";
import { fileURLToPath } from "node:url";
import {
  fitLife,
  fitWearLine,
  type LifeObservation,
  updateWearLine,
  type WearLineFit,
  type WearPiece,
} from "../../src/stats/index.ts";
import { inFolder, median } from "./measure.ts";
import { beforeLastReading, mixedLives, wearBelief, wearLimit, wornLine } from "./statistics-data.ts";

/**
 * Fits of wear lines and of lives beside those of R on the same data, in one run and in turn. R is one process; that
 * it starts and reads the data is not counted, and both have done everything once before anything is measured.
 */
const lines = 1000;
const lineRounds = 3;
const rounds = 7;
const lives = 100_000;
const largePieces = 1000;
const largeReadings = 20;

const script = fileURLToPath(new URL("./statistics.R", import.meta.url));

interface RProcess {
  versions: string;
  /** seconds that R took by its own clock, and the log-likelihood it found */
  run: (task: string) => Promise<{ seconds: number; logLikelihood: number }>;
  close: () => void;
}

/** R with what it needs, or null where that is not installed. */
async function startR(folder: string): Promise<RProcess | null> {
  const child: ChildProcess = spawn("Rscript", [script, folder], { stdio: ["pipe", "pipe", "inherit"] });
  const failed = once(child, "error").then(() => "absent");
  const said = createInterface({ input: child.stdout! })[Symbol.asyncIterator]();
  const next = async () => {
    const line = await Promise.race([said.next().then(({ value }) => (value as string) ?? "absent"), failed]);
    return line.trim();
  };
  const first = await next();
  if (first === "absent") return null;
  const [, major, minor, lme4, survival] = first.split(" ");
  return {
    versions: `R ${major}.${minor}, lme4 ${lme4}, survival ${survival}`,
    run: async (task) => {
      child.stdin!.write(`${task}\n`);
      const [, seconds, number] = (await next()).split(" ");
      return { seconds: Number(seconds), logLikelihood: Number(number) };
    },
    close: () => child.stdin!.end(),
  };
}

const readingRows = (line: number, pieces: readonly WearPiece[]): string[] =>
  pieces.flatMap(({ observations }, p) =>
    observations.map(({ usage, wear }) => `${line},${p},${usage},${wear}`),
  );

/** Ends of the interval that the life is in; below 0 where there is none. */
function lifeRow(life: LifeObservation): string {
  if (life.kind === "between") return `${life.from},${life.to}`;
  if (life.kind === "running") return `${life.at},-1`;
  return life.kind === "before" ? `-1,${life.at}` : `${life.at},${life.at}`;
}

function writeData(folder: string, all: WearPiece[][], large: WearPiece[], mixed: LifeObservation[]): void {
  const write = (name: string, head: string, rows: string[]) =>
    writeFileSync(path.join(folder, name), [head, ...rows, ""].join("\n"));
  write(
    "lines.csv",
    "line,piece,usage,value",
    all.flatMap((pieces, i) => readingRows(i, pieces)),
  );
  write("large.csv", "line,piece,usage,value", readingRows(0, large));
  write("lives.csv", "from,to", mixed.map(lifeRow));
}

const secondsOf = (act: () => unknown): number => {
  const started = performance.now();
  act();
  return (performance.now() - started) / 1000;
};

/** Medians of what some measurements give, taken in turn. */
async function inTurn(times: number, ways: readonly (() => number | Promise<number>)[]): Promise<number[]> {
  const all: number[][] = ways.map(() => []);
  for (let round = 0; round < times; round++)
    for (const [i, way] of ways.entries()) all[i]!.push(await way());
  return all.map(median);
}

const fitOf = (pieces: WearPiece[], start?: WearLineFit): WearLineFit =>
  fitWearLine({ pieces, limit: wearLimit }, wearBelief, start === undefined ? {} : { start });

interface Refit {
  before: WearLineFit;
  pieces: WearPiece[];
}

const refitsOf = (count: number, pieces: number, readings: number): Refit[] =>
  Array.from({ length: count }, (_, i) => {
    const now = wornLine(5000 + i, pieces, readings);
    return { before: fitOf(beforeLastReading(now)), pieces: now };
  });

const sizes: [label: string, refits: () => Refit[]][] = [
  ["5 × 5", () => refitsOf(200, 5, 5)],
  ["10 × 6", () => refitsOf(100, 10, 6)],
  [`${largePieces} × ${largeReadings}`, () => refitsOf(1, largePieces, largeReadings)],
];

/** Lines that grow from three readings of each piece to five, one reading at a time: all refits beside all cold fits. */
function growingLines(count: number, pieces: number): { share: number; ratio: number } {
  let refits = 0;
  let full = 0;
  let warm = 0;
  let cold = 0;
  for (let i = 0; i < count; i++) {
    const whole = wornLine(7000 + i, pieces, 5);
    const upTo = (step: number) =>
      whole.map((piece, p) => ({
        ...piece,
        observations: piece.observations.slice(0, readAt(step, p, pieces)),
      }));
    let fit = fitOf(upTo(0));
    for (let step = 1; step <= 2 * pieces; step++) {
      const now = upTo(step);
      const before = fit;
      warm += secondsOf(() => {
        fit = fitOf(now, before);
      });
      cold += secondsOf(() => fitOf(now));
      refits += 1;
      if (fit.updates === 0) full += 1;
    }
  }
  return { share: full / refits, ratio: warm / cold };
}

/** Readings of piece `p` after so many steps, the pieces being read one after another. */
const readAt = (step: number, p: number, pieces: number): number =>
  3 + Math.floor(step / pieces) + Number(step % pieces > p);

const ms = (seconds: number) => `${(1000 * seconds).toPrecision(3)} ms`;

async function besideR(say: (line: string) => void, folder: string): Promise<void> {
  const all = Array.from({ length: lines }, (_, i) => wornLine(i, 5, 5));
  const large = wornLine(7, largePieces, largeReadings);
  const mixed = mixedLives(3, lives);
  writeData(folder, all, large, mixed);
  const r = await startR(folder);
  if (r === null) return say("skipped: Rscript with lme4 and survival is not installed");
  say(`beside ${r.versions}`);
  const ours = () => fitLife("weibull", mixed, { limits: "wald" });
  const fitAll = () => all.forEach((pieces) => void fitOf(pieces));
  const inR = (task: string) => async () => (await r.run(task)).seconds;
  fitAll();
  const difference = ours().logLikelihood - (await r.run("lives")).logLikelihood;
  for (let i = 0; i < 3; i++) {
    fitOf(large);
    ours();
  }
  await r.run("large");
  await r.run("intercepts");

  const [ourLines, theirLines] = await inTurn(lineRounds, [() => secondsOf(fitAll), inR("lines")]);
  say(
    `${lines} lines of 5 × 5 readings: ${ms(ourLines! / lines)} a line with all that forecasts need, lmer's random slopes ${ms(theirLines! / lines)}: ` +
      `${(theirLines! / ourLines!).toFixed(1)} times as fast (wanted at least 5)`,
  );
  const [ourLarge, theirLarge, intercepts, ourLives, theirLives] = await inTurn(rounds, [
    () => secondsOf(() => fitOf(large)),
    inR("large"),
    inR("intercepts"),
    () => secondsOf(ours),
    inR("lives"),
  ]);
  say(
    `one line of ${largePieces} × ${largeReadings} readings: ${ms(ourLarge!)}, lmer's random slopes ${ms(theirLarge!)} (${(theirLarge! / ourLarge!).toFixed(2)} times as fast, wanted at least 1), ` +
      `with random intercepts ${ms(intercepts!)} (${(intercepts! / ourLarge!).toFixed(2)})`,
  );
  say(
    `Weibull fit of ${lives} lives, exact, running, between and before: ${ms(ourLives!)}, survreg ${ms(theirLives!)}: ` +
      `${(theirLives! / ourLives!).toFixed(1)} times as fast (wanted at least 5); log-likelihoods differ by ${difference.toExponential(1)}`,
  );
  r.close();
}

async function oneReadingMore(say: (line: string) => void): Promise<void> {
  for (const [label, make] of sizes) {
    const refits = make();
    const ways = [
      () => secondsOf(() => refits.forEach(({ before, pieces }) => void fitOf(pieces, before))),
      () => secondsOf(() => refits.forEach(({ pieces }) => void fitOf(pieces))),
    ];
    // Warm, as in a service that has run for a while.
    await inTurn(rounds, ways);
    const [update, cold] = await inTurn(rounds, ways);
    const full = refits.filter(
      ({ before, pieces }) => updateWearLine(before, { pieces, limit: wearLimit }, wearBelief) === undefined,
    ).length;
    say(
      `one reading more, ${label}: ${ms(update! / refits.length)}, a fit from nothing ${ms(cold! / refits.length)}: ` +
        `${(update! / cold!).toFixed(3)} of it (wanted at most 0.1), new fits among them: ${full} of ${refits.length}`,
    );
  }
  for (const pieces of [5, 10]) {
    const { share, ratio } = growingLines(20, pieces);
    say(
      `lines of ${pieces} pieces that grow from 3 to 5 readings each: ${(100 * share).toFixed(0)} % of the refits are new fits; all of them take ${ratio.toFixed(2)} of fits from nothing`,
    );
  }
}

export async function benchStatistics(say: (line: string) => void): Promise<void> {
  await inFolder((folder) => besideR(say, folder));
  await oneReadingMore(say);
}
