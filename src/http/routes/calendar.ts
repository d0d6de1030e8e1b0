import { z } from "zod";
import {
  calendarOfFeed,
  endCalendarFeed,
  listCalendarFeeds,
  makeCalendarFeed,
} from "../../services/calendar-feeds.ts";
import { type ClubCalendar, clubCalendar, usualDaysAhead } from "../../services/club-calendar.ts";
import { feedTokenOf } from "../../storage/calendar-feeds.ts";
import { exampleIds } from "../example-ids.ts";
import { calendarTag, calendarText } from "../icalendar.ts";
import { operation } from "../operation.ts";
import { idempotencyKeyOf, keyReused } from "../retries.ts";
import { ById, Id, Instant, PageQuery, pageFrom, pageOf, pageReply, queryInteger, text } from "../schemas.ts";

const DaysAhead = z.number().int().min(1, "must be at least 1").max(366, "must be at most 366").meta({
  description: "how many days ahead parts are to last: days to order are given for what that takes",
  example: usualDaysAhead,
});
const feedFields = {
  name: text(120).meta({
    description: "what the calendar is called where it is shown",
    example: "Club racing",
  }),
  daysAhead: DaysAhead,
};
const CalendarFeed = z
  .object({
    id: Id,
    keyId: Id.meta({ description: "the key that made it, as which it reads" }),
    ...feedFields,
    createdAt: Instant,
  })
  .meta({ id: "CalendarFeed", description: "an address under which the calendar can be subscribed to" });
const NewCalendarFeed = CalendarFeed.extend({
  url: z.string().meta({
    description:
      "the address to subscribe to, made from PUBLIC_URL, or else from the one that this request was sent to; whoever has it reads the calendar, and it is shown only now",
  }),
}).meta({ id: "NewCalendarFeed" });

const calendarType = "text/calendar; charset=utf-8";
const what =
  "iCalendar (RFC 5545): every meeting from 180 days ago on, and for each supplier the day by which to order what the days ahead need; all-day events, with ids that stay.";
const calendarReply = (calendar: ClubCalendar) => ({
  status: 200 as const,
  body: calendarText(calendar),
  headers: {
    "content-disposition": 'inline; filename="calendar.ics"',
    etag: calendarTag(calendar),
    // Programs that subscribe may ask often; what they get does not change from one minute to the next.
    "cache-control": "private, max-age=900",
  },
});

export const calendarOperations = [
  operation({
    method: "get",
    path: "/v1/calendar.ics",
    operationId: "readCalendar",
    summary: "The calendar of meetings and days to order by",
    description: `${what} A driver's key gets the days to order for its own cars.`,
    tags: ["meetings"],
    need: "answers:read",
    query: z.strictObject({
      daysAhead: queryInteger(
        1,
        366,
        `how many days ahead parts are to last; ${usualDaysAhead} if not given`,
      ).optional(),
    }),
    tagged: true,
    answers: { 200: { description: "The calendar.", type: calendarType } },
    example: { query: { daysAhead: "120" } },
  })(async ({ query }, work) => calendarReply(await clubCalendar(work, query.daysAhead))),

  operation({
    method: "post",
    path: "/v1/calendar-feeds",
    operationId: "makeCalendarFeed",
    summary: "Get an address to subscribe to the calendar",
    description:
      "Calendar programs ask by an address alone and send no key. The address made here reads the calendar as this key does and nothing else; it ends when it is deleted or the key is revoked. " +
      "It gives nothing that the key could not read, so that a key that only reads may make one. Only a hash of it is kept. With an Idempotency-Key the address follows from that and from the key of the club, so that the same request sent again gives the same feed and address for as long as it is there; once deleted, it is made again.",
    tags: ["meetings"],
    need: "answers:read",
    repeatable: true,
    body: z.strictObject({
      name: feedFields.name.default("Meetings and orders"),
      daysAhead: DaysAhead.default(usualDaysAhead),
    }),
    answers: { 201: { description: "The feed with its address.", body: NewCalendarFeed } },
    example: { body: { name: "Club racing", daysAhead: 120 } },
  })(async ({ body }, work, c) => {
    const request = idempotencyKeyOf(c);
    const secret = (c.req.header("authorization") ?? "").split(" ").at(-1)!;
    const made = await makeCalendarFeed(
      work,
      body,
      request === undefined ? undefined : feedTokenOf(secret, request),
    );
    if (made === null) throw keyReused();
    const { feed, token } = made;
    const base = work.publicUrl ?? new URL("/", c.req.url).href;
    return { status: 201, body: { ...feed, url: new URL(`feeds/${token}/calendar.ics`, base).href } };
  }),

  operation({
    method: "get",
    path: "/v1/calendar-feeds",
    operationId: "listCalendarFeeds",
    summary: "List the addresses of the calendar, without their secret",
    description:
      "In the order in which they were made. A key sees those that it made, an owner's key all of the club.",
    tags: ["meetings"],
    need: "answers:read",
    query: z.strictObject(PageQuery),
    answers: { 200: { description: "A page of feeds.", body: pageOf(CalendarFeed, "CalendarFeedPage") } },
  })(async ({ query }, work, c) =>
    pageReply(await listCalendarFeeds(work, pageFrom(query)), (feed) => feed, c.req.url),
  ),

  operation({
    method: "delete",
    path: "/v1/calendar-feeds/{id}",
    operationId: "endCalendarFeed",
    summary: "End an address of the calendar",
    tags: ["meetings"],
    need: "answers:read",
    params: ById,
    answers: { 204: { description: "The address is gone." } },
    problems: [404],
    example: { params: { id: exampleIds.feedId } },
  })(async ({ params }, work) => {
    await endCalendarFeed(work, params.id);
    return { status: 204 };
  }),

  operation({
    method: "get",
    path: "/feeds/{token}/calendar.ics",
    operationId: "readCalendarFeed",
    summary: "The calendar behind an address, without a key",
    description: `${what} It is worked out when something has changed, and after a quarter of an hour; asked with the ETag of the last time it is sent only if it says something else. Each address may be asked 60 times a minute.`,
    tags: ["meetings"],
    need: null,
    params: z.object({
      token: text(100).meta({ description: "the secret part of the address, as it was given" }),
    }),
    tagged: true,
    answers: { 200: { description: "The calendar.", type: calendarType } },
    problems: [404, 429],
    example: { params: { token: exampleIds.feedToken } },
  })(async ({ params }, work) => calendarReply(await calendarOfFeed(work, params.token))),
];
