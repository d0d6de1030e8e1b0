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
};

/** Refusals of the form of a request, before any rule of the trade is asked. */
const formProblems = {
  invalid_request: { status: 422, title: "The request is not valid" },
  invalid_header: { status: 400, title: "A header of the request is not valid" },
  not_json: { status: 400, title: "The body is not JSON" },
  unsupported_media_type: { status: 415, title: "The body has an unsupported media type" },
  if_match_needed: { status: 428, title: "Say which version you saw" },
  too_large: { status: 413, title: "The body is too large" },
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

function answer(
  c: Context,
  status: number,
  members: Partial<z.infer<typeof Problem>>,
  headers: Record<string, string> = {},
): Response {
  const body = { title: STATUS_CODES[status] ?? "Error", status, instance: c.req.path, ...members };
  return c.body(JSON.stringify({ type: "about:blank", ...body }), status as 400, {
    "content-type": "application/problem+json",
    ...headers,
  });
}

/** Writes the answer to anything thrown. What is neither ours nor Hono's is logged and told to nobody. */
export function problemAnswer(error: Error, c: Context, log: (error: Error) => void): Response {
  if (error instanceof FormError) {
    const { status, title } = formProblems[error.code];
    const errors = error.errors.length > 0 ? { errors: error.errors } : {};
    return answer(
      c,
      status,
      { type: `/problems/${error.code}`, title, detail: error.message, ...errors },
      error.headers,
    );
  }
  if (error instanceof DomainError) {
    const errors = error.faults.length > 0 ? { errors: [...error.faults] } : {};
    const type = `/problems/${error.code}`;
    return answer(c, statusOf[error.code], {
      type,
      title: refusals[error.code],
      detail: error.message,
      ...errors,
    });
  }
  if (error instanceof HTTPException) return answer(c, error.status, { detail: error.message });
  log(error);
  return answer(c, 500, { title: "Internal error" });
}
