import { createHash } from "node:crypto";
import type { Context } from "hono";
import { DomainError } from "../domain/errors.ts";
import { together, type Work } from "../services/work.ts";
import type { Queries } from "../storage/database.ts";
import { allRecords, selectVersion } from "../storage/records.ts";
import { plainTag } from "./compression.ts";
import type { Spec } from "./operation.ts";
import { FormError } from "./problem.ts";

/** A record with a version, which a client reads and sends changes of. */
interface Guard {
  what: string;
  /** where one is read; null where it is only read within something else */
  path: string | null;
  /** what is shown changes without the record: names of other records, what is fitted, what came of an order */
  showsMore?: true;
  /** the id of a record that the path names otherwise; undefined where there is none yet, and a PUT makes it */
  idOf?: (q: Queries, clubId: string, params: Record<string, string>) => Promise<string | undefined>;
}

/**
 * Conditional requests (RFC 9110, section 13) for every record with a version. An operation names its record in
 * `record`, says in `concurrency` whether a change must name a version, and the rest follows.
 */
export const guards = {
  clubs: { what: "club", path: "/v1/club" },
  drivers: { what: "driver", path: "/v1/drivers/{id}" },
  kinds: { what: "kind", path: "/v1/kinds/{id}" },
  carModels: { what: "car model", path: "/v1/car-models/{id}" },
  venues: { what: "venue", path: "/v1/venues/{id}" },
  suppliers: { what: "supplier", path: "/v1/suppliers/{id}" },
  lines: { what: "line", path: "/v1/lines/{id}", showsMore: true },
  cars: { what: "car", path: "/v1/cars/{id}", showsMore: true },
  pieces: { what: "piece", path: "/v1/pieces/{id}", showsMore: true },
  fittings: { what: "fitting", path: null },
  runs: { what: "run", path: "/v1/runs/{id}" },
  inspections: { what: "inspection", path: "/v1/inspections/{id}" },
  meetings: { what: "meeting", path: "/v1/meetings/{id}" },
  locations: { what: "location", path: "/v1/locations/{id}" },
  shops: { what: "shop", path: "/v1/shops/{id}", showsMore: true },
  reservations: { what: "reservation", path: "/v1/reservations/{id}", showsMore: true },
  orders: { what: "order", path: "/v1/orders/{id}", showsMore: true },
  entries: {
    what: "entry",
    path: "/v1/meetings/{id}/entries/{carId}",
    showsMore: true,
    idOf: async (q, clubId, { id = "", carId = "" }) =>
      (await allRecords(q, "entries", clubId, { meetingId: id, carId }))[0]?.id,
  },
  shopMatches: {
    what: "match",
    path: "/v1/shops/{id}/matches/{shopSku}",
    showsMore: true,
    idOf: async (q, clubId, { id = "", shopSku = "" }) =>
      (await allRecords(q, "shopMatches", clubId, { shopId: id, shopSku }))[0]?.id,
  },
} as const satisfies Record<string, Guard>;
export type GuardedRecord = keyof typeof guards;

const guardOf = (record: GuardedRecord): Guard => guards[record];

/** Does the operation change a record that `If-Match` can guard? */
export const isGuarded = ({ method, record }: Pick<Spec, "method" | "record">): boolean =>
  record !== undefined && method !== "get" && method !== "post";

/** May the change be asked for only where nothing is there yet, by `If-None-Match: *`? */
export const mayMake = (spec: Pick<Spec, "method" | "record">): boolean =>
  isGuarded(spec) && spec.method === "put" && guardOf(spec.record!).idOf !== undefined;

export const requiresIfMatch = (spec: Pick<Spec, "method" | "record" | "concurrency">): boolean =>
  isGuarded(spec) && spec.concurrency === "required";

/**
 * The entity tag and, for what was made, the place of an answer. The tag is the record's version; where more is shown
 * than the record, a digest of all of it follows after a point, so that a cache notices that too.
 */
export function headersOfRecord(
  spec: Spec,
  status: number,
  body: unknown,
  text: string,
): Record<string, string> {
  if (spec.record === undefined || body === null || typeof body !== "object") return {};
  const { id, version } = body as { id?: unknown; version?: unknown };
  if (typeof version !== "number") return {};
  const { path, showsMore } = guardOf(spec.record);
  const digest = showsMore && spec.method === "get" ? `.${digestOf(text)}` : "";
  const location = status === 201 && path !== null && typeof id === "string";
  return {
    etag: `"${version}${digest}"`,
    ...(location && { location: path.replace("{id}", encodeURIComponent(id)) }),
  };
}

const digestOf = (text: string) => createHash("sha256").update(text).digest("base64url").slice(0, 12);

/** The tags that a condition lists, each as sent; RFC 9110, section 8.8.3. */
function tagsIn(header: string, name: string): string[] {
  const tags = header.match(/(?:W\/)?"[\x21\x23-\x7e\x80-\xff]*"/g) ?? [];
  const rest = header.replaceAll(/(?:W\/)?"[\x21\x23-\x7e\x80-\xff]*"/g, "").replaceAll(/[\s,]/g, "");
  if (tags.length === 0 || rest !== "")
    throw new FormError("invalid_header", `${name} must be * or ETags as they were sent, such as "7"`);
  return tags;
}

/**
 * The tag under which the client has what it would be sent, compressed or not; undefined where it has not. Weak
 * comparison (RFC 9110, section 13.1.2). The 304 names the tag that was sent, so that a cache knows which of its answers
 * still holds (RFC 9111, section 4.3.4).
 */
export function knownTag(c: Context, etag: string | undefined): string | undefined {
  const header = c.req.header("if-none-match");
  if (header === undefined || etag === undefined) return undefined;
  if (header.trim() === "*") return etag;
  const bare = (tag: string) => tag.replace(/^W\//, "");
  const known = tagsIn(header, "If-None-Match")
    .map(bare)
    .find((tag) => plainTag(tag) === bare(etag));
  return known === bare(etag) ? etag : known;
}

/** The version that a tag speaks of; a weak tag speaks of none, for the comparison is strong (section 13.1.1). */
const versionIn = (tag: string) => /^"(\d+)(?:\.[\w-]+)?"$/.exec(plainTag(tag))?.[1];

/**
 * Makes a change only if the record still is as the client saw it. The version is read in the transaction of the
 * change, so that of two changes that rest on the same version one is refused.
 *
 * @throws {FormError} `if_match_needed` (428)
 * @throws {DomainError} `stale_version` (412)
 */
export async function ifUnchanged<T>(
  spec: Spec,
  c: Context,
  params: unknown,
  work: Work,
  act: (work: Work) => Promise<T>,
): Promise<T> {
  const header = c.req.header("if-match");
  if (!isGuarded(spec)) return act(work);
  const record = spec.record!;
  const { what, path, idOf } = guardOf(record);
  const mustBeNew = idOf !== undefined && c.req.header("if-none-match")?.trim() === "*";
  if (header === undefined && !mustBeNew && !requiresIfMatch(spec)) return act(work);
  const tags = header === undefined || header.trim() === "*" ? [] : tagsIn(header, "If-Match");
  return together(work, async (work) => {
    const { clubId } = work.actor;
    const id =
      idOf !== undefined
        ? await idOf(work.db, clubId, params as Record<string, string>)
        : record === "clubs"
          ? clubId
          : (params as { id: string }).id;
    const version = id === undefined ? undefined : await selectVersion(work.db, record, clubId, id);
    // What is not there cannot be stale; the change itself says so best. Where a PUT would make it, nothing matches.
    if (version === undefined && (idOf === undefined || header === undefined)) return act(work);
    if (header === undefined && !mustBeNew)
      throw new FormError(
        "if_match_needed",
        `Several people edit the same ${what}: read it (GET ${path}) and send its ETag as If-Match`,
      );
    const named = header?.trim() === "*" || tags.some((tag) => versionIn(tag) === String(version));
    if (version !== undefined && !mustBeNew && named) return act(work);
    // What a client may not touch is refused before any condition is looked at (section 13.2.1). Nothing is kept.
    await act(work).catch((error: unknown) => {
      if (error instanceof DomainError && ["not_allowed", "not_found"].includes(error.code)) throw error;
    });
    throw new DomainError(
      "stale_version",
      version === undefined
        ? `There is no such ${what} yet, and If-Match says ${header}: leave it out to make one`
        : mustBeNew
          ? `This ${what} is there already, at version ${version}, and If-None-Match says *: read it, and send its ETag as If-Match to change it`
          : `This ${what} is at version ${version} by now, and If-Match says ${header}: read it again, and make the change to that`,
    );
  });
}
