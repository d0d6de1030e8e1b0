import { type Batch, lostToAge } from "../domain/shelf-life.ts";
import { selectReceipts } from "../storage/stock-ages.ts";
import type { LineRow } from "../storage/tables.ts";
import type { LineDemand } from "./line-demand.ts";
import type { Stock } from "./needs-ahead.ts";
import type { Work } from "./work.ts";

/** The stock of a line that ages on the shelf. */
export interface AgedStock {
  /** pieces on hand that are past their shelf life on a day, and not used before it */
  lostBy: (day: string, needs: LineDemand["needs"]) => number;
}

/** The ages of what is on hand, of the lines that do not keep for ever: first in, first out. */
export async function agedStock(
  work: Work,
  stock: Stock,
  lines: readonly LineRow[],
): Promise<Map<string, AgedStock>> {
  const ageing = lines.filter((line) => line.shelfLifeDays !== null && (stock.onHand.get(line.id) ?? 0) > 0);
  const receipts = await selectReceipts(
    work.db,
    work.actor.clubId,
    ageing.map((line) => line.id),
    stock.locationIds,
  );
  return new Map(
    ageing.map((line) => {
      const batches: Batch[] = receipts.filter((one) => one.lineId === line.id);
      const onHand = stock.onHand.get(line.id)!;
      const shelfLifeDays = line.shelfLifeDays!;
      return [
        line.id,
        { lostBy: (day, needs) => lostToAge({ batches, onHand, shelfLifeDays }, day, needs) },
      ] as const;
    }),
  );
}
