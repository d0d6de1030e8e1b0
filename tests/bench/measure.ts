import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";

/** Median of some numbers. */
export function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = Math.floor(sorted.length / 2);
  return sorted.length % 2 === 1 ? sorted[middle]! : (sorted[middle - 1]! + sorted[middle]!) / 2;
}

/** Seconds that `act` takes. */
export async function seconds(act: () => Promise<unknown> | unknown): Promise<number> {
  const started = performance.now();
  await act();
  return (performance.now() - started) / 1000;
}

/**
 * Times several ways of doing things in turn, round after round, so that whatever else the machine does falls on all
 * of them alike.
 *
 * @returns the median seconds of each way
 */
export async function inTurn(
  rounds: number,
  ways: readonly (() => Promise<unknown> | unknown)[],
): Promise<number[]> {
  const times: number[][] = ways.map(() => []);
  for (let round = 0; round < rounds; round++)
    for (const [i, way] of ways.entries()) times[i]!.push(await seconds(way));
  return times.map(median);
}

/** Gives `act` a folder of its own, and removes it afterwards. */
export async function inFolder<T>(act: (folder: string) => Promise<T>): Promise<T> {
  const folder = mkdtempSync(path.join(tmpdir(), "bench-"));
  try {
    return await act(folder);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

export const rate = (n: number) => (n >= 1000 ? `${Math.round(n).toLocaleString("en")}` : n.toPrecision(3));
