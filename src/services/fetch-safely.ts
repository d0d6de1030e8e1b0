import { type LookupAddress, lookup } from "node:dns";
import http from "node:http";
import https from "node:https";
import { BlockList, isIP, type LookupFunction } from "node:net";
import { DomainError } from "../domain/errors.ts";
import { decoded, isCoding, type Spool, spoolBody, TooManyBytes } from "../storage/spool.ts";

/**
 * Fetches a list from an address that somebody typed in. What it must not become is a way into the network that the
 * service runs in: every address is checked when it is connected to, and again after each redirect.
 */
export interface FetchLimits {
  /** which addresses of one's own network may be asked: all (true), none (false), or these */
  allowPrivate: boolean | readonly string[];
  /** for all of it, redirects and body included, milliseconds */
  timeMs: number;
  /** after decompression */
  maxBytes: number;
}

/** What is known from the last time: an unchanged list is not sent again (RFC 9110, section 13.1). */
export interface Known {
  etag: string | null;
  lastModified: string | null;
}

export type Fetched =
  | { changed: false }
  | {
      changed: true;
      spool: Spool;
      contentType: string;
      etag: string | null;
      lastModified: string | null;
      url: URL;
    };

const mostRedirects = 5;

/** Ranges that are not the public internet: RFC 6890 with the registries of special-purpose addresses (IANA). */
const special = new BlockList();
for (const [net, bits] of [
  ["0.0.0.0", 8],
  ["10.0.0.0", 8],
  ["100.64.0.0", 10],
  ["127.0.0.0", 8],
  ["169.254.0.0", 16],
  ["172.16.0.0", 12],
  ["192.0.0.0", 24],
  ["192.0.2.0", 24],
  ["192.88.99.0", 24],
  ["192.168.0.0", 16],
  ["198.18.0.0", 15],
  ["198.51.100.0", 24],
  ["203.0.113.0", 24],
  ["224.0.0.0", 4],
  ["240.0.0.0", 4],
] as const)
  special.addSubnet(net, bits, "ipv4");
for (const [net, bits] of [
  ["2001::", 23],
  ["2001:db8::", 32],
  ["2002::", 16],
  ["3fff::", 20],
] as const)
  special.addSubnet(net, bits, "ipv6");
/** Global unicast (RFC 4291, section 2.4); what lies outside is loopback, link-local, mapped, private or multicast. */
const global6 = new BlockList();
global6.addSubnet("2000::", 3, "ipv6");

/** Is it an address of the public internet? */
export function isPublicAddress(address: string): boolean {
  const family = isIP(address);
  if (family === 4) return !special.check(address, "ipv4");
  return family === 6 && global6.check(address, "ipv6") && !special.check(address, "ipv6");
}

type Allowed = FetchLimits["allowPrivate"];
const mayAsk = (address: string, allowed: Allowed): boolean =>
  isPublicAddress(address) || (typeof allowed === "boolean" ? allowed : allowed.includes(address));

const failed = (detail: string) => new DomainError("pull_failed", detail);
const notPublic = (host: string, address: string) =>
  failed(
    `${host} is at ${address}, which is no address of the public internet; lists are fetched from there only unless PULL_ALLOW_PRIVATE names it`,
  );

/** Looks names up as Node does, refuses what is not public, and connects to what was checked and to nothing else. */
const checkedLookup =
  (allowed: Allowed): LookupFunction =>
  (host, options, answer) => {
    lookup(host, { ...options, all: true }, (error, addresses: LookupAddress[]) => {
      if (error !== null) return answer(error, []);
      const strange = addresses.find(({ address }) => !mayAsk(address, allowed));
      const [first] = addresses;
      if (strange !== undefined) answer(notPublic(host, strange.address), []);
      else if (first === undefined) answer(failed(`${host} has no address`), []);
      else if (options.all === true) answer(null, addresses);
      else answer(null, first.address, first.family);
    });
  };

/** @throws {DomainError} `pull_failed` where the address is none that may be asked */
function requireAskable(url: URL, allowed: Allowed): void {
  if (url.protocol !== "http:" && url.protocol !== "https:")
    throw failed(`${url.protocol}// is not fetched; give an address with https:// or http://`);
  if (url.username !== "" || url.password !== "")
    throw failed("An address with a user name or a password in it is not fetched");
  // Names are checked when they are looked up; numbers never are looked up.
  const host = url.hostname.replace(/^\[|\]$/g, "");
  if (isIP(host) !== 0 && !mayAsk(host, allowed)) throw notPublic(url.host, host);
}

function ask(url: URL, headers: http.OutgoingHttpHeaders, limits: FetchLimits, signal: AbortSignal) {
  const { request } = url.protocol === "https:" ? https : http;
  return new Promise<http.IncomingMessage>((resolve, reject) => {
    request(
      url,
      // A connection of its own: one that is kept could lead to where another check was passed.
      { headers, signal, agent: false, lookup: checkedLookup(limits.allowPrivate), maxHeaderSize: 16_384 },
      resolve,
    )
      .on("error", reject)
      .end();
  });
}

const headerOf = (answer: http.IncomingMessage, name: "etag" | "last-modified" | "content-type") =>
  answer.headers[name] ?? null;

async function follow(url: URL, known: Known, limits: FetchLimits, signal: AbortSignal): Promise<Fetched> {
  const headers: http.OutgoingHttpHeaders = {
    accept: "text/csv, application/ld+json, application/json;q=0.9, text/plain;q=0.5",
    "accept-encoding": "gzip, br, deflate",
    "user-agent": "wear-and-spares",
    ...(known.etag !== null && { "if-none-match": known.etag }),
    ...(known.etag === null && known.lastModified !== null && { "if-modified-since": known.lastModified }),
  };
  let at = url;
  for (let redirects = 0; ; redirects++) {
    requireAskable(at, limits.allowPrivate);
    const answer = await ask(at, headers, limits, signal);
    const status = answer.statusCode ?? 0;
    const { location } = answer.headers;
    if ([301, 302, 303, 307, 308].includes(status) && location !== undefined) {
      answer.destroy();
      if (redirects === mostRedirects)
        throw failed(`${url.host} redirects more than ${mostRedirects} times, the last time to ${location}`);
      if (!URL.canParse(location, at.href))
        throw failed(`${at.host} redirects to ${location}, which is no address`);
      at = new URL(location, at);
      continue;
    }
    if (status === 304) {
      answer.destroy();
      return { changed: false };
    }
    if (status !== 200) {
      answer.destroy();
      throw failed(`${at.host} answers ${status} and not 200`);
    }
    const length = Number(answer.headers["content-length"] ?? 0);
    const coding = (answer.headers["content-encoding"] ?? "identity").trim().toLowerCase();
    if (!isCoding(coding)) {
      answer.destroy();
      throw failed(`${at.host} sends the coding ${coding}, which is not read`);
    }
    try {
      if (length > limits.maxBytes) throw new TooManyBytes(limits.maxBytes);
      const spool = await spoolBody(decoded(answer, coding), limits.maxBytes);
      const etag = headerOf(answer, "etag");
      const lastModified = headerOf(answer, "last-modified");
      const contentType = headerOf(answer, "content-type") ?? "";
      return { changed: true, spool, contentType, etag, lastModified, url: at };
    } finally {
      answer.destroy();
    }
  }
}

/**
 * Fetches a list, or learns that it has not changed.
 *
 * @throws {DomainError} `pull_failed`, saying why
 */
export async function fetchSafely(url: string, known: Known, limits: FetchLimits): Promise<Fetched> {
  const signal = AbortSignal.timeout(limits.timeMs);
  const { host } = new URL(url);
  try {
    return await follow(new URL(url), known, limits, signal);
  } catch (error) {
    if (error instanceof DomainError) throw error;
    if (signal.aborted) throw failed(`${host} did not send the list within ${limits.timeMs / 1000} seconds`);
    if (error instanceof TooManyBytes)
      throw failed(
        `${host} sends more than ${limits.maxBytes / 2 ** 20} MiB (counted after decompression), which no list has`,
      );
    const { code, message } = error as NodeJS.ErrnoException;
    throw failed(
      `The list could not be fetched from ${host}: ${code === undefined ? message : `${code}, ${message}`}`,
    );
  }
}
