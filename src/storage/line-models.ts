import { sql } from "kysely";
import type { Surface } from "../domain/kind.ts";
import type { UsedRun } from "../domain/usage.ts";
import type { Queries } from "./database.ts";
import type { LineModelRow, PieceRow } from "./tables.ts";

/** What the log has changed of a line's evidence so far: a fit with another number is out of date. */
export async function selectEvidence(
  q: Queries,
  clubId: string,
  lineId: string,
): Promise<number | undefined> {
  const row = await q
    .selectFrom("lines")
    .select("evidence")
    .where("id", "=", lineId)
    .where("clubId", "=", clubId)
    .executeTakeFirst();
  return row?.evidence;
}

export const selectLineModel = (q: Queries, lineId: string): Promise<LineModelRow | undefined> =>
  q.selectFrom("lineModels").selectAll().where("lineId", "=", lineId).executeTakeFirst();

/** Keeps fits in place of those before. They are a cache: losing one costs a refit and nothing else. */
export async function keepLineModels(q: Queries, rows: readonly LineModelRow[]): Promise<void> {
  if (rows.length === 0) return;
  await q
    .insertInto("lineModels")
    .values(rows)
    .onConflict((c) =>
      c.column("lineId").doUpdateSet((e) => ({
        evidence: e.ref("excluded.evidence"),
        fit: e.ref("excluded.fit"),
        fittedAt: e.ref("excluded.fittedAt"),
      })),
    )
    .execute();
}

/** The pieces of a line that were made last, oldest first. */
export async function selectPiecesOfLine(q: Queries, lineId: string, most: number): Promise<PieceRow[]> {
  const rows = await q
    .selectFrom("pieces")
    .selectAll()
    .where("lineId", "=", lineId)
    .orderBy("id", "desc")
    .limit(most)
    .execute();
  return rows.reverse();
}

/**
 * The pieces of a line that were made last, as breakages see them: whose they are, in how many runs they were used, and
 * whether they ended broken. Runs are counted in the database, for they are many.
 */
export async function selectLivesOfLine(
  q: Queries,
  lineId: string,
  most: number,
): Promise<{ driverId: string; runs: number; broken: boolean }[]> {
  const { rows } = await sql<{ driverId: string; retiredFor: string | null; runs: number }>`
    select p."driverId" as "driverId", p."retiredFor" as "retiredFor",
      (select count(*) from fittings f
        join runs r on r."carId" = f."carId" and r.at >= f."fittedAt" and r.at < coalesce(f."removedAt", '9')
        where f."pieceId" = p.id)
      + (select count(*) from runs r where r."packId" = p.id) as runs
    from pieces p where p."lineId" = ${lineId} order by p.id desc limit ${most}`.execute(q);
  return rows.map(({ driverId, retiredFor, runs }) => ({
    driverId,
    runs: Number(runs),
    broken: retiredFor === "broken",
  }));
}

export interface RunOfPiece extends UsedRun {
  pieceId: string;
}

/** SQLite takes 32,766 parameters in a statement. */
const mostIds = 10_000;

/** The runs that wore each of some pieces, in the order of time for each, and when each was first fitted. */
export async function selectRunsOfPieces(
  q: Queries,
  pieceIds: readonly string[],
): Promise<{ runs: RunOfPiece[]; firstFitted: Map<string, string> }> {
  const runs: RunOfPiece[] = [];
  const firstFitted = new Map<string, string>();
  for (let i = 0; i < pieceIds.length; i += mostIds) {
    const some = pieceIds.slice(i, i + mostIds);
    const ids = sql.join(some);
    const { rows } = await sql<RunOfPiece & { surface: Surface }>`
      select f."pieceId" as "pieceId", r.at as at, r.minutes as minutes, r.knocks as knocks, r.surface as surface
        from fittings f
        join runs r on r."carId" = f."carId" and r.at >= f."fittedAt" and (f."removedAt" is null or r.at < f."removedAt")
        where f."pieceId" in (${ids})
      union all
      select r."packId" as "pieceId", r.at as at, r.minutes as minutes, r.knocks as knocks, r.surface as surface
        from runs r
        where r."packId" in (${ids})
      order by at`.execute(q);
    for (const row of rows) runs.push(row);
    const fitted = await q
      .selectFrom("fittings")
      .select((e) => ["pieceId", e.fn.min<string>("fittedAt").as("fittedAt")])
      .where("pieceId", "in", some)
      .groupBy("pieceId")
      .execute();
    for (const { pieceId, fittedAt } of fitted) firstFitted.set(pieceId, fittedAt);
  }
  return { runs, firstFitted };
}
