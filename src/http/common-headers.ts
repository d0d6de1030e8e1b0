import type { MiddlewareHandler } from "hono";
import type { AppEnv } from "./operation.ts";

/** What a page from another origin may read of an answer beside its body. */
const exposed = "ETag, Link, Location, RateLimit, RateLimit-Policy, Retry-After, Idempotency-Key";
const methods = "GET, HEAD, POST, PUT, PATCH, DELETE";
/** What a page from another origin may send. */
const sent = "Authorization, Content-Encoding, Content-Type, Idempotency-Key, If-Match, If-None-Match";
/** Browsers ask again after this time whether a request is allowed. */
const preflightSeconds = "600";

/**
 * The headers that every answer carries, and leave for pages of other origins to use the API (CORS, by the Fetch
 * standard). No credentials are allowed: a key is sent by the page itself, never by the browser, so that no page can
 * use somebody else's.
 *
 * Written by hand because the ready-made middlewares touch the request or the response before there is an answer,
 * which makes the server build both in full for every request (docs/decisions/cost-of-conventions.md).
 *
 * @param origins such as https://club.example, or * for any
 */
export function commonHeaders(origins: readonly string[]): MiddlewareHandler<AppEnv> {
  const allowed = new Set(origins);
  const vary = `Authorization, Accept-Encoding${allowed.size > 0 ? ", Origin" : ""}`;
  const pages = (origin: string | undefined) =>
    origin !== undefined && (allowed.has("*") || allowed.has(origin)) ? origin : undefined;
  return async (c, next) => {
    const api = c.req.path.startsWith("/v1/");
    const origin = api && allowed.size > 0 ? pages(c.req.header("origin")) : undefined;
    if (origin !== undefined && c.req.method === "OPTIONS" && c.req.header("access-control-request-method"))
      return c.body(null, 204, {
        "access-control-allow-origin": origin,
        "access-control-allow-methods": methods,
        "access-control-allow-headers": sent,
        "access-control-max-age": preflightSeconds,
        vary,
      });
    await next();
    const { headers } = c.res;
    headers.set("x-content-type-options", "nosniff");
    headers.set("referrer-policy", "no-referrer");
    if (!api) return undefined;
    headers.set("vary", vary);
    // Answers belong to the holder of a key; a browser may keep them, and asks each time whether they still hold.
    if (!headers.has("cache-control")) headers.set("cache-control", "private, no-cache");
    if (!headers.has("content-security-policy"))
      headers.set("content-security-policy", "default-src 'none'; frame-ancestors 'none'");
    if (origin === undefined) return undefined;
    headers.set("access-control-allow-origin", origin);
    headers.set("access-control-expose-headers", exposed);
    return undefined;
  };
}
