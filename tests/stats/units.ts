/** Reads the degradation data of tests/reference/statistics: one series of readings per unit. */
import { readFileSync } from "node:fs";

export interface Unit {
  time: number[];
  reading: number[];
}

/** Units of a data file with columns unit, t and y, in the order in which they first appear. */
export function unitsOf(file: string): Map<string, Unit> {
  const [header, ...lines] = readFileSync(`tests/reference/statistics/${file}`, "utf8").trim().split(/\r?\n/);
  const names = header!.replaceAll('"', "").split(",");
  const [unitAt, timeAt, readingAt] = ["unit", "t", "y"].map((name) => names.indexOf(name)) as [
    number,
    number,
    number,
  ];
  const units = new Map<string, Unit>();
  for (const line of lines) {
    const cells = line.replaceAll('"', "").split(",");
    const key = cells[unitAt]!;
    const unit = units.get(key) ?? { time: [], reading: [] };
    units.set(key, unit);
    unit.time.push(Number(cells[timeAt]));
    unit.reading.push(Number(cells[readingAt]));
  }
  return units;
}

/** The fifteen lasers of Meeker & Escobar (1998) without their readings at time 0, which are 0 by definition. */
export function lasers(timeUnit = 1): Map<string, Unit> {
  const out = new Map<string, Unit>();
  for (const [key, { time, reading }] of unitsOf("data/laser.csv")) {
    const used = time.flatMap((t, j) => (t > 0 ? [j] : []));
    out.set(key, { time: used.map((j) => time[j]! / timeUnit), reading: used.map((j) => reading[j]!) });
  }
  return out;
}

/** The first `n` readings of a series. */
export function head({ time, reading }: Unit, n: number): Unit {
  return { time: time.slice(0, n), reading: reading.slice(0, n) };
}
