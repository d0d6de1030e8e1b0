import { STATUS_CODES } from "node:http";
import type { Context } from "hono";
import { HTTPException } from "hono/http-exception";
import { z } from "zod";
import { DomainError, type RefusalCode, refusals } from "../domain/errors.ts";

/** The status of each refusal: the only place where a rule of the trade meets a number of HTTP (RFC 9110). */
const statusOf: Record<RefusalCode, number> = {
  not_found: 404,
  not_allowed: 403,
  name_taken: 409,
  in_use: 409,
  stale_version: 412,
  position_occupied: 409,
  position_empty: 409,
  piece_fitted: 409,
  piece_not_fitted: 409,
  piece_retired: 409,
  wrong_kind: 409,
  out_of_order: 409,
  inconsistent: 422,
  stock_short: 409,
  reading_questioned: 409,
  unit_unknown: 422,
  nothing_to_forecast: 409,
  already_undone: 409,
  order_closed: 409,
  import_refused: 422,
  reservation_over: 409,
  pull_failed: 502,
  withheld: 409,
};

/** Refusals of the form of a request, before any rule of the trade is asked. */
const formProblems = {
  invalid_request: { status: 422, title: "The request is not valid" },
  invalid_header: { status: 400, title: "A header of the request is not valid" },
  not_json: { status: 400, title: "The body is not JSON" },
  unsupported_media_type: { status: 415, title: "The body has an unsupported media type" },
  if_match_needed: { status: 428, title: "Say which version you saw" },
  request_running: { status: 409, title: "The same request is still running" },
  key_reused: { status: 422, title: "The Idempotency-Key belongs to another request" },
  too_large: { status: 413, title: "The body is too large" },
  too_many_requests: { status: 429, title: "This key asks too often" },
  no_key: { status: 401, title: "A key is needed" },
  unknown_key: { status: 401, title: "The key is not known" },
  no_such_path: { status: 404, title: "There is nothing at this path" },
  method_not_allowed: { status: 405, title: "This path does not take that method" },
} as const;
type FormCode = keyof typeof formProblems;

export const Problem = z
  .object({
    type: z.string().meta({
      description: "URI reference of the problem's sort; its last part is the error code",
      example: "/problems/stock_short",
    }),
    title: z.string().meta({ description: "the sort of problem, the same each time" }),
    status: z.number().int().meta({ description: "repeats the HTTP status" }),
    detail: z.string().optional().meta({ description: "what is wrong this time, and what to change" }),
    instance: z.string().optional().meta({ description: "the path that was asked" }),
    errors: z
      .array(
        z.object({
          pointer: z
            .string()
            .meta({ description: "the offending member: a JSON pointer (RFC 6901) after #" }),
          detail: z.string(),
        }),
      )
      .optional()
      .meta({ description: "one entry for each offending member" }),
  })
  .meta({ id: "Problem", description: "Problem details of RFC 9457" });

/** A request whose form is wrong. */
export class FormError extends Error {
  readonly code: FormCode;
  readonly errors: { pointer: string; detail: string }[];
  readonly headers: Record<string, string>;
  constructor(
    code: FormCode,
    detail: string,
    errors: { pointer: string; detail: string }[] = [],
    headers: Record<string, string> = {},
  ) {
    super(detail);
    this.code = code;
    this.errors = errors;
    this.headers = headers;
  }
}

/** Every code with its title and status: the list that the documentation shows. */
export const problemList = [
  ...Object.entries(formProblems).map(([code, { status, title }]) => ({
    code,
    status,
    title: title as string,
  })),
  ...Object.entries(refusals).map(([code, title]) => ({
    code,
    status: statusOf[code as RefusalCode],
    title: title as string,
  })),
];

/** A problem ready to be sent: what it is, and where it was met. */
export interface ProblemAnswer {
  status: number;
  headers: Record<string, string>;
  body: string;
}

const problem = (
  status: number,
  instance: string,
  members: Partial<z.infer<typeof Problem>>,
  headers: Record<string, string> = {},
): ProblemAnswer => ({
  status,
  headers: { "content-type": "application/problem+json", ...headers },
  body: JSON.stringify({
    type: "about:blank",
    title: STATUS_CODES[status] ?? "Error",
    status,
    instance,
    ...members,
  }),
});

/** The problem that something thrown means, or null where it is neither ours nor Hono's. */
export function problemFor(error: Error, instance: string): ProblemAnswer | null {
  if (error instanceof FormError) {
    const { status, title } = formProblems[error.code];
    const errors = error.errors.length > 0 ? { errors: error.errors } : {};
    const members = { type: `/problems/${error.code}`, title, detail: error.message, ...errors };
    return problem(status, instance, members, error.headers);
  }
  if (error instanceof DomainError) {
    const errors = error.faults.length > 0 ? { errors: [...error.faults] } : {};
    const type = `/problems/${error.code}`;
    const title = refusals[error.code];
    return problem(statusOf[error.code], instance, { type, title, detail: error.message, ...errors });
  }
  return error instanceof HTTPException ? problem(error.status, instance, { detail: error.message }) : null;
}

/** Writes the answer to anything thrown. What is neither ours nor Hono's is logged and told to nobody. */
export function problemAnswer(error: Error, c: Context, log: (error: Error) => void): Response {
  const known = problemFor(error, c.req.path);
  if (known === null) log(error);
  const { status, headers, body } = known ?? problem(500, c.req.path, { title: "Internal error" });
  return c.body(body, status as 400, headers);
}
