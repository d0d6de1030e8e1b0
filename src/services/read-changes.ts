import type { ChangeType, Subject } from "../domain/change.ts";
import { headOfChanges, selectChanges, type Seen } from "../storage/changes.ts";
import type { Work } from "./work.ts";

/** One entry as a follower gets it, whichever way it is carried. */
export interface ChangeShown {
  position: number;
  at: string;
  type: ChangeType;
  subject: Subject;
  by: string | null;
  data: Record<string, unknown>;
}

const seenBy = ({ reach, actor }: Work): Seen =>
  reach === "all" ? { reach } : reach === "shelf" ? { reach } : { reach: "own", driverId: actor.driverId };

/**
 * The changes after a position, as far as they may be seen, in order.
 *
 * `next` is the position to go on from. The head is read before the entries: what is at or before it has been
 * committed and is among them, so that a reader who goes on from there misses nothing, even where all the entries in
 * between were for somebody else.
 */
export async function readChanges(
  work: Work,
  asked: { after: number; limit: number; types?: readonly ChangeType[] | undefined },
): Promise<{ items: ChangeShown[]; next: number; more: boolean }> {
  const { clubId } = work.actor;
  const { after, limit, types } = asked;
  const head = await headOfChanges(work.db, clubId);
  const rows = await selectChanges(work.db, clubId, { after, limit: limit + 1, seen: seenBy(work), types });
  const more = rows.length > limit;
  const items = rows.slice(0, limit).map((row) => ({
    position: row.position,
    at: row.at,
    type: row.type as ChangeType,
    subject: { kind: row.subjectKind as Subject["kind"], id: row.subjectId },
    by: row.by,
    data: JSON.parse(row.data) as Record<string, unknown>,
  }));
  const last = items.at(-1)?.position ?? after;
  return { items, next: more ? last : Math.max(head, last), more };
}
