/** A loose piece that can still serve, and where it was fitted last; null where it never was. */
export interface LoosePiece {
  driverId: string;
  last: { carId: string; tiedBy: string | null; fittedAt: string; removedAt: string } | null;
}

/**
 * The whole sets among pieces. A matched set stays together: only pieces of one driver that came off the same places of
 * one car, and were fitted there at the same time, make up a set again. Pieces that were never fitted are as they came
 * from the pack: those of one driver make up sets with each other, and with no others.
 *
 * @param size how many pieces make a set, at least 1
 */
export function wholeSets<T extends LoosePiece>(pieces: readonly T[], size: number): T[][] {
  const unused = new Map<string, T[]>();
  const cameOff = new Map<string, T[]>();
  const put = (groups: Map<string, T[]>, key: string, piece: T) => {
    const others = groups.get(key);
    if (others === undefined) groups.set(key, [piece]);
    else others.push(piece);
  };
  for (const piece of pieces) {
    const { driverId, last } = piece;
    if (last === null) put(unused, driverId, piece);
    else put(cameOff, JSON.stringify([driverId, last.carId, last.tiedBy]), piece);
  }
  const groups = [...unused.values(), ...[...cameOff.values()].flatMap(setsOf)];
  return groups.flatMap((group) =>
    Array.from({ length: Math.floor(group.length / size) }, (_, i) => group.slice(i * size, (i + 1) * size)),
  );
}

/** How many pieces there are in whole sets: a multiple of `size`. */
export const piecesInWholeSets = (pieces: readonly LoosePiece[], size: number): number =>
  wholeSets(pieces, size).length * size;

/** The sets that were fitted to the same places one after the other: fitted before any of the set came off. */
function setsOf<T extends LoosePiece>(pieces: readonly T[]): T[][] {
  const sets: T[][] = [];
  let until = "";
  for (const piece of pieces.toSorted((a, b) => (a.last!.fittedAt < b.last!.fittedAt ? -1 : 1))) {
    const { fittedAt, removedAt } = piece.last!;
    const before = sets.at(-1);
    if (before !== undefined && fittedAt < until) {
      before.push(piece);
      if (removedAt < until) until = removedAt;
    } else {
      sets.push([piece]);
      until = removedAt;
    }
  }
  return sets;
}
