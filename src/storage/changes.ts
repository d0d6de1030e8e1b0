import { sql } from "kysely";
import type { Change } from "../domain/change.ts";
import { insertRows } from "./bulk.ts";
import type { Queries } from "./database.ts";
import type { ChangeRow, CrossingRow } from "./tables.ts";

/** The last position of a club's feed, or 0 where nothing has happened yet. */
export async function headOfChanges(q: Queries, clubId: string): Promise<number> {
  const { head } = await q
    .selectFrom("changes")
    .select((e) => e.fn.max<number | null>("position").as("head"))
    .where("clubId", "=", clubId)
    .executeTakeFirstOrThrow();
  return Number(head ?? 0);
}

/** When each of some things of a club was last told to have changed; what was never told is not in the map. */
export async function lastChanged(
  q: Queries,
  clubId: string,
  types: readonly string[],
): Promise<Map<string, string>> {
  const rows = await q
    .selectFrom("changes")
    .select((e) => ["subjectId", e.fn.max<string>("at").as("at")])
    .where("clubId", "=", clubId)
    .where("type", "in", types)
    .groupBy("subjectId")
    .execute();
  return new Map(rows.map(({ subjectId, at }) => [subjectId, at]));
}

/** Adds a change at the end of the feed, in the transaction of what it tells (see schema/0005-changes.ts). */
export async function insertChange(
  q: Queries,
  clubId: string,
  { type, subject, audience, data }: Change,
  { at, by }: { at: string; by: string | null },
): Promise<void> {
  await q
    .insertInto("changes")
    .values((e) => ({
      clubId,
      position: e
        .selectFrom("changes as told")
        .select(sql<number>`coalesce(max("position"), 0) + 1`.as("next"))
        .where("told.clubId", "=", clubId),
      at,
      type,
      subjectKind: subject.kind,
      subjectId: subject.id,
      ...audienceColumns(audience),
      by,
      data: JSON.stringify(data),
    }))
    .execute();
}

const audienceColumns = (audience: Change["audience"]): Pick<ChangeRow, "audience" | "driverId"> =>
  typeof audience === "string"
    ? { audience, driverId: null }
    : { audience: "driver", driverId: audience.driverId };

/**
 * Adds many changes at the end of the feed, in their order. The transaction must have written before: then nobody else
 * takes a position between the look at the last one and the end of the transaction.
 */
export async function insertChanges(
  q: Queries,
  clubId: string,
  changes: Iterable<Change>,
  { at, by }: { at: string; by: string | null },
): Promise<void> {
  let position = await headOfChanges(q, clubId);
  function* rows(): Generator<ChangeRow> {
    for (const { type, subject, audience, data } of changes) {
      position += 1;
      yield {
        clubId,
        position,
        at,
        type,
        subjectKind: subject.kind,
        subjectId: subject.id,
        ...audienceColumns(audience),
        by,
        data: JSON.stringify(data),
      };
    }
  }
  await insertRows(q, "changes", rows(), "change");
}

/** Whose changes: the whole club's, a driver's with those for everyone, or the shop's. */
export type Seen = { reach: "all" } | { reach: "own"; driverId: string | null } | { reach: "shelf" };

/** The changes after a position, in order. */
export function selectChanges(
  q: Queries,
  clubId: string,
  only: { after: number; limit: number; seen: Seen; types?: readonly string[] | undefined },
): Promise<ChangeRow[]> {
  const { after, limit, seen, types } = only;
  return q
    .selectFrom("changes")
    .selectAll()
    .where("clubId", "=", clubId)
    .where("position", ">", after)
    .$if(types !== undefined, (s) => s.where("type", "in", types!))
    .$if(seen.reach === "own", (s) =>
      s.where((e) =>
        e.or([
          e("audience", "=", "everyone"),
          e("driverId", "=", seen.reach === "own" ? (seen.driverId ?? "") : ""),
        ]),
      ),
    )
    .$if(seen.reach === "shelf", (s) => s.where("audience", "in", ["everyone", "shop"]))
    .orderBy("position")
    .limit(limit)
    .execute();
}

/** How far a reader of the feed came: the position it has dealt with. */
export async function positionOfReader(q: Queries, clubId: string, name: string): Promise<number> {
  const row = await q
    .selectFrom("changeReaders")
    .select("position")
    .where("clubId", "=", clubId)
    .where("name", "=", name)
    .executeTakeFirst();
  return row?.position ?? 0;
}

export async function moveReader(q: Queries, clubId: string, name: string, position: number): Promise<void> {
  await q
    .insertInto("changeReaders")
    .values({ clubId, name, position })
    .onConflict((c) => c.columns(["clubId", "name"]).doUpdateSet({ position }))
    .execute();
}

/** What has crossed its threshold: for a line, by the driver whose stock it is about ("" for the club's). */
export type Crossed = Pick<CrossingRow, "subjectKind" | "subjectId" | "driverId">;

export const isCrossed = async (q: Queries, clubId: string, of: Crossed): Promise<boolean> =>
  (await q
    .selectFrom("crossings")
    .select("at")
    .where("clubId", "=", clubId)
    .where("subjectKind", "=", of.subjectKind)
    .where("subjectId", "=", of.subjectId)
    .where("driverId", "=", of.driverId)
    .executeTakeFirst()) !== undefined;

export const selectCrossings = (q: Queries, clubId: string): Promise<CrossingRow[]> =>
  q.selectFrom("crossings").selectAll().where("clubId", "=", clubId).execute();

/** Remembers or forgets that a threshold is crossed. */
export async function setCrossed(
  q: Queries,
  clubId: string,
  { subjectKind, subjectId, driverId }: Crossed,
  crossedAt: string | null,
): Promise<void> {
  if (crossedAt !== null)
    await q
      .insertInto("crossings")
      .values({ clubId, subjectKind, subjectId, driverId, at: crossedAt })
      .onConflict((c) => c.doNothing())
      .execute();
  else
    await q
      .deleteFrom("crossings")
      .where("clubId", "=", clubId)
      .where("subjectKind", "=", subjectKind)
      .where("subjectId", "=", subjectId)
      .where("driverId", "=", driverId)
      .execute();
}
