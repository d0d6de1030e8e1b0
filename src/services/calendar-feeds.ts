import { reachOf } from "../domain/access.ts";
import { DomainError } from "../domain/errors.ts";
import {
  deleteFeed,
  insertCalendarFeed,
  makeFeedToken,
  pageOfFeeds,
  selectFeedBy,
  selectFeedOf,
  type ShownFeed,
} from "../storage/calendar-feeds.ts";
import type { Page, PageRequest } from "../storage/records.ts";
import { headOfChanges } from "../storage/changes.ts";
import { clubDay } from "./calendar-ahead.ts";
import { type ClubCalendar, clubCalendar } from "./club-calendar.ts";
import { together, type Work } from "./work.ts";

/** An owner keeps all feeds of the club in order; everybody else their own. */
const whose = ({ actor }: Work) => (actor.role === "owner" ? null : actor.keyId);

/**
 * Makes an address under which the calendar can be subscribed to without a key. It shows what the key shows that makes
 * it, and ends with that key.
 *
 * @param known the token of a request that may have been sent before: the feed that it made is given again
 * @returns the feed and its token, which cannot be read again; null where the token is that of another feed
 */
export async function makeCalendarFeed(
  work: Work,
  given: { name: string; daysAhead: number },
  known?: string,
): Promise<{ feed: ShownFeed; token: string } | null> {
  const token = known ?? (work.newToken ?? makeFeedToken)();
  return together(work, async ({ db, actor: { clubId, keyId }, newId, now }) => {
    const before = known === undefined ? undefined : await selectFeedBy(db, token);
    if (before !== undefined) {
      const same = before.name === given.name && before.daysAhead === given.daysAhead;
      return same ? { feed: before, token } : null;
    }
    const feed = { id: newId(), clubId, keyId, ...given, createdAt: now() };
    await insertCalendarFeed(db, token, feed);
    return { feed, token };
  });
}

export const listCalendarFeeds = (work: Work, page: PageRequest): Promise<Page<ShownFeed>> =>
  pageOfFeeds(work.db, work.actor.clubId, whose(work), page);

/** Ends an address. @throws {DomainError} `not_found`, also where it is another key's */
export async function endCalendarFeed(work: Work, id: string): Promise<void> {
  if (!(await deleteFeed(work.db, work.actor.clubId, whose(work), id)))
    throw new DomainError("not_found", `There is no calendar feed with id ${id}`);
}

/**
 * The calendar behind an address, as the holder of its key sees it.
 *
 * @param work of nobody: who asks is known by the token alone
 * @throws {DomainError} `not_found` where the token is unknown, was ended, or its key was revoked
 */
export async function calendarOfFeed(
  work: Omit<Work, "actor" | "reach">,
  token: string,
): Promise<ClubCalendar> {
  const feed = await selectFeedOf(work.db, token);
  const reach = feed === undefined ? "none" : reachOf(feed.actor.role, "answers:read");
  if (feed === undefined || reach === "none")
    throw new DomainError("not_found", "There is no such calendar, or its address was ended");
  const calendar = await keptCalendar({ ...work, actor: feed.actor, reach }, feed);
  return { ...calendar, name: feed.name };
}

/** A calendar with what it rests on. */
export interface KeptCalendar {
  /** end of the feed of changes, and the club's day */
  head: number;
  day: string;
  /** milliseconds */
  madeAt: number;
  calendar: Promise<ClubCalendar>;
}

/** Not every change is in the feed of changes (the price of a line is not): after this time it is worked out anew. */
const keptMs = 15 * 60_000;
const mostKept = 1000;

/** The calendar of a feed, worked out once for all who ask within a short while and before anything has changed. */
async function keptCalendar(work: Work, feed: { id: string; daysAhead: number }): Promise<ClubCalendar> {
  const { calendars } = work;
  if (calendars === undefined) return clubCalendar(work, feed.daysAhead);
  const [head, day] = [await headOfChanges(work.db, work.actor.clubId), await clubDay(work)];
  const madeAt = Date.parse(work.now());
  const before = calendars.get(feed.id);
  const isFresh = before?.head === head && before.day === day && Math.abs(madeAt - before.madeAt) < keptMs;
  if (before !== undefined && isFresh) return before.calendar;
  const calendar = clubCalendar(work, feed.daysAhead);
  calendars.delete(feed.id);
  calendars.set(feed.id, { head, day, madeAt, calendar });
  const oldest = calendars.size > mostKept ? calendars.keys().next().value : undefined;
  if (oldest !== undefined) calendars.delete(oldest);
  // What could not be worked out is tried again by whoever asks next.
  calendar.catch(() => calendars.delete(feed.id));
  return calendar;
}
