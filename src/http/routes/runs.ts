import { z } from "zod";
import { surfaces } from "../../domain/kind.ts";
import { conditionWords } from "../../domain/piece.ts";
import { changeRun, deleteRun, logMeeting, logRun, readRun, runFromRow } from "../../services/log-runs.ts";
import { listRuns } from "../../services/list-runs.ts";
import { exampleIds } from "../example-ids.ts";
import { operation } from "../operation.ts";
import {
  ById,
  Id,
  Instant,
  InstantIn,
  Notes,
  PageQuery,
  pageFrom,
  pageOf,
  pageReply,
  queryFlag,
  Version,
} from "../schemas.ts";

const runFields = {
  minutes: z.number().min(0).max(600).meta({
    description: "time under power, minutes; 0 only where a knock was counted or a pack is named",
    example: 5.5,
  }),
  surface: z.enum(surfaces),
  conditions: z.array(z.enum(conditionWords)).max(7),
  packId: Id.nullable().meta({ description: "the pack that was used: a piece of a pack's kind" }),
  knocks: z.number().int().min(0).max(100).meta({ description: "hits hard enough to look after" }),
  meetingId: Id.nullable(),
  notes: Notes,
};
const Run = z.object({ id: Id, carId: Id, at: Instant, ...runFields, version: Version }).meta({ id: "Run" });
const surfaceGiven = runFields.surface.nullable().meta({ description: "null: the meeting's" });
const RunGiven = z.strictObject({
  carId: Id,
  at: InstantIn,
  minutes: runFields.minutes,
  surface: surfaceGiven.default(null),
  conditions: runFields.conditions.default([]),
  packId: runFields.packId.default(null),
  knocks: runFields.knocks.default(0),
  meetingId: runFields.meetingId.default(null),
  notes: Notes.default(null),
});
const RunChanges = z.strictObject({ carId: Id, at: InstantIn, ...runFields }).partial();

export const runOperations = [
  operation({
    method: "post",
    path: "/v1/runs",
    operationId: "logRun",
    summary: "Log one outing of a car",
    description: "The usage of everything fitted then, and of the pack named, follows from it.",
    tags: ["runs"],
    need: "log:write",
    record: "runs",
    body: RunGiven,
    answers: { 201: { description: "The run.", body: Run } },
    problems: [404, 409],
    example: {
      body: {
        carId: exampleIds.carId,
        at: "2026-11-29T10:20:00+11:00",
        minutes: 5.5,
        surface: "asphalt",
        packId: exampleIds.packId,
        knocks: 1,
      },
    },
  })(async ({ body }, work) => ({ status: 201, body: await logRun(work, body) })),

  operation({
    method: "post",
    path: "/v1/meetings/{id}/runs",
    operationId: "logMeeting",
    summary: "Log the runs of a whole meeting in one call",
    description: "For one car or several; all of them are kept, or none.",
    tags: ["runs"],
    need: "log:write",
    params: ById,
    body: z.strictObject({
      runs: z
        .array(RunGiven.omit({ meetingId: true }))
        .min(1)
        .max(2000),
    }),
    answers: {
      201: { description: "The runs.", body: z.object({ runs: z.array(Run) }).meta({ id: "LoggedMeeting" }) },
    },
    problems: [404, 409],
    example: {
      body: {
        runs: [
          { carId: exampleIds.carId, at: "2026-11-29T11:00:00+11:00", minutes: 6 },
          {
            carId: exampleIds.carId,
            at: "2026-11-29T12:10:00+11:00",
            minutes: 5.5,
            knocks: 2,
            conditions: ["hot"],
          },
        ],
      },
    },
  })(async ({ params, body }, work) => ({
    status: 201,
    body: { runs: await logMeeting(work, params.id, body.runs) },
  })),

  operation({
    method: "get",
    path: "/v1/runs",
    operationId: "listRuns",
    summary: "List runs",
    description: "In the order of their times, the oldest first unless `newestFirst` is true.",
    tags: ["runs"],
    need: "log:read",
    query: z.strictObject({
      ...PageQuery,
      carId: Id.optional(),
      meetingId: Id.optional(),
      newestFirst: queryFlag("true for the newest first"),
    }),
    answers: { 200: { description: "A page of runs in the order of time.", body: pageOf(Run, "RunPage") } },
    problems: [404],
    example: { query: { limit: "10", newestFirst: "true" } },
  })(async ({ query }, work, c) => {
    const { carId, meetingId, newestFirst = false } = query;
    const page = { ...pageFrom(query), descending: newestFirst };
    return pageReply(await listRuns(work, page, { carId, meetingId }), runFromRow, c.req.url);
  }),

  operation({
    method: "get",
    path: "/v1/runs/{id}",
    operationId: "getRun",
    summary: "Read a run",
    tags: ["runs"],
    need: "log:read",
    record: "runs",
    params: ById,
    answers: { 200: { description: "The run.", body: Run } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await readRun(work, params.id) })),

  operation({
    method: "patch",
    path: "/v1/runs/{id}",
    operationId: "changeRun",
    summary: "Correct a run that was logged wrongly",
    tags: ["runs"],
    need: "log:write",
    record: "runs",
    params: ById,
    body: RunChanges,
    answers: { 200: { description: "The run as it is now.", body: Run } },
    problems: [404, 409],
    example: { body: { minutes: 6, knocks: 0 } },
  })(async ({ params, body }, work) => ({ status: 200, body: await changeRun(work, params.id, body) })),

  operation({
    method: "delete",
    path: "/v1/runs/{id}",
    operationId: "deleteRun",
    summary: "Delete a run that never happened",
    tags: ["runs"],
    need: "log:write",
    record: "runs",
    params: ById,
    answers: { 204: { description: "The run is gone, and its usage with it." } },
    problems: [404],
  })(async ({ params }, work) => {
    await deleteRun(work, params.id);
    return { status: 204 };
  }),
];
