import type { Change } from "../domain/change.ts";
import type { FittingRow, PieceRow } from "../storage/tables.ts";
import { groupedBy } from "./grouped-by.ts";
import { changeOfPiece, whereOf } from "./keep-pieces.ts";

/** A fitting that came in, with its piece and the name of its position. */
export interface FittedIn {
  piece: PieceRow;
  position: string;
  fitting: FittingRow;
}

/**
 * What an import tells of pieces, as the single calls would have told it when it happened: each piece that is new, then
 * where it was fitted and when it came off, in the order of time, and its end.
 */
export function* changesOfPieces(added: readonly PieceRow[], fitted: readonly FittedIn[]): Generator<Change> {
  const fittings = groupedBy(fitted, ({ piece }) => piece);
  const isNew = new Set(added);
  for (const piece of new Set([...added, ...fittings.keys()])) {
    if (isNew.has(piece)) yield changeOfPiece("piece.added", piece);
    const ofPiece = (fittings.get(piece) ?? []).sort((a, b) =>
      a.fitting.fittedAt < b.fitting.fittedAt ? -1 : 1,
    );
    for (const { position, fitting } of ofPiece) {
      const where = whereOf(fitting);
      yield changeOfPiece("piece.fitted", piece, { ...where, position, at: fitting.fittedAt });
      if (fitting.removedAt !== null)
        yield changeOfPiece("piece.removed", piece, { ...where, at: fitting.removedAt });
    }
    const { retiredAt: at, retiredFor } = piece;
    if (isNew.has(piece) && at !== null) yield changeOfPiece("piece.retired", piece, { at, retiredFor });
  }
}
