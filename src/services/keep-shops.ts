import { DomainError } from "../domain/errors.ts";
import type { StockMember } from "../domain/stock-row.ts";
import { allRecords, getRecord, insertRecord, type Page, type PageRequest } from "../storage/records.ts";
import { catalogueMark, countListed, pageOfListed, updateFeed } from "../storage/stock-lists.ts";
import type { ListedRow, ShopFeedRow, ShopRow } from "../storage/tables.ts";
import { selectClub } from "../storage/clubs.ts";
import { changeRecord, listRecords, makeRecord } from "./keep-records.ts";
import { likelyLines, rematch } from "./match-lines.ts";
import { together, type Work } from "./work.ts";

/** What a caller says of a shop. */
export interface ShopMembers {
  name: string;
  locationId: string | null;
  pullUrl: string | null;
  pullEveryMinutes: number | null;
  pullMode: "full" | "changes";
  columns: Partial<Record<StockMember, string>> | null;
  encoding: string;
  decimal: "." | ",";
  separator: ShopRow["separator"];
  notes: string | null;
}

const hoursSince = (from: string, to: string) =>
  Math.max(0, Math.round((Date.parse(to) - Date.parse(from)) / 360_000) / 10);

async function shown(work: Work, shop: ShopRow) {
  const feed = await getRecord(work.db, "shopFeeds", shop.clubId, shop.id, "shop");
  const { listId, listedAt, rows, matched, unmatched, failures, failedAt, failedFor, pulledAt, nextPullAt } =
    feed;
  return {
    ...shop,
    columns: shop.columns === null ? null : (JSON.parse(shop.columns) as ShopMembers["columns"]),
    list:
      listId === null || listedAt === null
        ? null
        : { listedAt, ageHours: hoursSince(listedAt, work.now()), rows, matched, unmatched },
    lastFailure: failedAt === null ? null : { at: failedAt, reason: failedFor ?? "", failures },
    pulledAt,
    nextPullAt: shop.pullUrl === null || shop.pullEveryMinutes === null ? null : nextPullAt,
  };
}
export type ShopShown = Awaited<ReturnType<typeof shown>>;

async function requireShelf(work: Work, locationId: string | null | undefined): Promise<void> {
  if (locationId === null || locationId === undefined) return;
  const location = await getRecord(work.db, "locations", work.actor.clubId, locationId, "location");
  const detail = "must be a shelf: homes and pit boxes are drivers'";
  if (location.sort !== "shelf")
    throw new DomainError("inconsistent", `locationId ${detail}`, [{ pointer: "#/locationId", detail }]);
}

function requirePullable({ pullUrl, pullEveryMinutes }: Pick<ShopRow, "pullUrl" | "pullEveryMinutes">): void {
  const detail = "needs a pullUrl: there is nothing to fetch";
  if (pullUrl === null && pullEveryMinutes !== null)
    throw new DomainError("inconsistent", `pullEveryMinutes ${detail}`, [
      { pointer: "#/pullEveryMinutes", detail },
    ]);
}

const json = (columns: ShopMembers["columns"]) => (columns === null ? null : JSON.stringify(columns));

/** Adds a shop. Its currency is the club's if none is given, and stays. */
export async function addShop(work: Work, given: ShopMembers & { currency?: string | undefined }) {
  requirePullable(given);
  return together(work, async (work) => {
    await requireShelf(work, given.locationId);
    const currency = given.currency ?? (await selectClub(work.db, work.actor.clubId)).currency;
    const shop = await makeRecord(work, "shops", "shop", {
      ...given,
      currency,
      columns: json(given.columns),
    });
    const feed: ShopFeedRow = {
      ...{ id: shop.id, clubId: shop.clubId, listId: null, listedAt: null, digest: null },
      ...{ rows: 0, matched: 0, unmatched: 0 },
      ...{ catalogueMark: null, etag: null, lastModified: null, pulledAt: null, failures: 0 },
      ...{ failedAt: null, failedFor: null, nextPullAt: null },
    };
    await insertRecord(work.db, "shopFeeds", feed, "shop");
    return shown(work, shop);
  });
}

/** Changes a shop. However its list is read from now on, the next one is read anew, also if its text is the same. */
export async function changeShop(
  work: Work,
  id: string,
  changes: { [K in keyof ShopMembers]?: ShopMembers[K] | undefined },
) {
  return together(work, async (work) => {
    await requireShelf(work, changes.locationId);
    const { columns, ...others } = changes;
    const stated = columns === undefined ? {} : { columns: json(columns) };
    const shop = await changeRecord(work, "shops", "shop", id, { ...others, ...stated });
    requirePullable(shop);
    await updateFeed(work.db, id, { etag: null, lastModified: null, nextPullAt: null });
    return shown(work, shop);
  });
}

/** @throws {DomainError} `not_found` */
export const getShop = (work: Work, id: string): Promise<ShopRow> =>
  getRecord(work.db, "shops", work.actor.clubId, id, "shop");

export const readShop = async (work: Work, id: string) => shown(work, await getShop(work, id));

export async function listShops(work: Work, page: PageRequest): Promise<Page<ShopShown>> {
  const { items, next } = await listRecords(work, "shops", page);
  const all: ShopShown[] = [];
  for (const shop of items) all.push(await shown(work, shop));
  return { items: all, next };
}

/** A shop with the list that counts, matched with the club's lines as they are now. */
export async function currentList(work: Work, id: string): Promise<{ shop: ShopRow; feed: ShopFeedRow }> {
  const shop = await getShop(work, id);
  return { shop, feed: await freshFeed(work, shop) };
}

export async function freshFeed(work: Work, shop: ShopRow): Promise<ShopFeedRow> {
  const { clubId, id } = shop;
  const feed = await getRecord(work.db, "shopFeeds", clubId, id, "shop");
  const mark = await catalogueMark(work.db, clubId);
  if (feed.listId === null || feed.catalogueMark === mark) return feed;
  return together(work, async (work) => {
    const feed = await getRecord(work.db, "shopFeeds", clubId, id, "shop");
    if (feed.listId !== null) await rematch(work, work.db, id, feed.listId);
    const mark = await catalogueMark(work.db, clubId);
    const changes = {
      catalogueMark: mark,
      ...(feed.listId !== null && (await countListed(work.db, feed.listId))),
    };
    await updateFeed(work.db, id, changes);
    return { ...feed, ...changes };
  });
}

const noPage: Page<ListedRow> = { items: [], next: null };

/** What a shop has, a page at a time, with how old that knowledge is. */
export async function readStockListPage(
  work: Work,
  id: string,
  page: PageRequest,
  only: { lineId?: string | undefined } = {},
) {
  const { shop, feed } = await currentList(work, id);
  const found = feed.listId === null ? noPage : await pageOfListed(work.db, feed.listId, page, only);
  return { shop, listedAt: feed.listedAt, ...found };
}

/** What nobody has matched yet, each with the lines that it probably is. */
export async function listUnmatched(work: Work, id: string, page: PageRequest) {
  const { feed } = await currentList(work, id);
  if (feed.listId === null) return { items: [], next: null };
  const { items, next } = await pageOfListed(work.db, feed.listId, page, { unmatched: true });
  const likely = likelyLines(await allRecords(work.db, "lines", work.actor.clubId));
  return { items: items.map((row) => ({ ...row, likely: likely(row) })), next };
}
