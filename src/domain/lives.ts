/** Laws of lives as even tables from which a life is drawn. */

const tableSteps = 48;

/** A chance as a table from which a life is drawn. */
export interface Lives {
  end: number;
  table: Float64Array;
}

/** The law on an even table up to the end, or up to where practically every piece has ended. */
export function livesOf(unworn: (usage: number) => number, furthest: number): Lives {
  let end = furthest;
  for (let i = 0; i < 20 && end > 0 && unworn(end / 2) < 1e-6; i++) end /= 2;
  const table = Float64Array.from({ length: tableSteps + 1 }, (_, i) => 1 - unworn((i * end) / tableSteps));
  for (let i = 1; i <= tableSteps; i++) table[i] = Math.max(table[i]!, table[i - 1]!);
  return { end, table };
}

/** The life at a place of the law; infinite where it goes beyond the table. */
export function lifeAt({ end, table }: Lives, u: number): number {
  if (u <= table[0]!) return 0;
  if (u > table[tableSteps]!) return Infinity;
  let low = 0;
  let high = tableSteps;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (table[middle]! < u) low = middle;
    else high = middle;
  }
  const rise = table[high]! - table[low]!;
  return ((low + (rise > 0 ? (u - table[low]!) / rise : 0)) * end) / tableSteps;
}
