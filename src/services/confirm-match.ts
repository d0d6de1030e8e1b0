import { DomainError } from "../domain/errors.ts";
import { allRecords, getRecord } from "../storage/records.ts";
import { countListed, selectListed, updateFeed, updateMatch, upsertMatch } from "../storage/stock-lists.ts";
import { currentList } from "./keep-shops.ts";
import { noteChange } from "./note-change.ts";
import { together, type Work } from "./work.ts";

/**
 * A person says which line a thing on a shop's list is, or that it is none of the club's. It lasts: later lists of the
 * shop are matched by it before anything else.
 *
 * @param lineId null: no line of the club
 * @throws {DomainError} `not_found` where the shop, the line, or the thing on its list is unknown
 */
export async function confirmMatch(work: Work, shopId: string, shopSku: string, lineId: string | null) {
  const { clubId } = work.actor;
  const { shop, feed } = await currentList(work, shopId);
  return together(work, async (work) => {
    if (lineId !== null) await getRecord(work.db, "lines", clubId, lineId, "line");
    const { row, listId } = await listedRow(work, feed.listId, shopSku);
    const confirmedAt = work.now();
    await upsertMatch(work.db, {
      id: work.newId(),
      clubId,
      shopId,
      shopSku,
      lineId,
      confirmedAt,
      version: 1,
    });
    const matchedBy = lineId === null ? ("none" as const) : ("confirmed" as const);
    await updateMatch(work.db, listId, { sku: shopSku, lineId, matchedBy });
    await updateFeed(work.db, shopId, await countListed(work.db, listId));
    await noteChange(work, {
      type: "stock-list.matched",
      subject: { kind: "shop", id: shopId },
      audience: "everyone",
      data: { name: shop.name, sku: shopSku, lineId },
    });
    return { ...row, lineId, matchedBy, version: await versionOf(work, shopId, shopSku) };
  });
}

/**
 * A thing on a shop's list, as it is matched now; `version` is null where nobody has said what it is.
 *
 * @throws {DomainError} `not_found` where the shop, or the thing on its list is unknown
 */
export async function readMatch(work: Work, shopId: string, shopSku: string) {
  const { feed } = await currentList(work, shopId);
  const { row } = await listedRow(work, feed.listId, shopSku);
  return { ...row, version: await versionOf(work, shopId, shopSku) };
}

async function listedRow(work: Work, listId: string | null, shopSku: string) {
  const [row] = listId === null ? [] : await selectListed(work.db, listId, { skus: [shopSku] });
  if (row === undefined || listId === null)
    throw new DomainError(
      "not_found",
      `The shop's list has nothing with the article number ${JSON.stringify(shopSku)}`,
    );
  return { row, listId };
}

async function versionOf(work: Work, shopId: string, shopSku: string): Promise<number | null> {
  const { clubId } = work.actor;
  const [match] = await allRecords(work.db, "shopMatches", clubId, { shopId, shopSku });
  return match?.version ?? null;
}
