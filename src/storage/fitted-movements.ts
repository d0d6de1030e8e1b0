import type { Queries } from "./database.ts";
import type { MovementRow } from "./tables.ts";

/** The movement by which a piece left the stock, unless it was undone already. */
export const selectFittedMovement = (
  q: Queries,
  clubId: string,
  pieceId: string,
): Promise<MovementRow | undefined> =>
  q
    .selectFrom("movements")
    .selectAll()
    .where("clubId", "=", clubId)
    .where("pieceId", "=", pieceId)
    .where("reason", "=", "fitted")
    .where("id", "not in", (e) =>
      e
        .selectFrom("movements as undoing")
        .select("undoing.undoesId")
        .where("undoing.undoesId", "is not", null)
        .$castTo<string>(),
    )
    .orderBy("recordedAt", "desc")
    .executeTakeFirst();
