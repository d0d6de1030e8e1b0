import { z } from "zod";
import {
  addMeeting,
  changeMeeting,
  enterCar,
  listEntries,
  listMeetings,
  removeMeeting,
  readEntry,
} from "../../services/keep-meetings.ts";
import { readRecord } from "../../services/keep-records.ts";
import type { MeetingRow } from "../../storage/tables.ts";
import { exampleIds } from "../example-ids.ts";
import { operation } from "../operation.ts";
import {
  ById,
  Day,
  Id,
  Instant,
  Notes,
  PageQuery,
  pageFrom,
  pageOf,
  pageReply,
  text,
  Version,
} from "../schemas.ts";
import { Discipline } from "./car-models.ts";
import { SurfaceWord } from "./venues.ts";

const PlannedRuns = z
  .number()
  .int("must be a whole number of runs")
  .min(0, "must be at least 0")
  .max(100, "must be at most 100")
  .meta({ description: "runs that one car is expected to make, practice included", example: 6 });

const PracticeRuns = z
  .number()
  .int("must be a whole number of runs")
  .min(0, "must be at least 0")
  .max(100, "must be at most 100")
  .nullable()
  .meta({
    description:
      "how many of the runs planned are practice, which sets kept for practice take; null: not said, and counted as one in six where a set is kept",
    example: 1,
  });

const members = {
  startsOn: Day.meta({ description: "its first day, in the club's time zone" }),
  days: z.number().int().min(1, "must be at least 1").max(7, "must be at most 7").meta({
    description: "how many days it lasts",
    example: 1,
  }),
  venueId: Id.nullable().meta({ description: "where it is held, if the venue is in the catalogue" }),
  discipline: Discipline.nullable().meta({
    description: "cars of this discipline attend unless they say otherwise; null: every car does",
  }),
  plannedRuns: PlannedRuns,
  minutesPerRun: z.number().gt(0, "must be greater than 0").max(240, "must be at most 240").meta({
    description: "minutes under power in one run, the lap out and the last lap included",
    example: 5.5,
  }),
  notes: Notes,
};
const Meeting = z
  .object({
    id: Id,
    name: z.string().meta({ example: "Summer touring, round 1" }),
    ...members,
    practiceRuns: PracticeRuns,
    surface: SurfaceWord,
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Meeting", description: "a race event in the calendar" });
const meetingFromRow = (row: MeetingRow) => ({
  ...row,
  surface: row.surface as z.infer<typeof SurfaceWord>,
});

const surfaceGiven = SurfaceWord.optional().meta({ description: "that of the venue if not given" });
const MeetingGiven = z.strictObject({
  name: text(120),
  ...members,
  days: members.days.default(1),
  venueId: members.venueId.default(null),
  surface: surfaceGiven,
  discipline: members.discipline.default(null),
  // A club meeting is one practice, three heats and two finals of 5 minutes, and half a minute of laps out and in:
  // common practice, no source.
  plannedRuns: PlannedRuns.default(6),
  practiceRuns: PracticeRuns.default(null),
  minutesPerRun: members.minutesPerRun.default(5.5),
  notes: Notes.default(null),
});
const MeetingChanges = z
  .strictObject({ name: text(120), ...members, practiceRuns: PracticeRuns, surface: SurfaceWord })
  .partial();

const EntryGiven = z.strictObject({
  attends: z.boolean(),
  plannedRuns: PlannedRuns.nullable().default(null).meta({
    description: "runs that this car plans; null or left out: as many as the meeting plans",
  }),
});
const Entry = z
  .object({
    meetingId: Id,
    carId: Id,
    carName: z.string().meta({ example: "Blue Thornbill" }),
    driverId: Id,
    attends: z.boolean(),
    plannedRuns: PlannedRuns.meta({ description: "runs that are planned: 0 for a car that does not attend" }),
    stated: z.boolean().meta({
      description:
        "true where it was entered; false where it follows from the disciplines of meeting and car",
    }),
    version: z.number().int().nullable().meta({
      description: "counts what was stated; null where nothing was yet",
    }),
  })
  .meta({ id: "Entry", description: "what a car does at a meeting" });

export const meetingOperations = [
  operation({
    method: "post",
    path: "/v1/meetings",
    operationId: "addMeeting",
    summary: "Put a meeting into the calendar",
    description: "Forecasts and restock lists look ahead along the calendar: its runs are the usage to come.",
    tags: ["meetings"],
    need: "catalogue:write",
    record: "meetings",
    body: MeetingGiven,
    answers: { 201: { description: "The meeting.", body: Meeting } },
    problems: [404],
    example: {
      body: {
        name: "Summer touring, round 2",
        startsOn: "2027-02-28",
        venueId: exampleIds.venueId,
        discipline: "touring",
        plannedRuns: 6,
        practiceRuns: 1,
        minutesPerRun: 5.5,
      },
    },
  })(async ({ body }, work) => ({ status: 201, body: meetingFromRow(await addMeeting(work, body)) })),

  operation({
    method: "get",
    path: "/v1/meetings",
    operationId: "listMeetings",
    summary: "List meetings by the day they start",
    description: "In the order of their first days, the earliest first.",
    tags: ["meetings"],
    need: "catalogue:read",
    query: z.strictObject({
      from: Day.optional().meta({ description: "only meetings that start on this day or later" }),
      through: Day.optional().meta({ description: "only meetings that start on this day or earlier" }),
      discipline: Discipline.optional().meta({ description: "only meetings of this discipline" }),
      ...PageQuery,
    }),
    answers: { 200: { description: "A page of meetings.", body: pageOf(Meeting, "MeetingPage") } },
    example: { query: { from: "2027-01-01", through: "2027-06-30", discipline: "touring" } },
  })(async ({ query: { limit, after, ...only } }, work, c) =>
    pageReply(await listMeetings(work, pageFrom({ limit, after }), only), meetingFromRow, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/meetings/{id}",
    operationId: "getMeeting",
    summary: "Read a meeting",
    tags: ["meetings"],
    need: "catalogue:read",
    record: "meetings",
    params: ById,
    answers: { 200: { description: "The meeting.", body: Meeting } },
    problems: [404],
  })(async ({ params }, work) => ({
    status: 200,
    body: meetingFromRow(await readRecord(work, "meetings", "meeting", params.id)),
  })),

  operation({
    method: "patch",
    path: "/v1/meetings/{id}",
    operationId: "changeMeeting",
    summary: "Change a meeting: its day, its venue, its runs",
    description: "Members that are not given stay; another venue brings its surface along.",
    tags: ["meetings"],
    need: "catalogue:write",
    record: "meetings",
    concurrency: "required",
    params: ById,
    body: MeetingChanges,
    answers: { 200: { description: "The meeting as it is now.", body: Meeting } },
    problems: [404],
    example: { body: { startsOn: "2027-03-07", notes: "moved for rain" } },
  })(async ({ params, body }, work) => ({
    status: 200,
    body: meetingFromRow(await changeMeeting(work, params.id, body)),
  })),

  operation({
    method: "delete",
    path: "/v1/meetings/{id}",
    operationId: "removeMeeting",
    summary: "Take a meeting off the calendar",
    description: "Its entries go with it. A meeting at which runs were logged stays.",
    tags: ["meetings"],
    need: "catalogue:write",
    record: "meetings",
    concurrency: "required",
    params: ById,
    answers: { 204: { description: "It is gone." } },
    problems: [404, 409],
  })(async ({ params }, work) => {
    await removeMeeting(work, params.id);
    return { status: 204 };
  }),

  operation({
    method: "put",
    path: "/v1/meetings/{id}/entries/{carId}",
    operationId: "enterCar",
    summary: "State whether a car attends a meeting",
    description:
      "Without this a car attends where the meeting is of its model's discipline, or of none. A driver's key enters " +
      "its own cars. `If-None-Match: *` states it only where nothing was stated yet.",
    tags: ["meetings"],
    need: "log:write",
    record: "entries",
    params: z.object({ id: Id, carId: Id }),
    body: EntryGiven,
    answers: { 200: { description: "What the car does at the meeting.", body: Entry } },
    problems: [404],
    example: { body: { attends: true, plannedRuns: 4 } },
  })(async ({ params, body }, work) => ({
    status: 200,
    body: await enterCar(work, params.id, params.carId, body),
  })),

  operation({
    method: "get",
    path: "/v1/meetings/{id}/entries/{carId}",
    operationId: "getEntry",
    summary: "Read what one car does at a meeting",
    description:
      "Stated or not. What was stated has a version and its ETag, to be sent as If-Match with a change.",
    tags: ["meetings"],
    need: "log:read",
    record: "entries",
    params: z.object({ id: Id, carId: Id }),
    answers: { 200: { description: "What the car does at the meeting.", body: Entry } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await readEntry(work, params.id, params.carId) })),

  operation({
    method: "get",
    path: "/v1/meetings/{id}/entries",
    operationId: "listEntries",
    summary: "List what each car does at a meeting",
    description:
      "In the order in which the cars were added. Every car is listed, whether it was entered or not; for a driver's key, their own.",
    tags: ["meetings"],
    need: "log:read",
    params: ById,
    query: z.strictObject(PageQuery),
    answers: { 200: { description: "A page of cars at the meeting.", body: pageOf(Entry, "EntryPage") } },
    problems: [404],
  })(async ({ params, query }, work, c) =>
    pageReply(await listEntries(work, params.id, pageFrom(query)), (entry) => entry, c.req.url),
  ),
];
