import { formatMoney } from "../domain/money.ts";
import { allRecords } from "../storage/records.ts";
import { selectHeld, selectListed } from "../storage/stock-lists.ts";
import { levelOf, levelsOf } from "../storage/stock-ledger.ts";
import type { LineRow, ListedRow, ShopRow } from "../storage/tables.ts";
import { clubDay } from "./calendar-ahead.ts";
import { freshFeed } from "./keep-shops.ts";
import { count } from "./in-words.ts";
import type { Work } from "./work.ts";

/** What a shop has of a line, and how old that knowledge is. */
export interface OnShelf {
  shopId: string;
  shopName: string;
  /** the shop's own article number; null where only the ledger tells */
  shopSku: string | null;
  /** the line that it is, which may be the ended one that was superseded */
  lineId: string;
  /** packs on the shelf, for a shop counts what it sells, and the pieces in them; null where it does not tell */
  packs: number | null;
  pieces: number | null;
  /** of them held for drivers from today on, and for the driver who asks */
  heldPieces: number;
  heldForDriver: number;
  /** of one pack */
  priceMinorUnits: number | null;
  currency: string;
  availability: string | null;
  leadTimeDays: { least: number; most: number } | null;
  /** the shop's list, or the ledger's level of its shelf where it has published none */
  source: "list" | "ledger";
  asOf: string;
  ageHours: number;
  /** where the line has ended: since when, and what replaces it */
  ended: string | null;
  sentence: string;
}

interface Asked {
  lineIds: readonly string[];
  /** whose reservations are one's own; null for nobody's */
  driverId: string | null;
}

const age = (hours: number) =>
  hours < 1
    ? "less than an hour"
    : hours < 48
      ? count(Math.round(hours), "hour")
      : count(Math.round(hours / 24), "day");

/** "ended on 2027-02-26, replaced by QB-SP-671: the new hub needs an adapter", or null for a line that is sold on. */
export function endingOf(line: LineRow, byId: ReadonlyMap<string, LineRow>, today: string): string | null {
  const next = line.supersededById === null ? undefined : byId.get(line.supersededById);
  if (line.endedOn === null && next === undefined) return null;
  const when =
    line.endedOn === null
      ? "is superseded"
      : line.endedOn <= today
        ? `ended on ${line.endedOn}`
        : `ends on ${line.endedOn}`;
  const by = next === undefined ? "" : `, replaced by ${next.sku} (${next.name})`;
  return `${when}${by}${line.notes === null ? "" : `: ${line.notes}`}`;
}

/** Where some lines lie on shops' shelves. A line may be on several lists, or several times on one. */
export async function shelvesOf(work: Work, { lineIds, driverId }: Asked): Promise<Map<string, OnShelf[]>> {
  const { clubId } = work.actor;
  const found = new Map<string, OnShelf[]>();
  const shops = await allRecords(work.db, "shops", clubId);
  if (shops.length === 0) return found;
  const today = await clubDay(work);
  const lines = new Map((await allRecords(work.db, "lines", clubId)).map((line) => [line.id, line]));
  const held = await selectHeld(work.db, clubId, today);
  const wanted = [...new Set(lineIds)];
  const add = (shop: ShopRow, lineId: string, seen: Seen) => {
    const ofLine = held.filter((one) => one.shopId === shop.id && one.lineId === lineId);
    const heldPieces = ofLine.reduce((sum, { pieces }) => sum + pieces, 0);
    const own = ofLine.find((one) => one.driverId === driverId)?.pieces ?? 0;
    const ended = endingOf(lines.get(lineId)!, lines, today);
    const one = {
      shopId: shop.id,
      shopName: shop.name,
      lineId,
      heldPieces,
      heldForDriver: own,
      ended,
      ...seen,
    };
    found.set(lineId, [...(found.get(lineId) ?? []), { ...one, sentence: sentenceOf(one) }]);
  };
  for (const shop of shops) {
    const feed = await freshFeed(work, shop);
    if (feed.listId !== null && feed.listedAt !== null)
      for (const row of await selectListed(work.db, feed.listId, { lineIds: wanted }))
        add(shop, row.lineId!, seenOnList(shop, row, lines.get(row.lineId!)!, feed.listedAt, work.now()));
    else if (shop.locationId !== null)
      for (const lineId of wanted) {
        const pieces = await levelOf(work.db, clubId, lineId, shop.locationId);
        if (pieces > 0) add(shop, lineId, seenInLedger(lines.get(lineId)!, pieces, work.now()));
      }
  }
  return found;
}

type Seen = Omit<
  OnShelf,
  "shopId" | "shopName" | "lineId" | "heldPieces" | "heldForDriver" | "ended" | "sentence"
>;

const hoursBetween = (from: string, to: string) =>
  Math.max(0, Math.round((Date.parse(to) - Date.parse(from)) / 360_000) / 10);

const seenOnList = (
  shop: ShopRow,
  row: ListedRow,
  { packSize }: LineRow,
  listedAt: string,
  now: string,
): Seen => ({
  shopSku: row.sku,
  packs: row.onHand,
  pieces: row.onHand === null ? null : row.onHand * packSize,
  priceMinorUnits: row.priceMinorUnits,
  currency: shop.currency,
  availability: row.availability,
  leadTimeDays:
    row.leadTimeLeastDays === null
      ? null
      : { least: row.leadTimeLeastDays, most: row.leadTimeMostDays ?? row.leadTimeLeastDays },
  source: "list",
  asOf: row.saidAt ?? listedAt,
  ageHours: hoursBetween(row.saidAt ?? listedAt, now),
});

const seenInLedger = (line: LineRow, pieces: number, now: string): Seen => ({
  shopSku: null,
  packs: Math.floor(pieces / line.packSize),
  pieces,
  priceMinorUnits: null,
  currency: line.currency,
  availability: null,
  leadTimeDays: null,
  source: "ledger",
  asOf: now,
  ageHours: 0,
});

/** Pieces that a driver can have from a shelf: what is there, less what is held for others. */
export const freePieces = ({
  pieces,
  heldPieces,
  heldForDriver,
}: Pick<OnShelf, "pieces" | "heldPieces" | "heldForDriver">) =>
  Math.max(0, (pieces ?? 0) - (heldPieces - heldForDriver));

function sentenceOf(one: Omit<OnShelf, "sentence">): string {
  const { shopName, packs, pieces, heldPieces, source, ageHours, ended, leadTimeDays } = one;
  const wait =
    leadTimeDays === null
      ? ""
      : ` (${leadTimeDays.least === leadTimeDays.most ? "" : `${leadTimeDays.least} to `}${count(leadTimeDays.most, "day")} to get it)`;
  const there =
    pieces === null
      ? "has it, and does not say how many"
      : pieces === 0
        ? `has none${wait}`
        : `has ${pieces === packs || packs === 0 ? pieces : `${count(packs!, "pack")} (${count(pieces, "piece")})`}`;
  const held = heldPieces > 0 ? ` (${heldPieces} held)` : "";
  const known = source === "ledger" ? "by the ledger" : `by its list of ${age(ageHours)} ago`;
  const price =
    one.priceMinorUnits === null
      ? ""
      : ` at ${one.currency} ${formatMoney({ minorUnits: one.priceMinorUnits, currency: one.currency })}`;
  return `${shopName} ${there}${held}${price}, ${known}${ended === null ? "" : `; this line ${ended}`}.`;
}

/** Where the pieces that an answer wants can be had. */
export interface Shelves {
  shelves: OnShelf[];
  /** pieces on the club's shelves, of shops and of none, that the answer does not count as there already */
  onShelf: number;
  /** of the pieces wanted, how many those shelves can give, and how many must come from elsewhere */
  fromShelves: number;
  fromElsewhere: number;
}

interface Wanting {
  lineId: string;
  sentence: string;
}

/**
 * Adds to each entry of an answer where its line is on shops' shelves, also under the number of the ended line that it
 * supersedes. A shelf whose stock the answer counts already gives nothing more.
 *
 * @param wanted of each entry, the pieces to be had, and all lines that serve it
 */
export async function withShelves<E extends Wanting>(
  work: Work,
  entries: readonly E[],
  wanted: (entry: E, i: number) => { pieces: number; lineIds: readonly string[] },
  scope: { driverId: string | null; locationIds: readonly string[] },
): Promise<(E & Shelves)[]> {
  const asked = entries.map((entry, i) => wanted(entry, i));
  const { clubId } = work.actor;
  const shops = await allRecords(work.db, "shops", clubId);
  const counted = new Set(
    shops
      .filter(({ locationId }) => locationId !== null && scope.locationIds.includes(locationId))
      .map(({ id }) => id),
  );
  const ledger = await clubShelves(work, shops, scope.locationIds);
  const lineIds = asked.flatMap((one) => one.lineIds);
  const found = await shelvesOf(work, { lineIds, driverId: scope.driverId });
  return entries.map((entry, i) => {
    const { pieces, lineIds: own } = asked[i]!;
    const ids = [...new Set([entry.lineId, ...own])];
    const shelves = ids.flatMap((id) => found.get(id) ?? []);
    const onShelf = sumOf(ids, ledger.all);
    const ofNoShop = sumOf(ids, ledger.ofNoShop);
    const inShops = shelves
      .filter(({ shopId }) => !counted.has(shopId))
      .reduce((sum, one) => sum + freePieces(one), 0);
    const fromShelves = Math.min(pieces, inShops + ofNoShop);
    const fromElsewhere = pieces - fromShelves;
    const club = ofNoShop > 0 ? [`The club's shelf has ${ofNoShop}.`] : [];
    const where = [...shelves.map((one) => one.sentence), ...club].join(" ");
    const rest = fromElsewhere === 0 ? "" : ` ${fromElsewhere} must come from elsewhere.`;
    const sentence =
      pieces === 0 || (shops.length === 0 && ofNoShop === 0)
        ? entry.sentence
        : `${entry.sentence} ${where}${rest}`;
    return {
      ...entry,
      sentence: sentence.replaceAll("  ", " "),
      shelves,
      onShelf,
      fromShelves,
      fromElsewhere,
    };
  });
}

/** Pieces on the club's shelves by the ledger, apart from those that are counted already; and what of them no shop tells. */
async function clubShelves(work: Work, shops: readonly ShopRow[], counted: readonly string[]) {
  const { clubId } = work.actor;
  const locations = (await allRecords(work.db, "locations", clubId)).filter(
    ({ id, sort }) => sort === "shelf" && !counted.includes(id),
  );
  const ofShops = new Set(shops.map(({ locationId }) => locationId));
  const [all, ofNoShop] = [new Map<string, number>(), new Map<string, number>()];
  const add = (to: Map<string, number>, lineId: string, pieces: number) =>
    to.set(lineId, (to.get(lineId) ?? 0) + pieces);
  for (const { lineId, locationId, pieces } of await levelsOf(work.db, clubId, {
    locationIds: locations.map(({ id }) => id),
  })) {
    add(all, lineId, pieces);
    if (!ofShops.has(locationId)) add(ofNoShop, lineId, pieces);
  }
  return { all, ofNoShop };
}

const sumOf = (ids: readonly string[], levels: ReadonlyMap<string, number>): number =>
  ids.reduce((total, id) => total + (levels.get(id) ?? 0), 0);
