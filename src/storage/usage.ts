import { sql } from "kysely";
import type { Surface } from "../domain/kind.ts";
import type { UsedRun } from "../domain/usage.ts";
import type { Queries } from "./database.ts";
import type { FittingRow } from "./tables.ts";

/**
 * Every run that wore a piece, in the order of time: those of the cars it was fitted to, while it was fitted, and
 * those that name it as their pack. Bounded by the piece's own life, not by the history of the club.
 */
export async function selectRunsOfPiece(q: Queries, pieceId: string, after = ""): Promise<UsedRun[]> {
  const fitted = q
    .selectFrom("fittings")
    .innerJoin("runs", "runs.carId", "fittings.carId")
    .select(["runs.at", "runs.minutes", "runs.knocks", "runs.surface"])
    .where("fittings.pieceId", "=", pieceId)
    .whereRef("runs.at", ">=", "fittings.fittedAt")
    .where("runs.at", ">", after)
    .where((e) =>
      e.or([e("fittings.removedAt", "is", null), e("runs.at", "<", e.ref("fittings.removedAt"))]),
    );
  const asPack = q
    .selectFrom("runs")
    .select(["at", "minutes", "knocks", "surface"])
    .where("packId", "=", pieceId)
    .where("at", ">", after);
  const rows = await fitted.unionAll(asPack).orderBy("at").execute();
  return rows as (UsedRun & { surface: Surface })[];
}

/** Every fitting of a piece, oldest first. */
export const selectFittingsOfPiece = (q: Queries, pieceId: string): Promise<FittingRow[]> =>
  q.selectFrom("fittings").selectAll().where("pieceId", "=", pieceId).orderBy("fittedAt").execute();

/**
 * Says that what is known of some lines has changed: the lines of the pieces that a run at `at` on this car wears (or of
 * the pack it names). Their breakages have one run more or less to be set against. The fit of their wear has changed
 * only where one of the pieces was inspected since: a run after the last inspection changes no fit, so that none is made
 * again for today's runs.
 */
export async function countEvidenceOfRun(
  q: Queries,
  run: { carId: string; at: string; packId: string | null },
): Promise<void> {
  const worn = sql`
    select f."pieceId" from fittings f
      where f."carId" = ${run.carId} and f."removedAt" is null and f."fittedAt" <= ${run.at}
    union all
    select f."pieceId" from fittings f
      where f."carId" = ${run.carId} and f."removedAt" > ${run.at} and f."fittedAt" <= ${run.at}
    union all
    select p2.id from pieces p2 where p2.id = ${run.packId}`;
  const seenSince = sql`exists (select 1 from inspections i where i."pieceId" = p.id and i.at >= ${run.at})`;
  await sql`
    update lines set exposure = exposure + 1
    where id in (select p."lineId" from pieces p where p.id in (${worn}))`.execute(q);
  await sql`
    update lines set evidence = evidence + 1
    where id in (select p."lineId" from pieces p where p.id in (${worn}) and ${seenSince})`.execute(q);
}

/** Says that what the fit of a piece's line rests on has changed. */
export async function countEvidenceOfPiece(q: Queries, pieceId: string): Promise<void> {
  await q
    .updateTable("lines")
    .set((e) => ({ evidence: e("evidence", "+", 1) }))
    .where("id", "=", (e) => e.selectFrom("pieces").select("lineId").where("pieces.id", "=", pieceId))
    .execute();
}
