import { readFileSync } from "node:fs";

/** A published degradation series: readings of several units over their use. */
export interface Series {
  unit: string;
  points: { t: number; y: number }[];
}

/** Reads tests/reference/statistics/data/NAME.csv with its columns unit, t and y. */
export function readSeries(name: string): Series[] {
  const [head, ...rows] = readFileSync(`tests/reference/statistics/data/${name}.csv`, "utf8")
    .trim()
    .split(/\r?\n/);
  const columns = head!.split(",");
  const at = (column: string) => columns.indexOf(column);
  const series = new Map<string, Series>();
  for (const row of rows) {
    const cells = row.split(",");
    const unit = cells[at("unit")]!;
    const one = series.get(unit) ?? { unit, points: [] };
    one.points.push({ t: Number(cells[at("t")]), y: Number(cells[at("y")]) });
    series.set(unit, one);
  }
  return [...series.values()];
}

/** When a series first passes a limit, by the straight line between the two readings around it; undefined if it never does. */
export function crossing(
  points: readonly { t: number; y: number }[],
  past: (y: number) => number,
): number | undefined {
  for (let i = 1; i < points.length; i++) {
    const [before, after] = [past(points[i - 1]!.y), past(points[i]!.y)];
    if (before < 0 && after >= 0)
      return points[i - 1]!.t + ((points[i]!.t - points[i - 1]!.t) * -before) / (after - before);
  }
  return undefined;
}
