import { allRecords } from "../storage/records.ts";
import { selectHeld, selectListed } from "../storage/stock-lists.ts";
import { selectLinesKept, selectTaken } from "../storage/stock-ages.ts";
import type { LineRow, ListedRow, ShopRow } from "../storage/tables.ts";
import { clubDay } from "./calendar-ahead.ts";
import { groupedBy } from "./grouped-by.ts";
import { currentList } from "./keep-shops.ts";
import { type Stock, stockAt } from "./needs-ahead.ts";
import type { Work } from "./work.ts";

/** What a shop has of a line. */
export interface OnShop {
  line: LineRow;
  /** null where its list has the line and does not say how many, and the ledger does not know either */
  pieces: number | null;
  /** of them promised to drivers from today on */
  held: number;
  /** of one pack, by its list or else by the line; null where neither says */
  price: { minorUnits: number; currency: string } | null;
  source: "list" | "ledger";
  /** when that was last said to be true */
  asOf: string;
}

/** A shop's own stock as answers for the shop count it: what is promised is not on hand. With what lies there by line. */
export interface ShopStock extends Stock {
  shop: ShopRow;
  /** the list that counts, or null where there is none; how many things on it nobody has matched */
  list: { listedAt: string; unmatched: number } | null;
  lines: Map<string, OnShop>;
  /** lines that are on its list, or of which something was ever on its shelf */
  carried: ReadonlySet<string>;
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
  const rowsOf = groupedBy(rows, ({ lineId }) => lineId!);
  const promised = new Map<string, number>();
  for (const { shopId: at, lineId, pieces } of await selectHeld(work.db, clubId, await clubDay(work)))
    if (at === shopId) promised.set(lineId, (promised.get(lineId) ?? 0) + pieces);
  const found = new Map<string, OnShop>();
  for (const line of lines) {
    const level = ledger.onHand.get(line.id);
    const said = onShop(shop, line, rowsOf.get(line.id) ?? [], { level, now: work.now(), ...feed });
    if (said === null) continue;
    const held = promised.get(line.id) ?? 0;
    found.set(line.id, { ...said, held: Math.min(held, said.pieces ?? held) });
  }
  const yearAgo = new Date(Date.parse(work.now()) - yearMs).toISOString();
  return {
    locationIds,
    onHand: new Map([...found].map(([id, one]) => [id, Math.max(0, (one.pieces ?? 0) - one.held)])),
    onOrder: ledger.onOrder,
    shop,
    list: feed.listedAt === null ? null : { listedAt: feed.listedAt, unmatched: feed.unmatched },
    lines: found,
    carried: new Set([...rowsOf.keys(), ...(await selectLinesKept(work.db, clubId, locationIds))]),
    uncounted: [...found.values()].flatMap(({ pieces, line }) => (pieces === null ? [line.sku] : [])),
    takenPastYear: locationIds.length === 0 ? null : await selectTaken(work.db, clubId, locationIds, yearAgo),
  };
}

/** A line may be several things on a list, such as two colours; null where neither list nor ledger has it. */
function onShop(
  shop: ShopRow,
  line: LineRow,
  listed: readonly ListedRow[],
  { level, listedAt, now }: { level: number | undefined; listedAt: string | null; now: string },
): Omit<OnShop, "held"> | null {
  if (listed.length === 0 && level === undefined) return null;
  const counted = listed.flatMap(({ onHand }) => (onHand === null ? [] : [onHand * line.packSize]));
  const asked = listed.find(({ priceMinorUnits }) => priceMinorUnits !== null)?.priceMinorUnits ?? null;
  const ofLine =
    line.priceMinorUnits > 0 ? { minorUnits: line.priceMinorUnits, currency: line.currency } : null;
  const price = asked === null ? ofLine : { minorUnits: asked, currency: shop.currency };
  if (counted.length === 0 && level !== undefined)
    return { line, pieces: level, price, source: "ledger", asOf: now };
  return {
    line,
    pieces: counted.length === 0 ? null : counted.reduce((sum, pieces) => sum + pieces, 0),
    price,
    source: "list",
    // A row that was kept from an earlier list is as old as that; of several the oldest tells.
    asOf: listed.map(({ saidAt }) => saidAt ?? listedAt ?? now).sort()[0]!,
  };
}
