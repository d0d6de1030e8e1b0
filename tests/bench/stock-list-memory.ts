import { execFile } from "node:child_process";
import { readFileSync, writeFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";
import { inFolder, median } from "./measure.ts";
import { clubWithShop, listOf, parseOnly, streamOfRows } from "./till-list.ts";

/** Lists of so many rows, each taken in a process of its own, for memory that was once taken is seldom given back. */
const counts = [25_000, 50_000, 100_000, 200_000, 320_000];

const rounds = 5;
const told = (values: readonly number[]) =>
  `${median(values).toFixed(0)} (${Math.min(...values).toFixed(0)} to ${Math.max(...values).toFixed(0)})`;

/** The most memory that is resident while something runs, above what there was before, MiB. */
async function peakMiB(act: () => Promise<unknown>): Promise<number> {
  const status = (name: string) =>
    Number(new RegExp(`${name}:\\s+(\\d+) kB`).exec(readFileSync("/proc/self/status", "utf8"))![1]) / 1024;
  // From here on the high-water mark is that of what runs (proc(5)).
  writeFileSync("/proc/self/clear_refs", "5");
  const before = status("VmRSS");
  await act();
  return status("VmHWM") - before;
}

/** What a process of its own does: applies a list of some rows, or only parses it, and prints its peak. */
async function measured(way: string, rows: number): Promise<number> {
  const text = async function* (count: number) {
    const decoder = new TextDecoder();
    for await (const chunk of streamOfRows(count)) yield decoder.decode(chunk, { stream: true });
  };
  if (way === "parse") {
    await parseOnly(text(1000));
    return peakMiB(() => parseOnly(text(rows)));
  }
  return inFolder(async (folder) => {
    const club = await clubWithShop(folder, "memory", 200);
    await club.publish(Buffer.from(listOf(1000)));
    const peak = await peakMiB(() => club.publish(streamOfRows(rows)));
    await club.db.destroy();
    return peak;
  });
}

const self = fileURLToPath(import.meta.url);

async function inProcess(way: string, rows: number): Promise<number> {
  const { stdout } = await promisify(execFile)(process.execPath, [
    "--import",
    "tsx",
    self,
    way,
    String(rows),
  ]);
  return Number(stdout);
}

/** Says how the peak grows with the rows: applied and matched, and parsed alone by the CSV library. */
export async function sayMemory(say: (line: string) => void): Promise<void> {
  if (process.platform !== "linux") return say("peak memory: skipped, only Linux tells it");
  const peaks: string[] = [];
  const medians: number[] = [];
  for (const rows of counts) {
    const [applied, parsed]: [number[], number[]] = [[], []];
    for (let round = 0; round < rounds; round++) {
      applied.push(await inProcess("apply", rows));
      parsed.push(await inProcess("parse", rows));
    }
    medians.push(median(applied));
    peaks.push(`${rows.toLocaleString("en")} rows ${told(applied)} and ${told(parsed)}`);
  }
  say(`most resident memory above what there was before, applied and parsed alone, MiB: ${peaks.join(", ")}`);
  const [least, most] = [counts[1]!, counts.at(-1)!];
  say(
    `applying ${most.toLocaleString("en")} rows takes ${(medians.at(-1)! / medians[1]!).toFixed(2)} times the memory of ${least.toLocaleString("en")} (goal at most 1.15)`,
  );
}

if (process.argv[1] === self) {
  const [way, rows] = process.argv.slice(2);
  process.stdout.write(String(await measured(way!, Number(rows))));
}
