import { createHash } from "node:crypto";
import type { Context } from "hono";
import { DomainError } from "../domain/errors.ts";
import { together, type Work } from "../services/work.ts";
import {
  deleteKeptAnswers,
  insertKeptAnswer,
  type KeptFor,
  selectKeptAnswer,
} from "../storage/kept-answers.ts";
import type { Ready, Spec } from "./operation.ts";
import { FormError, problemFor } from "./problem.ts";

/**
 * Requests that are safe to send again after a lost answer, by draft-ietf-httpapi-idempotency-key-header: the first
 * answer is kept in the transaction of what the request did, and a repeat gets it again. Read from the draft: the
 * syntax, 422 for another payload, 409 while the first is running. Ours to decide, and decided here: the scope (key
 * holder, method, path), the expiry, and that a refusal of the form of a request (400, 413, 415, 422 of the schemas)
 * is not kept, because nothing was begun and the same request is refused the same way again.
 */
export const keptHours = 24;

/** Every POST that writes takes a key, but for those that read their body as a stream: imports know repeats by content. */
export const takesIdempotencyKey = ({ method, need, streamedBody, harmlessTwice }: Spec): boolean =>
  method === "post" &&
  need?.endsWith(":write") === true &&
  streamedBody === undefined &&
  harmlessTwice !== true;

/** Requests that are running in this process now. A second process waits for the write lock, and then finds the answer. */
const running = new Set<string>();

/** The Idempotency-Key of a request whose handler heeds it itself. @throws {FormError} `invalid_header` */
export const idempotencyKeyOf = (c: Context): string | undefined => keyIn(c.req.header("idempotency-key"));

export const keyReused = (): FormError =>
  new FormError(
    "key_reused",
    "This Idempotency-Key was sent before with another request; a new request needs a new key",
  );

/** The key in the header: a string of RFC 8941 in double quotes, or the same characters without them. */
function keyIn(header: string | undefined): string | undefined {
  if (header === undefined) return undefined;
  const key = /^\s*(?:"([\x20\x21\x23-\x5b\x5d-\x7e]{1,255})"|([\w.:~-]{1,255}))\s*$/.exec(header);
  if (key === null)
    throw new FormError(
      "invalid_header",
      'Idempotency-Key must be a string in double quotes of at most 255 printable characters, such as "8e03978e-40d5-43dd-bc93-6894a57f9324"',
    );
  return key[1] ?? key[2];
}

const fingerprintOf = (query: unknown, body: unknown) =>
  createHash("sha256")
    .update(JSON.stringify([query ?? null, body ?? null]))
    .digest("base64url");

/**
 * Answers a request, or repeats the answer that the same request got before.
 *
 * @param input the request as it was understood: a repeat may be spelt with other spaces
 * @throws {FormError} `invalid_header` (400), `request_running` (409) or `key_reused` (422)
 */
export async function answerOnce(
  spec: Spec,
  c: Context,
  input: { query: unknown; body: unknown },
  work: Work,
  act: (work: Work) => Promise<Ready>,
): Promise<Ready> {
  const idempotencyKey = takesIdempotencyKey(spec) ? keyIn(c.req.header("idempotency-key")) : undefined;
  if (idempotencyKey === undefined) return act(work);
  const { keyId, clubId } = work.actor;
  const kept: KeptFor = { keyId, method: "POST", path: c.req.path, idempotencyKey };
  const fingerprint = fingerprintOf(input.query, input.body);
  const sweep = (work: Work) =>
    deleteKeptAnswers(work.db, new Date(Date.parse(work.now()) - keptHours * 3_600_000).toISOString());
  const keep = ({ status, headers, body }: Ready, work: Work) =>
    insertKeptAnswer(work.db, {
      ...kept,
      id: work.newId(),
      clubId,
      fingerprint,
      status,
      headers: JSON.stringify(headers),
      body: body as string | null,
      answeredAt: work.now(),
    });
  const name = JSON.stringify(kept);
  if (running.has(name))
    throw new FormError(
      "request_running",
      "The first request with this Idempotency-Key is still running",
      [],
      {
        "retry-after": "1",
      },
    );
  running.add(name);
  try {
    return await together(work, async (work) => {
      await sweep(work);
      const found = await selectKeptAnswer(work.db, kept);
      if (found === undefined) {
        const answer = await act(work);
        await keep(answer, work);
        return answer;
      }
      if (found.fingerprint !== fingerprint) throw keyReused();
      return { status: found.status, headers: JSON.parse(found.headers), body: found.body };
    });
  } catch (error) {
    // What a rule refused left nothing behind, so that its answer is kept on its own. Our own faults are not kept.
    if (!(error instanceof DomainError)) throw error;
    const answer = problemFor(error, c.req.path)!;
    await together(work, async (work) => {
      await sweep(work);
      if ((await selectKeptAnswer(work.db, kept)) === undefined) await keep(answer, work);
    });
    return answer;
  } finally {
    running.delete(name);
  }
}
