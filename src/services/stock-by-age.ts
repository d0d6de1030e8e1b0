import type { KindDetails } from "../domain/kind.ts";
import { type AgeingStock, type Batch, lostToAge } from "../domain/shelf-life.ts";
import { allRecords } from "../storage/records.ts";
import { selectReceipts } from "../storage/stock-ages.ts";
import type { LineRow } from "../storage/tables.ts";
import type { LineDemand } from "./line-demand.ts";
import type { Stock } from "./needs-ahead.ts";
import type { Work } from "./work.ts";

/** The stock of a line that ages on the shelf. */
export interface AgedStock extends AgeingStock {
  /** pieces on hand that are past their shelf life on a day, and not used before it */
  lostBy: (day: string, needs: LineDemand["needs"]) => number;
}

/** Days that an unused piece of each line keeps, by the line or else by its kind; lines that keep for ever have none. */
export async function shelfLives(work: Work, lines: readonly LineRow[]): Promise<Map<string, number>> {
  const kinds = await allRecords(work.db, "kinds", work.actor.clubId);
  const ofKind = new Map(
    kinds.map(({ id, details }) => [id, (JSON.parse(details) as KindDetails).shelfLifeDays]),
  );
  return new Map(
    lines.flatMap(({ id, kindId, shelfLifeDays }) => {
      const days = shelfLifeDays ?? ofKind.get(kindId) ?? null;
      return days === null ? [] : [[id, days] as const];
    }),
  );
}

/**
 * The ages of what is on hand, of the lines that do not keep for ever: first in, first out.
 *
 * @param arriving pieces of each line that are on order, each with when they are expected: they are used last
 */
export async function agedStock(
  work: Work,
  stock: Pick<Stock, "locationIds" | "onHand">,
  lives: ReadonlyMap<string, number>,
  arriving: ReadonlyMap<string, readonly Batch[]> = new Map(),
): Promise<Map<string, AgedStock>> {
  const ageing = [...lives].filter(([id]) => (stock.onHand.get(id) ?? 0) > 0 || arriving.has(id));
  const receipts = await selectReceipts(
    work.db,
    work.actor.clubId,
    ageing.map(([id]) => id),
    stock.locationIds,
  );
  return new Map(
    ageing.map(([id, shelfLifeDays]) => {
      const onOrder = arriving.get(id) ?? [];
      const batches = [...receipts.filter((one) => one.lineId === id), ...onOrder];
      const coming = onOrder.reduce((sum, { pieces }) => sum + pieces, 0);
      const aged = { batches, onHand: (stock.onHand.get(id) ?? 0) + coming, shelfLifeDays };
      return [id, { ...aged, lostBy: (day, needs) => lostToAge(aged, day, needs) }] as const;
    }),
  );
}
