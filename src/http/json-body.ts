import type { Context } from "hono";
import { FormError } from "./problem.ts";

/** The largest JSON body that is read: a meeting of 2000 runs has about 400 kB. Imports have a limit of their own. */
export const maxJsonBytes = 2 ** 20;

const tooLarge = () =>
  new FormError(
    "too_large",
    `A JSON body may have at most ${maxJsonBytes / 2 ** 20} MiB; send it in parts, or use an import`,
    [],
    // The rest of the body is not read, so that the connection cannot be used again.
    { connection: "close" },
  );

/** Reads a body of unknown length, and stops at the limit. */
async function limitedText(body: ReadableStream<Uint8Array>): Promise<string> {
  const chunks: Uint8Array[] = [];
  let bytes = 0;
  for await (const chunk of body as unknown as AsyncIterable<Uint8Array>) {
    bytes += chunk.byteLength;
    if (bytes > maxJsonBytes) throw tooLarge();
    chunks.push(chunk);
  }
  return new TextDecoder().decode(Buffer.concat(chunks));
}

/**
 * The JSON body of a request.
 *
 * @throws {FormError} `unsupported_media_type` (415), `too_large` (413) or `not_json` (400)
 */
export async function jsonBody(c: Context): Promise<unknown> {
  const type = c.req.header("content-type") ?? "";
  if (!/^application\/(?:[\w.-]+\+)?json\s*(?:;|$)/i.test(type))
    throw new FormError("unsupported_media_type", "Send the body as application/json");
  const length = c.req.header("content-length");
  if (Number(length ?? 0) > maxJsonBytes) throw tooLarge();
  try {
    // A stated length is kept to by the server itself; only a body without one has to be counted, which is dearer.
    if (length !== undefined) return await c.req.json();
    const { body } = c.req.raw;
    return JSON.parse(body === null ? "" : await limitedText(body)) as unknown;
  } catch (error) {
    if (error instanceof SyntaxError)
      throw new FormError("not_json", `The body could not be read as JSON: ${error.message}`);
    throw error;
  }
}
