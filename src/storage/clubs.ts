import type { Queries } from "./database.ts";
import type { ClubRow } from "./tables.ts";

export const selectClub = (q: Queries, id: string): Promise<ClubRow> =>
  q.selectFrom("clubs").selectAll().where("id", "=", id).executeTakeFirstOrThrow();

/** The oldest club: the only one, unless the database serves several. */
export const firstClub = (q: Queries): Promise<ClubRow | undefined> =>
  q.selectFrom("clubs").selectAll().orderBy("createdAt").orderBy("id").limit(1).executeTakeFirst();

export const selectClubIds = async (q: Queries): Promise<string[]> =>
  (await q.selectFrom("clubs").select("id").execute()).map(({ id }) => id);

export async function insertClub(q: Queries, row: ClubRow): Promise<void> {
  await q.insertInto("clubs").values(row).execute();
}

export function updateClub(
  q: Queries,
  id: string,
  changes: { [K in "name" | "currency" | "timeZone"]?: string | undefined },
): Promise<ClubRow> {
  const given = Object.fromEntries(Object.entries(changes).filter(([, value]) => value !== undefined));
  return q
    .updateTable("clubs")
    .set((e) => ({ ...given, version: e("version", "+", 1) }))
    .where("id", "=", id)
    .returningAll()
    .executeTakeFirstOrThrow();
}
