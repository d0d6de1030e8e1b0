import { DomainError } from "../domain/errors.ts";
import { getRecord } from "../storage/records.ts";
import { selectDuePulls, updateFeed } from "../storage/stock-lists.ts";
import type { ShopRow } from "../storage/tables.ts";
import { type Fetched, type FetchLimits, fetchSafely } from "./fetch-safely.ts";
import { getShop } from "./keep-shops.ts";
import { isEncoding, type ListType, listTypes, maxListBytes } from "./read-stock-list.ts";
import { confirmList, type ListResult, noteFailure, takeStockList } from "./take-stock-list.ts";
import type { Work } from "./work.ts";

const defaults: FetchLimits = { allowPrivate: false, timeMs: 30_000, maxBytes: maxListBytes };
/** After failures a list is asked for more and more seldom, but at least once a day. */
const longestPauseMinutes = 24 * 60;

/** What the list is written in: as its sender says, and where that says nothing, by the ending of its address. */
function typeOf({ contentType, url }: Extract<Fetched, { changed: true }>): {
  type: ListType;
  encoding?: string;
} {
  const [name = "", ...parameters] = contentType.split(";").map((part) => part.trim().toLowerCase());
  const charset = parameters.find((one) => one.startsWith("charset="))?.replace(/^charset="?|"$/g, "");
  const ending = /\.(csv|jsonld|json)$/i.exec(url.pathname)?.[1]?.toLowerCase();
  const byEnding = { csv: listTypes[0], json: listTypes[1], jsonld: listTypes[2] } as const;
  const type =
    listTypes.find((known) => known === name) ??
    (["", "text/plain", "application/octet-stream"].includes(name)
      ? byEnding[ending as keyof typeof byEnding]
      : undefined);
  if (type === undefined)
    throw new DomainError(
      "pull_failed",
      `${url.host} sends ${name === "" ? "no content type" : name}; a list is ${listTypes.join(", ")}, or has an address that ends in .csv, .json or .jsonld`,
    );
  if (charset !== undefined && !isEncoding(charset))
    throw new DomainError(
      "pull_failed",
      `${url.host} says that its list is written in "${charset}", which is no encoding known here; let it say utf-8, windows-1252 or utf-16le, or nothing`,
    );
  return { type, ...(charset !== undefined && { encoding: charset }) };
}

/** When a list is asked for next: later and later after failures. */
const nextPull = (shop: ShopRow, now: string, failures: number): string | null => {
  if (shop.pullEveryMinutes === null) return null;
  const pause = shop.pullEveryMinutes * 2 ** Math.min(failures, 12);
  const minutes = Math.max(shop.pullEveryMinutes, Math.min(pause, longestPauseMinutes));
  return new Date(Date.parse(now) + minutes * 60_000).toISOString();
};

/**
 * Fetches a shop's list now and takes it.
 *
 * @throws {DomainError} `pull_failed` where it cannot be fetched, `import_refused` where it cannot be kept; the reason
 * is kept, and the last good list counts on
 */
export async function pullStockList(
  work: Work,
  id: string,
  asked: { mode?: "full" | "changes" | undefined; dryRun?: boolean; acceptPartly?: boolean },
): Promise<ListResult> {
  const shop = await getShop(work, id);
  const { dryRun = false, acceptPartly = false, mode = shop.pullMode } = asked;
  if (shop.pullUrl === null)
    throw new DomainError("inconsistent", `"${shop.name}" has no pullUrl to fetch its list from`);
  const before = await getRecord(work.db, "shopFeeds", shop.clubId, id, "shop");
  const known = before.listId === null || dryRun ? { etag: null, lastModified: null } : before;
  try {
    const fetched = await fetchSafely(shop.pullUrl, known, { ...defaults, ...work.pulls });
    const result = fetched.changed
      ? await takeFetched(work, shop, fetched, { mode, dryRun, acceptPartly })
      : await stillTrue(work, id, mode);
    if (!dryRun) await noted(work, shop, 0);
    return result;
  } catch (error) {
    if (dryRun) throw error;
    // A list that came and was refused is noted where it was read.
    if (error instanceof DomainError && error.code === "pull_failed")
      await noteFailure(work, id, error.message);
    const { failures } = await getRecord(work.db, "shopFeeds", shop.clubId, id, "shop");
    await noted(work, shop, Math.max(1, failures));
    throw error;
  }
}

const noted = (work: Work, shop: ShopRow, failures: number): Promise<void> => {
  const pulledAt = work.now();
  return updateFeed(work.db, shop.id, { pulledAt, nextPullAt: nextPull(shop, pulledAt, failures) });
};

async function takeFetched(
  work: Work,
  shop: ShopRow,
  fetched: Extract<Fetched, { changed: true }>,
  asked: { mode: "full" | "changes"; dryRun: boolean; acceptPartly: boolean },
): Promise<ListResult> {
  const { spool, etag, lastModified } = fetched;
  try {
    const result = await takeStockList(work, shop, spool, { way: "pull", ...typeOf(fetched), ...asked });
    // A list that was kept in part is asked for again as a whole: its rejected rows may be mended elsewhere.
    const whole = result.outcome === "kept" || result.outcome === "unchanged";
    if (!asked.dryRun)
      await updateFeed(work.db, shop.id, whole ? { etag, lastModified } : { etag: null, lastModified: null });
    return result;
  } finally {
    await spool.remove();
  }
}

async function stillTrue(work: Work, id: string, mode: "full" | "changes"): Promise<ListResult> {
  const now = work.now();
  await confirmList(work, id, now);
  const feed = await getRecord(work.db, "shopFeeds", work.actor.clubId, id, "shop");
  const { rows, matched, unmatched } = feed;
  return {
    ...{ outcome: "unchanged", dryRun: false, mode, arrivedAt: now, rowsRead: 0, rowsRejected: 0 },
    ...{ rejected: [], keptFromBefore: 0, added: 0, changed: 0, gone: 0, rows, matched, unmatched },
    sentence: `The shop's server says that the list has not changed; its ${rows} rows are as good as new.`,
  };
}

/**
 * Fetches every list that is due, one after another.
 *
 * @param workFor the work of a club
 * @param onFault told of what is no refusal
 * @returns how many were fetched or tried
 */
export async function pullDueLists(
  workFor: (clubId: string) => Work,
  onFault: (error: Error) => void,
): Promise<number> {
  const any = workFor("");
  const due = await selectDuePulls(any.db, any.now());
  for (const { id, clubId } of due)
    try {
      await pullStockList(workFor(clubId), id, {});
    } catch (error) {
      // A refusal is kept with the shop; the next list has nothing to do with it.
      if (!(error instanceof DomainError)) onFault(error as Error);
    }
  return due.length;
}
