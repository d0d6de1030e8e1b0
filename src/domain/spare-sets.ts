/** A loose piece that can still serve, and where it was fitted last; null where it never was. */
export interface LoosePiece {
  driverId: string;
  last: { carId: string; tiedBy: string | null; fittedAt: string; removedAt: string } | null;
}

/**
 * How many pieces there are in whole sets. A matched set stays together: only pieces of one driver that came off the same
 * places of one car, and were fitted there at the same time, make up a set again. Pieces that were never fitted are as
 * they came from the pack: those of one driver make up sets with each other, and with no others.
 *
 * @param size how many pieces make a set, at least 1
 * @returns pieces, a multiple of `size`
 */
export function piecesInWholeSets(pieces: readonly LoosePiece[], size: number): number {
  const unused = new Map<string, number>();
  const cameOff = new Map<string, NonNullable<LoosePiece["last"]>[]>();
  for (const { driverId, last } of pieces) {
    if (last === null) {
      unused.set(driverId, (unused.get(driverId) ?? 0) + 1);
      continue;
    }
    const from = JSON.stringify([driverId, last.carId, last.tiedBy]);
    const others = cameOff.get(from);
    if (others === undefined) cameOff.set(from, [last]);
    else others.push(last);
  }
  const counts = [...unused.values(), ...[...cameOff.values()].flatMap(setsOf)];
  return counts.reduce((sum, count) => sum + Math.floor(count / size) * size, 0);
}

/** The sizes of the sets that were fitted to the same places one after the other: fitted before any of the set came off. */
function setsOf(fittings: readonly { fittedAt: string; removedAt: string }[]): number[] {
  const counts: number[] = [];
  let until = "";
  for (const { fittedAt, removedAt } of fittings.toSorted((a, b) => (a.fittedAt < b.fittedAt ? -1 : 1))) {
    if (counts.length > 0 && fittedAt < until) {
      counts[counts.length - 1]!++;
      if (removedAt < until) until = removedAt;
    } else {
      counts.push(1);
      until = removedAt;
    }
  }
  return counts;
}
