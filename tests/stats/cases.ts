/** Reads the reference cases of tests/reference/statistics and compares with their stated tolerances. */
import { readFileSync } from "node:fs";
import { expect } from "vitest";
import type { LifeObservation } from "../../src/stats/life-data.ts";

type Expected = { q: string; value: number; rel_tol: number };
export type Case = {
  id: string;
  title: string;
  source: string;
  data: Record<string, unknown>;
  expected: Expected[];
};

const folder = "tests/reference/statistics";
const { cases } = JSON.parse(readFileSync(`${folder}/cases.json`, "utf8")) as { cases: Case[] };

export function caseOf(id: string): Case {
  const found = cases.find((one) => one.id === id);
  if (!found) throw new Error(`there is no reference case ${id}`);
  return found;
}

/** A numeric column of the case's inline data. */
export function column(one: Case, name: string): number[] {
  return one.data[name] as number[];
}

/** Compares every value in `got` with the case, and demands that none of the case's values is left out. */
export function expectCase(one: Case, got: Record<string, number>): void {
  const missing = one.expected.map(({ q }) => q).filter((q) => !(q in got));
  expect(missing, `${one.id}: values not compared`).toEqual([]);
  for (const { q, value, rel_tol } of one.expected) {
    const gap = Math.abs(got[q]! - value);
    expect(gap, `${one.id} ${q}: got ${got[q]}, reference ${value}`).toBeLessThanOrEqual(
      rel_tol * Math.abs(value),
    );
  }
}

/** Lives from the row schema of the cases: exact when lower = upper, running when upper is null, and so on. */
export function livesOf(one: Case): LifeObservation[] {
  const { lower, upper, entry, count } = one.data as {
    lower: number[];
    upper: (number | null)[];
    entry?: number[];
    count?: number[];
  };
  return lower.map((from, i) => {
    const to = upper[i]!;
    const shared = { count: count?.[i] ?? 1, ...(entry?.[i] ? { enteredAt: entry[i] } : {}) };
    if (to === null || to === undefined) return { kind: "running", at: from, ...shared };
    if (to === from) return { kind: "failed", at: from, ...shared };
    if (from === 0) return { kind: "before", at: to, count: shared.count };
    return { kind: "between", from, to, ...shared };
  });
}

/** Rows of a data file with unit, t and y (and any further columns), as numbers. */
export function rowsOf(file: string): Record<string, number>[] {
  const [header, ...lines] = readFileSync(`${folder}/${file}`, "utf8").trim().split(/\r?\n/);
  const names = header!.replaceAll('"', "").split(",");
  return lines.map((line) => Object.fromEntries(line.split(",").map((cell, i) => [names[i]!, Number(cell)])));
}

/** Reproducible uniform numbers in (0, 1): Weyl steps with a 32-bit mix, enough to make data. */
export function uniforms(seed: number): () => number {
  let state = seed | 0;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return (((mixed ^ (mixed >>> 14)) >>> 0) + 0.5) / 4294967296;
  };
}
