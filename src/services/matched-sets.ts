import type { Kind } from "../domain/kind.ts";
import { wholeSets } from "../domain/spare-sets.ts";
import { selectLastFittings } from "../storage/restock.ts";
import type { PieceRow } from "../storage/tables.ts";
import type { Work } from "./work.ts";

/** Which pieces belong together as pairs and sets: those that were fitted together last. */

/** Pieces with the place where each is or was fitted last. */
export async function withLastPlace(work: Work, pieces: readonly PieceRow[]) {
  const fittings = await selectLastFittings(
    work.db,
    pieces.map(({ id }) => id),
  );
  return pieces.map((piece) => {
    const last = fittings.get(piece.id);
    // What is still fitted has not come off before anything else.
    const off = (removedAt: string | null) => removedAt ?? "9999";
    const place =
      last === undefined ? null : { ...last, tiedBy: last.changedWith, removedAt: off(last.removedAt) };
    return { piece, driverId: piece.driverId, last: place };
  });
}

/** The matched set that a piece belongs to, itself included; of a kind that is changed alone, the piece. */
export async function matchedSet(
  work: Work,
  piece: PieceRow,
  others: readonly PieceRow[],
  size: number,
): Promise<PieceRow[]> {
  if (size === 1) return [piece];
  const sets = wholeSets(await withLastPlace(work, others), size);
  const own = sets.find((set) => set.some((one) => one.piece.id === piece.id));
  return own === undefined ? [piece] : own.map((one) => one.piece);
}

/** How many pieces of a kind are changed together, as a pair or a set. */
export const setSize = ({ changeRule, changedTogether }: Pick<Kind, "changeRule" | "changedTogether">) =>
  changeRule === "set" || changeRule === "pair" ? Math.max(1, changedTogether) : 1;
