import { createHash } from "node:crypto";
import { readFile, stat } from "node:fs/promises";
import { createServer, type IncomingMessage, type ServerResponse } from "node:http";
import type { AddressInfo } from "node:net";
import { loopback } from "./fill-shops.ts";

/** The web catalogue of the shop in town: a file, with an ETag and the time of its last change. */
async function answer(file: string, request: IncomingMessage, response: ServerResponse): Promise<void> {
  if (request.url !== "/catalogue.jsonld") {
    response.writeHead(404).end();
    return;
  }
  const [bytes, { mtime }] = await Promise.all([readFile(file), stat(file)]);
  const etag = `"${createHash("sha256").update(bytes).digest("base64url").slice(0, 16)}"`;
  const headers = { etag, "last-modified": mtime.toUTCString(), "content-type": "application/ld+json" };
  if (request.headers["if-none-match"] === etag) response.writeHead(304, headers).end();
  else response.writeHead(200, headers).end(bytes);
}

/**
 * Serves a file as a shop's web server would, on this machine alone. It does not keep the process alive.
 *
 * @returns the address of the catalogue
 */
export async function startShopSite(file: string): Promise<{ url: string; close: () => void }> {
  const server = createServer((request, response) => {
    answer(file, request, response).catch(() => response.writeHead(500).end());
  });
  server.unref();
  await new Promise<void>((resolve, reject) => {
    server.once("error", reject);
    server.listen(0, loopback, resolve);
  });
  const { port } = server.address() as AddressInfo;
  return { url: `http://${loopback}:${port}/catalogue.jsonld`, close: () => server.close() };
}
