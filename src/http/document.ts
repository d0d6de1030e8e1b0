import { z } from "zod";
import { createDocument, type ZodOpenApiOperationObject, type ZodOpenApiResponseObject } from "zod-openapi";
import exampleAnswers from "./example-answers.json" with { type: "json" };
import { exampleParams } from "./example-ids.ts";
import { wordsFor } from "./field-words.ts";
import { guards, isGuarded, mayMake, requiresIfMatch } from "./conditional.ts";
import type { Answer, Operation, Spec } from "./operation.ts";
import { Problem, problemList } from "./problem.ts";
import { keptHours, takesIdempotencyKey } from "./retries.ts";
import { tags } from "./tags.ts";

const problemType = "application/problem+json";
/** Each of them can come from any operation that needs a key: no key, a key that may not, a bad request, our fault. */
const commonProblems = [401, 403, 422, 429, 500];
/** And from any that takes JSON: what was sent could not be read, or was announced as something else. */
const bodyProblems = [400, 413, 415];

/** Is its answer 304 to who has it already? */
const knowsEtag = (spec: Spec) =>
  spec.method === "get" && (spec.record !== undefined || spec.tagged === true);

const problemsOf = (spec: Spec): number[] => {
  const { need, body, problems = [] } = spec;
  const all = new Set([
    ...(need === null ? [500] : commonProblems),
    ...(body === undefined ? [] : bodyProblems),
    ...(spec.record === undefined && spec.tagged !== true ? [] : [400]),
    ...(takesIdempotencyKey(spec) ? [400, 409] : spec.repeatable === true ? [400] : []),
    ...(isGuarded(spec) ? [412] : []),
    ...(requiresIfMatch(spec) ? [428] : []),
    ...problems,
  ]);
  return [...all].sort();
};

/** Headers that a request may carry, beside the key: each follows from what the operation is. */
function requestHeaders(spec: Spec): z.ZodObject | undefined {
  const members: Record<string, z.ZodType> = {};
  if (isGuarded(spec)) {
    const tag = z.string().meta({
      description:
        "the ETag that the record was read with: the change is made only if the record is still at that version",
      example: '"7"',
    });
    members["If-Match"] = requiresIfMatch(spec) ? tag : tag.optional();
  }
  if (mayMake(spec))
    members["If-None-Match"] = z.string().optional().meta({
      description: "`*`: the change is made only where nothing is stated yet; 412 if something is",
      example: "*",
    });
  if (knowsEtag(spec))
    members["If-None-Match"] = z.string().optional().meta({
      description: "an ETag that is known already: if it still holds, the answer is 304 with no body",
    });
  if (takesIdempotencyKey(spec) || spec.repeatable === true)
    members["Idempotency-Key"] = z
      .string()
      .optional()
      .meta({
        description:
          "a string of your own, new for each new request: after a lost answer send the request again with the same one, and it is done once; the first answer is given again " +
          (spec.repeatable === true ? "for as long as what it made is there" : `for ${keptHours} hours`),
        example: '"8e03978e-40d5-43dd-bc93-6894a57f9324"',
      });
  return Object.keys(members).length === 0 ? undefined : z.object(members);
}

const hasVersion = (body: unknown) => body instanceof z.ZodObject && "version" in body.shape;

/** Headers that an answer carries by itself. */
function ownHeaders({ record, tagged }: Spec, status: string, body: unknown) {
  if (tagged === true && status === "200")
    return { etag: { description: "changes with what is said: send it back as If-None-Match" } };
  if (record === undefined || !hasVersion(body)) return {};
  const made = status === "201" && guards[record].path !== null;
  return {
    etag: {
      description:
        "the record's version as a strong entity tag (RFC 9110), with `+gzip` where the answer is compressed: send it back as If-Match",
    },
    ...(made && { location: { description: "where the record is read" } }),
  };
}

const notModified: Answer = {
  description: "Nothing has changed since the ETag that was sent.",
  headers: { etag: { description: "the one that was sent" } },
};
const answersOf = (spec: Spec): [status: string, answer: Answer][] =>
  Object.entries({
    ...spec.answers,
    ...(knowsEtag(spec) && { 304: notModified }),
  }).map(([status, one]) => [
    status,
    { ...one, headers: { ...ownHeaders(spec, status, one.body), ...one.headers } },
  ]);

const pageHeaders = {
  link: { description: 'the next page, rel="next" (RFC 8288); absent on the last one' },
};
const isPage = (body: unknown) =>
  body instanceof z.ZodObject && "items" in body.shape && "next" in body.shape;

/** The other media types of an answer, typed by their examples. */
function alsoAs(others: Record<string, unknown>) {
  const typeOf = (value: unknown) =>
    Array.isArray(value) ? "array" : typeof value === "string" ? "string" : "object";
  return Object.fromEntries(
    Object.entries(others).map(([other, example]) => {
      const type = typeOf(example);
      return [other, { schema: { type, ...(type === "array" && { items: {} }) } as const, example }];
    }),
  );
}

function answerObject({
  description,
  body,
  type = "application/json",
  headers,
  example,
  others = {},
}: Answer): ZodOpenApiResponseObject {
  const shown = example === undefined ? {} : { example };
  return {
    description,
    ...((Object.keys(headers ?? {}).length > 0 || isPage(body)) && {
      headers: Object.fromEntries(
        Object.entries({ ...headers, ...(isPage(body) && pageHeaders) }).map(([name, header]) => [
          name,
          { ...header, schema: { type: "string" as const } },
        ]),
      ),
    }),
    ...(body && {
      content: {
        [type]: { schema: body, ...shown },
        ...alsoAs(others),
      },
    }),
    ...(!body &&
      type !== "application/json" && {
        content: { [type]: { schema: { type: "string" as const }, ...shown }, ...alsoAs(others) },
      }),
  };
}

/** What the example of an operation was answered, kept by the test that sends it. */
const answered: Record<string, { status: number; body?: unknown }> = exampleAnswers;

const withAnswer = (operationId: string, status: string, one: Answer): Answer => {
  const kept = answered[operationId];
  return one.example !== undefined ||
    kept === undefined ||
    String(kept.status) !== status ||
    kept.body === undefined
    ? one
    : { ...one, example: kept.body };
};

const withExamples = (schema: z.ZodObject | undefined, values: Record<string, string> | undefined) =>
  schema === undefined || values === undefined
    ? schema
    : schema.extend(
        Object.fromEntries(
          Object.entries(schema.shape)
            .filter(([name]) => values[name] !== undefined)
            .map(([name, member]) => [
              name,
              (member as z.ZodType).meta({
                ...(member as z.ZodType).meta(),
                id: undefined,
                example: values[name],
              }),
            ]),
        ),
      );

function operationObject(spec: Spec): ZodOpenApiOperationObject {
  const {
    operationId,
    summary,
    description,
    tags: group,
    need,
    params,
    query,
    body,
    streamedBody,
    example,
  } = spec;
  const bodyContent =
    body !== undefined
      ? {
          "application/json": {
            schema: body,
            ...(example?.body === undefined ? {} : { example: example.body }),
          },
        }
      : Object.fromEntries(
          Object.entries(streamedBody ?? {}).map(([type, one]) => [
            type,
            { schema: { type: "string" as const, description: one.description }, example: one.example },
          ]),
        );
  const path = withExamples(params, exampleParams(spec));
  const asked = withExamples(query, example?.query);
  const header = requestHeaders(spec);
  return {
    operationId,
    summary,
    ...(description === undefined ? {} : { description }),
    tags: group,
    security: need === null ? [] : [{ key: [] }],
    "x-need": need ?? "none",
    requestParams: { ...(path && { path }), ...(asked && { query: asked }), ...(header && { header }) },
    ...(Object.keys(bodyContent).length > 0 && { requestBody: { required: true, content: bodyContent } }),
    responses: {
      ...Object.fromEntries(
        answersOf(spec).map(([status, one]) => [status, answerObject(withAnswer(operationId, status, one))]),
      ),
      ...Object.fromEntries(
        problemsOf(spec).map((status) => [status, { $ref: `#/components/responses/Problem${status}` }]),
      ),
    },
  };
}

/**
 * Numbers and booleans of the query arrive as text: the rules of that text have no meaning for the number that is
 * described, and the example becomes one.
 */
function describeParameter(schema: Record<string, unknown>): void {
  if (!["integer", "number", "boolean"].includes(schema["type"] as string)) return;
  delete schema["pattern"];
  delete schema["enum"];
  if (typeof schema["example"] === "string") schema["example"] = JSON.parse(schema["example"]);
}

/** Calls `mend` on every object below a value, the schemas among them. */
function walk(value: unknown, mend: (object: Record<string, unknown>) => void): void {
  if (typeof value !== "object" || value === null) return;
  if (!Array.isArray(value)) mend(value as Record<string, unknown>);
  for (const member of Object.values(value)) walk(member, mend);
}

/**
 * A reference with a description of its own keeps the rule "and nothing else" of the object it was made from, where
 * no property is listed beside it: together they would allow nothing at all.
 */
function mendReference(schema: Record<string, unknown>): void {
  if ("$ref" in schema) delete schema["additionalProperties"];
}

type Shape = Record<string, unknown>;
const isShape = (value: unknown): value is Shape =>
  typeof value === "object" && value !== null && !Array.isArray(value);
const listOf = (value: unknown): unknown[] => (Array.isArray(value) ? value : []);

const takesNull = (schema: Shape): boolean =>
  [schema["type"]].flat().includes("null") ||
  ["anyOf", "oneOf"].some((key) => listOf(schema[key]).some((one) => isShape(one) && takesNull(one)));

/** Gives a description to every field below a schema that has none of its own; `place` is the way there. */
function describeFields(schema: unknown, place: readonly string[]): void {
  if (!isShape(schema)) return;
  for (const [name, member] of Object.entries(isShape(schema["properties"]) ? schema["properties"] : {})) {
    if (!isShape(member)) continue;
    const words = wordsFor([...place, name], takesNull(member));
    if (words !== undefined) member["description"] ??= words;
    describeFields(member, [...place, name]);
  }
  for (const key of ["items", "additionalProperties"]) describeFields(schema[key], place);
  for (const key of ["anyOf", "oneOf", "allOf"])
    for (const alternative of listOf(schema[key])) describeFields(alternative, place);
}

/** The same for the parameters, the body and the answers of an operation. */
function describeOperation(operation: Shape): void {
  const place = [operation["operationId"] as string];
  for (const parameter of listOf(operation["parameters"]) as Shape[]) {
    const schema = parameter["schema"] as Shape | undefined;
    const words = wordsFor([...place, parameter["name"] as string], false);
    if (schema?.["description"] === undefined && words !== undefined) parameter["description"] ??= words;
  }
  const bodies = [operation["requestBody"], ...Object.values((operation["responses"] ?? {}) as Shape)];
  for (const body of bodies)
    if (isShape(body) && isShape(body["content"]))
      for (const media of Object.values(body["content"])) describeFields((media as Shape)["schema"], place);
}

/** A response that many operations share: every code that has this status, and one of them as the example. */
function problemObject(status: number): ZodOpenApiResponseObject {
  const listed = problemList.filter((problem) => problem.status === status);
  const [first] = listed;
  return answerObject({
    description: listed.map(({ code, title }) => `\`${code}\`: ${title}`).join("; ") || "Internal error",
    body: Problem,
    type: problemType,
    example:
      first === undefined
        ? { type: "about:blank", title: "Internal error", status }
        : { type: `/problems/${first.code}`, title: first.title, status },
    ...(status === 429 && {
      headers: {
        "retry-after": { description: "seconds until a request is taken again" },
        "ratelimit-policy": {
          description: 'requests (q) in a time of w seconds, such as `"default";q=6000;w=60`',
        },
        ratelimit: {
          description: 'requests left (r), and seconds until all are (t), such as `"default";r=0;t=60`',
        },
      },
    }),
    ...(status === 401 && {
      headers: { "www-authenticate": { description: "how to send a key (RFC 6750, section 3)" } },
    }),
  });
}

/** The OpenAPI 3.1 description of the operations: written to openapi/openapi.json and served at /openapi.json. */
export function openApiDocument(operations: readonly Operation[], version: string) {
  const paths: Record<string, Record<string, ZodOpenApiOperationObject>> = {};
  for (const { spec } of operations) {
    const item = paths[spec.path] ?? {};
    item[spec.method] = operationObject(spec);
    paths[spec.path] = item;
  }
  const grouped = new Set<string>(operations.map(({ spec }) => spec.tags[0]));
  const statuses = [...new Set(operations.flatMap(({ spec }) => problemsOf(spec)))].sort();
  const document = createDocument(
    {
      openapi: "3.1.1",
      info: {
        title: "Wear & Spares",
        version,
        description:
          "Log what happened to the cars, and get back what is wearing out, when, and what to order. " +
          "Every operation under /v1 needs a key: `Authorization: Bearer KEY`. Errors are problem details (RFC 9457). " +
          "Lists come in pages: follow `next`, or the Link header (RFC 8288). Forecasts are ranges, and say what they rest on.",
      },
      servers: [{ url: "/", description: "the service that this description came from" }],
      tags: tags.filter(({ name }) => grouped.has(name)),
      paths,
      components: {
        responses: Object.fromEntries(statuses.map((status) => [`Problem${status}`, problemObject(status)])),
        securitySchemes: {
          key: { type: "http", scheme: "bearer", description: "a key made by `npm run -s key`" },
        },
      },
    },
    {
      override: ({ zodSchema, jsonSchema }) => {
        const { def } = zodSchema._zod;
        // Clients must tolerate new members in answers.
        if (def.type === "object" && !("catchall" in def && def.catchall))
          delete jsonSchema.additionalProperties;
        // The format says it; the pattern would be a line of 200 characters.
        if (jsonSchema.format === "date-time" || jsonSchema.format === "date") delete jsonSchema.pattern;
        if (jsonSchema.maximum === Number.MAX_SAFE_INTEGER) delete jsonSchema.maximum;
        if (jsonSchema.minimum === Number.MIN_SAFE_INTEGER) delete jsonSchema.minimum;
      },
    },
  );
  for (const item of Object.values(document.paths ?? {}))
    for (const { parameters = [] } of Object.values(item) as { parameters?: { schema?: object }[] }[])
      for (const { schema } of parameters)
        if (schema !== undefined) describeParameter(schema as Record<string, unknown>);
  for (const item of Object.values(document.paths ?? {}))
    for (const operation of Object.values(item)) if (isShape(operation)) describeOperation(operation);
  for (const [name, schema] of Object.entries(document.components?.schemas ?? {}))
    describeFields(schema, [name]);
  walk(document.paths, mendReference);
  walk(document.components?.schemas, mendReference);
  return document;
}
