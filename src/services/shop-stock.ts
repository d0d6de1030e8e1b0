import { allRecords } from "../storage/records.ts";
import { selectListed } from "../storage/stock-lists.ts";
import { selectTaken } from "../storage/stock-ages.ts";
import type { LineRow, ListedRow, ShopRow } from "../storage/tables.ts";
import { currentList } from "./keep-shops.ts";
import { type Stock, stockAt } from "./needs-ahead.ts";
import type { Work } from "./work.ts";

/** What a shop has of a line. */
export interface OnShop {
  line: LineRow;
  /** null where its list has the line and does not say how many, and the ledger does not know either */
  pieces: number | null;
  /** of one pack, by its list or else by the line; null where neither says */
  price: { minorUnits: number; currency: string } | null;
  source: "list" | "ledger";
}

/** A shop's own stock as answers for the shop count it, with what lies there by line. */
export interface ShopStock extends Stock {
  shop: ShopRow;
  /** the list that counts, or null where there is none; how many things on it nobody has matched */
  list: { listedAt: string; unmatched: number } | null;
  lines: Map<string, OnShop>;
  /** SKUs of which the list does not say how many there are: they count as none */
  uncounted: string[];
  /** pieces that left its shelf in the past year; null where it has no shelf in the ledger */
  takenPastYear: Map<string, number> | null;
}

const yearMs = 365 * 86_400_000;

/**
 * What lies on a shop's shelf: of a line that its published list says the number of, that number; else the ledger's level
 * at its own location, if it has one.
 *
 * @throws {DomainError} `not_found`
 */
export async function shopStock(work: Work, shopId: string): Promise<ShopStock> {
  const { clubId } = work.actor;
  const { shop, feed } = await currentList(work, shopId);
  const locationIds = shop.locationId === null ? [] : [shop.locationId];
  const lines = await allRecords(work.db, "lines", clubId);
  const ledger = await stockAt(work, locationIds);
  const rows =
    feed.listId === null
      ? []
      : await selectListed(work.db, feed.listId, { lineIds: lines.map(({ id }) => id) });
  const found = new Map<string, OnShop>();
  for (const line of lines) {
    const listed = rows.filter(({ lineId }) => lineId === line.id);
    const one = onShop(shop, line, listed, ledger.onHand.get(line.id));
    if (one !== null) found.set(line.id, one);
  }
  const yearAgo = new Date(Date.parse(work.now()) - yearMs).toISOString();
  return {
    locationIds,
    onHand: new Map([...found].map(([id, { pieces }]) => [id, pieces ?? 0])),
    onOrder: ledger.onOrder,
    shop,
    list: feed.listedAt === null ? null : { listedAt: feed.listedAt, unmatched: feed.unmatched },
    lines: found,
    uncounted: [...found.values()].flatMap(({ pieces, line }) => (pieces === null ? [line.sku] : [])),
    takenPastYear: locationIds.length === 0 ? null : await selectTaken(work.db, clubId, locationIds, yearAgo),
  };
}

/** A line may be several things on a list, such as two colours; null where neither list nor ledger has it. */
function onShop(
  shop: ShopRow,
  line: LineRow,
  listed: readonly ListedRow[],
  level: number | undefined,
): OnShop | null {
  if (listed.length === 0 && level === undefined) return null;
  const counted = listed.flatMap(({ onHand }) => (onHand === null ? [] : [onHand * line.packSize]));
  const fromList = counted.length > 0;
  const asked = listed.find(({ priceMinorUnits }) => priceMinorUnits !== null)?.priceMinorUnits ?? null;
  const ofLine =
    line.priceMinorUnits > 0 ? { minorUnits: line.priceMinorUnits, currency: line.currency } : null;
  return {
    line,
    pieces: fromList ? counted.reduce((sum, pieces) => sum + pieces, 0) : (level ?? null),
    price: asked === null ? ofLine : { minorUnits: asked, currency: shop.currency },
    source: fromList || level === undefined ? "list" : "ledger",
  };
}
