import { DomainError } from "../domain/errors.ts";
import type { StockMember } from "../domain/stock-row.ts";
import { deleteRecord, getRecord, insertRecord } from "../storage/records.ts";
import { replaceRejected } from "../storage/rejected-rows.ts";
import type { Spool } from "../storage/spool.ts";
import { carryOver, forgetRejected, markSaid } from "../storage/arriving-rows.ts";
import {
  catalogueMark,
  compareLists,
  countListed,
  deleteListed,
  mergeChanges,
  sweepArrivals,
  updateFeed,
  updateStockList,
} from "../storage/stock-lists.ts";
import type { ShopFeedRow, ShopRow, StockListRow } from "../storage/tables.ts";
import { type Counts, type Difference, type Kept, keptRows, withKept } from "./kept-rows.ts";
import { rematch } from "./match-lines.ts";
import { count } from "./in-words.ts";
import { noteChange } from "./note-change.ts";
import type { ListForm, ListType } from "./read-stock-list.ts";
import { Rejected, type RejectedRow } from "./rejected-rows.ts";
import { requireSound } from "./require-sound.ts";
import { type Read, stageStockList } from "./stage-stock-list.ts";
import { together, type Work } from "./work.ts";

/** How a list came, and what is to be done with it. */
export interface Arrival {
  way: "push" | "pull";
  mode: "full" | "changes";
  type: ListType;
  /** where the sender states it; the shop's if not */
  encoding?: string | undefined;
  /** only say what would change */
  dryRun?: boolean;
  /** keep the sound rows of a list with rejected ones */
  acceptPartly?: boolean;
}

export interface ListResult {
  outcome: "kept" | "kept-partly" | "unchanged" | "dry-run";
  dryRun: boolean;
  mode: "full" | "changes";
  arrivedAt: string;
  rowsRead: number;
  rowsRejected: number;
  rejected: (RejectedRow & {
    /** when the row that counts on for this thing was said; null where there is none */
    keptFrom: string | null;
  })[];
  /** things whose row was rejected, and whose last good row counts on */
  keptFromBefore: number;
  /** compared with the list that counted before */
  added: number;
  changed: number;
  gone: number;
  /** of the list as it is now, or as it arrived in a dry run */
  rows: number;
  matched: number;
  unmatched: number;
  sentence: string;
}

/** An arrival that did not end within this time never will. */
const endsWithinMs = 3_600_000;
const arrivalsKept = 200;

const formOf = (shop: ShopRow, { type, encoding }: Arrival): ListForm => ({
  type,
  encoding: encoding ?? shop.encoding,
  separator: shop.separator,
  // The shop's decimal sign is that of its CSV: JSON and schema.org know the point only.
  terms: { currency: shop.currency, decimal: type === "text/csv" ? shop.decimal : "." },
  columns: shop.columns === null ? {} : (JSON.parse(shop.columns) as Partial<Record<StockMember, string>>),
});

/** What makes two arrivals the same: the bytes, and how they are read. */
const digestOf = (spool: Spool, form: ListForm, mode: string) =>
  `${spool.digest} ${mode} ${JSON.stringify(form)}`;

/**
 * Takes a list that has arrived as a whole: reads it, matches its rows with the club's lines, and puts it in the place
 * of the last one in a single step. A list with rejected rows is refused unless `acceptPartly` is said.
 *
 * @throws {DomainError} `import_refused`; the reason is kept, and the last good list counts on
 */
export async function takeStockList(
  work: Work,
  shop: ShopRow,
  spool: Spool,
  arrival: Arrival,
): Promise<ListResult> {
  const form = formOf(shop, arrival);
  const digest = digestOf(spool, form, arrival.mode);
  const feed = await getRecord(work.db, "shopFeeds", shop.clubId, shop.id, "shop");
  if (feed.listId !== null && feed.digest === digest) return unchanged(work, feed, arrival);
  const list = await begin(work, shop, spool, arrival);
  const rejected = new Rejected();
  let rowsRead = 0;
  try {
    const mark = await catalogueMark(work.db, shop.clubId);
    const noting = arrival.dryRun === true || arrival.acceptPartly === true;
    const as = { shopId: shop.id, listId: list.id, noting };
    const read = await stageStockList(work, as, spool, form, rejected);
    if (arrival.dryRun === true) return await tried(work, shop, list, read);
    rowsRead = read.rowsRead;
    requireSound(rejected, rowsRead, arrival);
    return await keep(work, shop, list, read, { digest: rejected.total === 0 ? digest : null, mark });
  } catch (error) {
    await giveUp(work, list, { rowsRead, rejected }, arrival.dryRun === true, error);
    throw error;
  }
}

async function begin(work: Work, shop: ShopRow, spool: Spool, { way, mode }: Arrival): Promise<StockListRow> {
  const list: StockListRow = {
    ...{ id: work.newId(), clubId: shop.clubId, shopId: shop.id, arrivedAt: work.now(), way, mode },
    ...{ outcome: "arriving", bytes: spool.bytes, rowsRead: 0, rejected: 0, added: 0, changed: 0, gone: 0 },
    reason: null,
  };
  const before = new Date(Date.parse(list.arrivedAt) - endsWithinMs).toISOString();
  await together(work, async (work) => {
    await sweepArrivals(work.db, shop.id, before, arrivalsKept);
    await insertRecord(work.db, "stockLists", list, "stock list");
  });
  return list;
}

const resultOf = (
  list: StockListRow,
  { rowsRead, rejected }: Read,
  { difference, counts, kept }: { difference: Difference; counts: Counts; kept: Kept },
  outcome: ListResult["outcome"],
): ListResult => {
  const would = outcome === "dry-run" ? "would be " : "";
  const { added, changed, gone } = difference;
  const { rows, matched, unmatched } = counts;
  const old =
    kept.rows === 0
      ? ""
      : ` (of ${kept.rows} of these the last good row ${outcome === "dry-run" ? "would count" : "counts"} on)`;
  return {
    ...{ outcome, dryRun: outcome === "dry-run", mode: list.mode, arrivedAt: list.arrivedAt, rowsRead },
    rowsRejected: rejected.total,
    rejected: rejected.listed.map((row) => ({
      ...row,
      keptFrom: row.sku === null ? null : (kept.saidAt.get(row.sku) ?? null),
    })),
    keptFromBefore: kept.rows,
    ...{ added, changed, gone, rows, matched, unmatched },
    sentence: `${count(rowsRead, "row")} read: ${added} ${would}added, ${changed} ${would}changed, ${gone} ${would}gone, ${rejected.total} rejected${old}; ${matched} of ${rows} are lines of the club, ${unmatched} nobody has matched yet.`,
  };
};

async function tried(work: Work, shop: ShopRow, list: StockListRow, read: Read): Promise<ListResult> {
  const feed = await getRecord(work.db, "shopFeeds", shop.clubId, shop.id, "shop");
  const difference = await compareLists(work.db, arrived(list, read), countsNow(feed), list.mode);
  const kept = await keptRows(work, list.id, feed, read.rejected);
  await forget(work, list, read.rejected);
  const would =
    list.mode === "full" ? withKept(difference, read.counts, kept) : { difference, counts: read.counts };
  return resultOf(list, read, { ...would, kept }, "dry-run");
}

const forget = (work: Work, list: StockListRow, rejected: Rejected) =>
  together(work, async ({ db }) => {
    await deleteListed(db, list.id);
    if (rejected.noted) await forgetRejected(db, list.id);
    await deleteRecord(db, "stockLists", list.clubId, list.id, "stock list");
  });

const arrived = ({ id }: StockListRow, { counts }: Read) => ({ id, rows: counts.rows });
const countsNow = ({ listId, rows }: ShopFeedRow) => (listId === null ? null : { id: listId, rows });

/** The one step in which a list takes effect. */
const keep = (
  work: Work,
  shop: ShopRow,
  list: StockListRow,
  read: Read,
  { digest, mark }: { digest: string | null; mark: string },
): Promise<ListResult> =>
  together(work, async (work) => {
    const { db } = work;
    const feed = await getRecord(db, "shopFeeds", shop.clubId, shop.id, "shop");
    const { listId } = feed;
    const { mode, arrivedAt } = list;
    const alone = await compareLists(db, arrived(list, read), countsNow(feed), mode);
    const kept = await keptRows(work, list.id, feed, read.rejected);
    const lists = { arrived: list.id, before: listId ?? "" };
    const merged = mode === "changes" && listId !== null;
    if (merged) {
      if (kept.rows > 0) await markSaid(db, lists, feed.listedAt ?? "");
      await mergeChanges(db, list.id, listId);
      await rematch(work, db, shop.id, listId);
    } else if (kept.rows > 0) {
      await carryOver(db, lists, feed.listedAt ?? "");
      await rematch(work, db, shop.id, list.id);
    }
    if (read.rejected.noted) await forgetRejected(db, list.id);
    const { difference, counts } = merged
      ? { difference: alone, counts: await countListed(db, listId) }
      : withKept(alone, read.counts, kept);
    const outcome = read.rejected.total === 0 ? "kept" : "kept-partly";
    const { rowsRead, rejected } = read;
    await updateFeed(db, shop.id, {
      ...{ listId: merged ? listId : list.id, listedAt: arrivedAt, digest, catalogueMark: mark },
      ...counts,
      ...{ failures: 0, failedAt: null, failedFor: null },
      // What the shop's server knows as unchanged is no longer the list that counts: it is fetched as a whole next time.
      ...(list.way === "push" && { etag: null, lastModified: null }),
    });
    await updateStockList(db, list.id, { outcome, rowsRead, rejected: rejected.total, ...difference });
    await replaceRejected(db, list, rejected.listed);
    const replaced = merged ? list.id : listId;
    if (replaced !== null) await deleteListed(db, replaced);
    const data = { name: shop.name, way: list.way, mode, ...difference, ...counts };
    await noteChange(work, {
      type: "stock-list.kept",
      subject: aboutShop(shop.id),
      audience: "everyone",
      data,
    });
    return resultOf(list, read, { difference, counts, kept }, outcome);
  });

const aboutShop = (id: string) => ({ kind: "shop" as const, id });

/** @param feed of the shop whose list has not changed */
async function unchanged(work: Work, feed: ShopFeedRow, arrival: Arrival): Promise<ListResult> {
  const now = work.now();
  const { mode, dryRun = false } = arrival;
  if (!dryRun) await confirmList(work, feed.id, now);
  const { rows, matched, unmatched } = feed;
  return {
    ...{ outcome: "unchanged", dryRun, mode, arrivedAt: now, rowsRead: 0, rowsRejected: 0, rejected: [] },
    ...{ keptFromBefore: 0, added: 0, changed: 0, gone: 0, rows, matched, unmatched },
    sentence: `The list is the same as the last one: its ${count(rows, "row")} are as good as new.`,
  };
}

/** The list that counts was said to be true again. */
export const confirmList = (work: Work, shopId: string, at: string): Promise<void> =>
  updateFeed(work.db, shopId, { listedAt: at, failures: 0, failedAt: null, failedFor: null });

/** Removes what was written of a list, and keeps the reason and what is wrong with its rows. */
async function giveUp(
  work: Work,
  list: StockListRow,
  { rowsRead, rejected }: Pick<Read, "rowsRead" | "rejected">,
  dryRun: boolean,
  error: unknown,
): Promise<void> {
  if (dryRun) return forget(work, list, rejected);
  const refused = error instanceof DomainError;
  const reason = refused ? error.message : "The list could not be kept because of a fault of the service";
  await together(work, async (work) => {
    await deleteListed(work.db, list.id);
    if (rejected.noted) await forgetRejected(work.db, list.id);
    await updateStockList(work.db, list.id, {
      ...{ outcome: refused ? "refused" : "failed", reason: reason.slice(0, 1000) },
      ...{ rowsRead, rejected: rejected.total },
    });
    await replaceRejected(work.db, list, rejected.listed);
    await noteFailure(work, list.shopId, reason);
  });
}

/** Counts a failure; the last good list counts on, and its age shows. The feed of changes is told the first of a row. */
export const noteFailure = (work: Work, shopId: string, reason: string): Promise<void> =>
  together(work, async (work) => {
    const feed = await getRecord(work.db, "shopFeeds", work.actor.clubId, shopId, "shop");
    const failedFor = reason.slice(0, 1000);
    await updateFeed(work.db, shopId, { failures: feed.failures + 1, failedAt: work.now(), failedFor });
    if (feed.failures > 0) return;
    const data = { reason: failedFor, listedAt: feed.listedAt };
    await noteChange(work, { type: "stock-list.failed", subject: aboutShop(shopId), audience: "shop", data });
  });
