/** How many letters must be changed, added or dropped to turn one word into another (Levenshtein, 1966). */
function distance(a: string, b: string): number {
  let before = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= a.length; i++) {
    const row = [i];
    for (let j = 1; j <= b.length; j++)
      row.push(Math.min(before[j]! + 1, row[j - 1]! + 1, before[j - 1]! + (a[i - 1] === b[j - 1] ? 0 : 1)));
    before = row;
  }
  return before[b.length]!;
}

/** Longer names than people write are not compared, so that the time is bounded. */
const comparedLength = 80;
const comparedNames = 2000;

/** The known name that a mistyped one was probably meant to be, or null where none is near. */
export function nearestName(name: string, known: Iterable<string>): string | null {
  const wanted = name.slice(0, comparedLength).toLowerCase();
  let compared = 0;
  let best: { name: string; off: number } | null = null;
  for (const one of known) {
    if (Math.abs(one.length - wanted.length) > 6) continue;
    compared += 1;
    if (compared > comparedNames) break;
    const off = distance(wanted, one.slice(0, comparedLength).toLowerCase());
    if (best === null || off < best.off) best = { name: one, off };
  }
  return best !== null && best.off <= Math.max(2, Math.floor(wanted.length / 3)) ? best.name : null;
}
