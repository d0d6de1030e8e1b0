import { DomainError } from "../domain/errors.ts";
import { requirePast } from "../domain/moment.ts";
import { getRecord } from "../storage/records.ts";
import { levelOf } from "../storage/stock-ledger.ts";
import { putIntoStock, takeFromStock } from "./move-stock.ts";
import { requireLocation } from "./reach-locations.ts";
import { together, type Work } from "./work.ts";

/** What a count found beside what the ledger expected then. */
export interface Counted {
  lineId: string;
  countedPieces: number;
  expectedPieces: number;
  /** counted less expected: what was written into the ledger */
  difference: number;
  /** null where nothing differed */
  movementId: string | null;
}

/**
 * Takes stock at a location: writes each difference to what the ledger holds up to that moment, all of them or none.
 * Movements after the count stay as they are, so that a count of the morning may be entered in the evening.
 *
 * @throws {DomainError} `not_found`, `not_allowed`, or `stock_short` where more was taken since than was counted
 */
export const takeStock = (
  work: Work,
  given: { locationId: string; at: string; counts: readonly { lineId: string; pieces: number }[] },
): Promise<Counted[]> =>
  together(work, async ({ db: trx }) => {
    const { locationId, at, counts } = given;
    requirePast(work.now(), at, "A count");
    const { clubId } = work.actor;
    const location = await requireLocation(work, trx, locationId);
    const found: Counted[] = [];
    for (const { lineId, pieces } of counts) {
      const line = await getRecord(trx, "lines", clubId, lineId, "line");
      const expected = await levelOf(trx, clubId, lineId, locationId, at);
      const now = await levelOf(trx, clubId, lineId, locationId);
      const difference = pieces - expected;
      if (now + difference < 0)
        throw new DomainError(
          "stock_short",
          `${pieces} of ${line.sku} were counted at "${location.name}" at ${at}, but the ledger has ${expected - now} ` +
            "taken since: count again now, or undo what was not taken",
        );
      const change = { lineId, locationId, quantity: Math.abs(difference), reason: "counted" as const, at };
      const write = difference > 0 ? putIntoStock : takeFromStock;
      const movementId = difference === 0 ? null : (await write(work, trx, change)).id;
      found.push({ lineId, countedPieces: pieces, expectedPieces: expected, difference, movementId });
    }
    return found;
  });
