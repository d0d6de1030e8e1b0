import { fork } from "node:child_process";
import { inFolder } from "./measure.ts";
import type { RestockFigures } from "./restock-process.ts";
import type { Shares } from "./stages.ts";

/**
 * The restock list of a whole club of 200 cars with twenty positions each, through the API, in a process of its own:
 * with no line fitted yet, and after one more run was logged; beside it a club of a quarter of the size, which tells
 * how the time grows.
 */
const sizes = [50, 200];

const measured = (folder: string, cars: number) =>
  new Promise<RestockFigures>((resolve, reject) => {
    const child = fork(new URL("./restock-process.ts", import.meta.url), [folder, String(cars)], {
      execArgv: ["--import", "tsx"],
    });
    child.once("message", (figures) => resolve(figures as RestockFigures));
    child.once("error", reject);
    child.once("exit", (code) => reject(new Error(`The measured process ended with code ${code}`)));
  });

const told = (shares: Shares) =>
  Object.entries(shares)
    .filter(([, share]) => share >= 0.005)
    .sort(([, a], [, b]) => b - a)
    .map(([stage, share]) => `${stage} ${Math.round(share * 100)} %`)
    .join(", ");
const s = (value: number) => `${value.toFixed(2)} s`;
const ms = (value: number) => `${Math.round(value * 1000)} ms`;
const whole = (n: number) => n.toLocaleString("en");

export const benchRestock = (say: (line: string) => void) =>
  inFolder(async (folder) => {
    const figures: RestockFigures[] = [];
    for (const cars of sizes) {
      const one = await measured(folder, cars);
      figures.push(one);
      say(
        `${cars} cars: ${whole(one.fitted)} fitted pieces of ${one.lines} lines; in the log ${whole(one.runs)} runs, ${whole(one.pieces)} pieces, ${whole(one.looks)} looks`,
      );
      say(
        `  cold ${s(one.coldSeconds)}, ${(one.coldSeconds / one.fitSeconds).toFixed(2)} times its ${one.fits} fits alone (${s(one.fitSeconds)}); answering thread: ${told(one.coldShares)}`,
      );
      say(
        `  after one more run ${s(one.warmSeconds)} (${((one.warmSeconds / one.coldSeconds) * 100).toFixed(1)} % of cold), after none ${s(one.againSeconds)}: ${told(one.warmShares)}; ${Math.round(one.answerBytes / 1024)} KiB`,
      );
      say(
        `  pit list ${ms(one.pitSeconds.first)}, again ${ms(one.pitSeconds.again)}; bench sheet ${ms(one.sheetSeconds.first)}, again ${ms(one.sheetSeconds.again)}; memory ${Math.round(one.beforeMiB)} MiB before, ${Math.round(one.peakMiB)} at most`,
      );
    }
    const [small, large] = figures as [RestockFigures, RestockFigures];
    const times = (of: (one: RestockFigures) => number) => (of(large) / of(small)).toFixed(1);
    say(
      `${times((one) => one.fitted)} times the pieces: cold ${times((one) => one.coldSeconds)} times, warm ${times((one) => one.warmSeconds)} times, pit list ${times((one) => one.pitSeconds.again)} times the time`,
    );
  });
