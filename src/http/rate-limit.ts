/** What a key may still ask, as the headers say it. */
export interface Allowance {
  allowed: boolean;
  /** requests left at once */
  remaining: number;
  /** whole seconds until the full number is left again */
  resetSeconds: number;
  /** whole seconds until the next request is taken; 0 where one is taken now */
  retrySeconds: number;
}

const windowSeconds = 60;

/**
 * A token bucket for each key: it holds as many requests as a minute allows, and fills up evenly. Buckets are in
 * memory: they are as many as there are keys, and a restart fills them.
 */
export class RateLimit {
  readonly perMinute: number;
  readonly #buckets = new Map<string, { tokens: number; at: number }>();

  /** @throws {RangeError} where `perMinute` is not a whole number of at least 1 */
  constructor(perMinute: number) {
    if (!Number.isSafeInteger(perMinute) || perMinute < 1)
      throw new RangeError(
        `RateLimit requires a whole number of requests of at least 1, but got ${perMinute}`,
      );
    this.perMinute = perMinute;
  }

  /** Takes one request of a key, if there is one left. `nowMs` may stand still or go back: nothing fills up then. */
  take(keyId: string, nowMs: number): Allowance {
    const perSecond = this.perMinute / windowSeconds;
    const bucket = this.#buckets.get(keyId) ?? { tokens: this.perMinute, at: nowMs };
    const elapsed = Math.max(0, nowMs - bucket.at) / 1000;
    const tokens = Math.min(this.perMinute, bucket.tokens + elapsed * perSecond);
    // A hair of rounding must not hold back a request whose time has come.
    const allowed = tokens >= 1 - 1e-9;
    const left = allowed ? Math.max(0, tokens - 1) : tokens;
    this.#buckets.set(keyId, { tokens: left, at: Math.max(bucket.at, nowMs) });
    return {
      allowed,
      remaining: Math.floor(left),
      resetSeconds: Math.ceil((this.perMinute - left) / perSecond - 1e-9),
      retrySeconds: allowed ? 0 : Math.ceil((1 - left) / perSecond - 1e-9),
    };
  }

  /** The headers of draft-ietf-httpapi-ratelimit-headers: the policy, and what is left of it. */
  headers({ remaining, resetSeconds }: Allowance): Record<string, string> {
    return {
      "ratelimit-policy": `"default";q=${this.perMinute};w=${windowSeconds}`,
      ratelimit: `"default";r=${remaining};t=${resetSeconds}`,
    };
  }
}
