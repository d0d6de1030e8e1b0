import { z } from "zod";
import {
  answerReservation,
  askReservation,
  listReservations,
  readReservation,
  withdrawReservation,
} from "../../services/keep-reservations.ts";
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
  Version,
} from "../schemas.ts";

const state = z
  .enum(["asked", "confirmed", "refused", "withdrawn"])
  .meta({ description: "asked: the shop has not answered yet" });
const pieces = z.number().int().min(1, "must be at least 1").max(10_000).meta({
  description: "pieces to hold",
  example: 2,
});
const Reservation = z
  .object({
    id: Id,
    shopId: Id,
    shopName: z.string(),
    lineId: Id,
    sku: z.string(),
    lineName: z.string(),
    driverId: Id,
    driverName: z.string(),
    pieces,
    forDay: Day.meta({ description: "the day that they are wanted for" }),
    meetingId: Id.nullable(),
    meetingName: z.string().nullable(),
    notes: Notes,
    state,
    answer: z.string().nullable().meta({ description: "what the shop says to it" }),
    answeredAt: Instant.nullable(),
    createdAt: Instant,
    version: Version,
    sentence: z.string(),
  })
  .meta({ id: "Reservation", description: "pieces that a driver asked a shop to hold" });
const body = Reservation;

export const reservationOperations = [
  operation({
    method: "post",
    path: "/v1/reservations",
    operationId: "askReservation",
    summary: "Ask a shop to hold pieces for a day or a meeting",
    description:
      "The shop sees the driver's name, the line, the pieces and the day, and nothing of the log. It confirms or refuses.",
    tags: ["shops"],
    need: "stock:write",
    record: "reservations",
    body: z.strictObject({
      shopId: Id,
      lineId: Id,
      pieces,
      forDay: Day.optional().meta({ description: "the day; or give a meeting" }),
      meetingId: Id.optional().meta({ description: "the meeting; or give a day" }),
      driverId: Id.optional().meta({ description: "who asks; the key's own driver if not given" }),
      notes: Notes.default(null),
    }),
    answers: { 201: { description: "The reservation, not answered yet.", body } },
    problems: [404, 409],
    example: {
      body: {
        shopId: exampleIds.shopId,
        lineId: exampleIds.lineId,
        pieces: 2,
        meetingId: exampleIds.meetingId,
        driverId: exampleIds.driverId,
        notes: "I pay at the counter",
      },
    },
  })(async ({ body }, work) => ({ status: 201, body: await askReservation(work, body) })),

  operation({
    method: "get",
    path: "/v1/reservations",
    operationId: "listReservations",
    summary: "List reservations, the latest day first",
    description:
      "In the order of the days they are for, the latest first. A driver sees their own, a shop those that shops were asked for.",
    tags: ["shops"],
    need: "stock:read",
    query: z.strictObject({
      shopId: Id.optional().meta({ description: "only those of this shop" }),
      state: state.optional().meta({ description: "only those in this state" }),
      ...PageQuery,
    }),
    answers: {
      200: { description: "A page of reservations.", body: pageOf(Reservation, "ReservationPage") },
    },
    problems: [404],
    example: { query: { state: "asked" } },
  })(async ({ query: { limit, after, ...only } }, work, c) =>
    pageReply(await listReservations(work, pageFrom({ limit, after }), only), (row) => row, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/reservations/{id}",
    operationId: "getReservation",
    summary: "Read a reservation and what the shop said",
    tags: ["shops"],
    need: "stock:read",
    record: "reservations",
    params: ById,
    answers: { 200: { description: "The reservation.", body } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await readReservation(work, params.id) })),

  operation({
    method: "put",
    path: "/v1/reservations/{id}/answer",
    operationId: "answerReservation",
    summary: "Confirm or refuse a reservation",
    description: "For the shop. A later answer replaces an earlier one, until the driver withdraws.",
    tags: ["shops"],
    need: "stock:write",
    record: "reservations",
    params: ById,
    body: z.strictObject({
      confirmed: z.boolean().meta({ description: "true: they are held; false: they are not" }),
      notes: Notes.default(null),
    }),
    answers: { 200: { description: "The reservation as it is now.", body } },
    problems: [404, 409],
    example: { body: { confirmed: true, notes: "under the counter until Sunday noon" } },
  })(async ({ params, body }, work) => ({
    status: 200,
    body: await answerReservation(work, params.id, body),
  })),

  operation({
    method: "put",
    path: "/v1/reservations/{id}/withdrawal",
    operationId: "withdrawReservation",
    summary: "Withdraw a reservation",
    description: "For the driver who asked. It stays on the list as withdrawn.",
    tags: ["shops"],
    need: "stock:write",
    record: "reservations",
    params: ById,
    answers: { 200: { description: "The reservation as it is now.", body } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await withdrawReservation(work, params.id) })),
];
