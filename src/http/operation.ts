import type { Context, Hono } from "hono";
import { z } from "zod";
import type { Actor, Need, Reach } from "../domain/access.ts";
import type { Work } from "../services/work.ts";
import { travelling } from "./compression.ts";
import { type GuardedRecord, headersOfRecord, ifUnchanged, knownTag } from "./conditional.ts";
import { formFault, unknownMember } from "./form-fault.ts";
import { jsonBody } from "./json-body.ts";
import { FormError } from "./problem.ts";
import { answerOnce } from "./retries.ts";
import { withPlaces } from "./unknown-id.ts";

/** What the key check leaves for the handlers: who asks, and how far the role reaches for this operation. */
export interface AppEnv {
  Variables: { actor: Actor; reach: Reach; requestId: string };
}

export interface Answer<B extends z.ZodType | undefined = z.ZodType | undefined> {
  description: string;
  body?: B;
  /** media type, if not JSON; the handler then sends text */
  type?: string;
  /** other media types that can be asked for, each with an example */
  others?: Record<string, unknown>;
  headers?: Record<string, { description: string }>;
  example?: unknown;
}

export interface Spec {
  method: "get" | "put" | "post" | "patch" | "delete";
  /** OpenAPI form: /v1/cars/{id} */
  path: string;
  operationId: string;
  summary: string;
  description?: string;
  tags: [string];
  /** what a key must be allowed; null for the few public operations */
  need: Need | null;
  /**
   * the record that is answered or changed: its answers carry an ETag, changes of it heed If-Match, and what was made
   * is named by Location
   */
  record?: GuardedRecord;
  /** its answer carries an ETag of its own, without a record behind it: If-None-Match is heeded */
  tagged?: true;
  /** must a change say which version it rests on (If-Match)? So it is with what several people edit; optional elsewhere */
  concurrency?: "required" | "optional";
  params?: z.ZodObject;
  query?: z.ZodObject;
  body?: z.ZodType;
  /** doing it twice does no harm, and it asks others: it takes no Idempotency-Key, for that would hold a transaction */
  harmlessTwice?: true;
  /** its answer holds a secret that is not to be kept: it takes an Idempotency-Key, and makes the same answer again itself */
  repeatable?: true;
  /** media types of a body that the handler reads as a stream by itself */
  streamedBody?: Record<string, { description: string; example: string }>;
  answers: Record<number, Answer>;
  /** statuses of problems beside 401, 403, 422 and 500, which every operation with a need has */
  problems?: number[];
  /** a request that is shown in the description and sent by the tests */
  example?: { params?: Record<string, string>; query?: Record<string, string>; body?: unknown };
}

type Out<S> = S extends z.ZodType ? z.output<S> : undefined;

export interface Input<S extends Spec> {
  params: Out<S["params"]>;
  query: Out<S["query"]>;
  body: Out<S["body"]>;
}

type Reply<S extends Spec> = {
  [K in keyof S["answers"]]: { status: K; headers?: Record<string, string> } & (S["answers"][K] extends {
    type: string;
  }
    ? { body: string | ReadableStream<Uint8Array> }
    : S["answers"][K] extends { body: infer B extends z.ZodType }
      ? { body: z.input<B> }
      : { body?: undefined });
}[keyof S["answers"]];

type Handler<S extends Spec> = (
  input: Input<S>,
  work: Work,
  c: Context<AppEnv>,
) => Reply<S> | Promise<Reply<S>>;

export interface Operation {
  spec: Spec;
  handle: (c: Context<AppEnv>, workFor: (c: Context<AppEnv>) => Work) => Promise<Response>;
}

const pointerTo = (path: readonly PropertyKey[]) =>
  `#/${path.map((part) => String(part).replaceAll("~", "~0").replaceAll("/", "~1")).join("/")}`;

/** Checks one part of a request, naming each failing member by a JSON pointer. */
function check<T>(part: string, schema: z.ZodType<T> | undefined, value: unknown): T {
  if (schema === undefined) return undefined as T;
  const result = schema.safeParse(value, { error: formFault });
  if (result.success) return result.data;
  const errors = result.error.issues.flatMap((issue) =>
    issue.code === "unrecognized_keys"
      ? issue.keys.map((key) => ({
          pointer: pointerTo([...issue.path, key]),
          detail: unknownMember(
            key,
            issue.path.length === 0 && schema instanceof z.ZodObject ? Object.keys(schema.shape) : [],
          ),
        }))
      : [{ pointer: pointerTo(issue.path), detail: issue.message }],
  );
  const first = errors[0]!;
  throw new FormError("invalid_request", `In the ${part}: ${first.pointer} ${first.detail}`, errors);
}

/** Query members that are repeated would lose all but the first; say so instead. */
function queryOf(c: Context): Record<string, string> {
  const repeated = Object.entries(c.req.queries()).find(([, values]) => values.length > 1);
  if (repeated !== undefined)
    throw new FormError("invalid_request", `In the query: ${repeated[0]} is given more than once`, [
      { pointer: `#/${repeated[0]}`, detail: "given more than once" },
    ]);
  return c.req.query();
}

/** An answer before it becomes a response. */
export interface Ready {
  status: number;
  headers: Record<string, string>;
  body: string | ReadableStream<Uint8Array> | null;
}

/** A reply whose type was checked where the handler was written; the generic type says no more here. */
interface Unchecked {
  status: number;
  body?: unknown;
  headers?: Record<string, string>;
}

/** Makes a handler's reply an answer. Parsing it strips undeclared members, so that nothing internal leaks. */
function ready(spec: Spec, { status, body, headers = {} }: Unchecked): Ready {
  const shape: Answer | undefined = spec.answers[status];
  if (shape?.type !== undefined)
    return { status, headers: { "content-type": shape.type, ...headers }, body: body as Ready["body"] };
  if (shape?.body === undefined) return { status, headers, body: null };
  const shown = shape.body.parse(body);
  const text = JSON.stringify(shown);
  const ofRecord = headersOfRecord(spec, status, shown, text);
  return { status, headers: { "content-type": "application/json", ...ofRecord, ...headers }, body: text };
}

/**
 * Ties a description to its handler: one set of schemas validates, documents and types the operation. The call is
 * curried because TypeScript would otherwise widen `status: 200` in the handler to `number`.
 */
export const operation =
  <const S extends Spec>(spec: S) =>
  (handler: Handler<S>): Operation => ({
    spec,
    async handle(c, workFor) {
      const input = {
        params: check("path", spec.params, c.req.param()),
        query: spec.query && check("query", spec.query, queryOf(c)),
        body: spec.body && check("body", spec.body, await jsonBody(c)),
      } as Input<S>;
      const act = async (work: Work) => {
        try {
          return ready(spec, (await handler(input, work, c)) as Unchecked);
        } catch (error) {
          throw withPlaces(error, input);
        }
      };
      const guarded = (work: Work) => ifUnchanged(spec, c, input.params, work, act);
      const answer = await answerOnce(spec, c, input, workFor(c), guarded);
      const known = spec.method === "get" ? knownTag(c, answer.headers["etag"]) : undefined;
      if (known !== undefined) return c.body(null, 304, { etag: known });
      const { status, headers, body } = await travelling(answer, c.req.header("accept-encoding"));
      return c.body(body as string, status as 200, headers);
    },
  });

/** Adds the operations to the app in the order given: a fixed path goes before one with a parameter. */
export function mount(
  app: Hono<AppEnv>,
  operations: readonly Operation[],
  workFor: (c: Context<AppEnv>) => Work,
  admit: (c: Context<AppEnv>, need: Need | null) => Promise<void>,
): void {
  for (const o of operations)
    app.on(o.spec.method.toUpperCase(), o.spec.path.replaceAll(/\{(\w+)\}/g, ":$1"), async (c) => {
      await admit(c, o.spec.need);
      return o.handle(c, workFor);
    });
}
