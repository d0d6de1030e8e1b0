import { createHash } from "node:crypto";
import { createReadStream } from "node:fs";
import { type FileHandle, mkdtemp, open, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import path from "node:path";
import { pipeline } from "node:stream";
import zlib from "node:zlib";

/**
 * A body that came from outside, kept in a file until it is read: nobody's slow line holds the database, and a list of
 * any length takes the same memory.
 */
export interface Spool {
  bytes: number;
  /** SHA-256 of the bytes, base64url */
  digest: string;
  read: () => AsyncIterable<Uint8Array>;
  remove: () => Promise<void>;
}

/** Each write goes through another thread: a list is a few of them, and not one for each chunk. */
const writtenAtOnce = 2 ** 20;

/** Bytes of chunks that may lie about before the collector is called. */
const bytesUncollected = 2 ** 23;

/**
 * Has V8 look for buffers that nobody holds any more. Their bytes lie outside its heap, and it looks for them only when
 * its young space fills, which hashing and writing a body never does, or when one more buffer is made while those not
 * looked at come to 32 MiB. This one makes up that number; its memory is never touched, and so never there.
 */
const letCollect = (): number => new ArrayBuffer(2 ** 25).byteLength;

/** In one piece, where the system takes it so: between pieces this thread would have to be free. */
async function writeAll(handle: FileHandle, bytes: Uint8Array): Promise<void> {
  for (let at = 0; at < bytes.byteLength; ) at += (await handle.write(bytes, at)).bytesWritten;
}

/** A body that is larger than it may be, counted after decompression. */
export class TooManyBytes extends Error {
  readonly most: number;
  constructor(most: number) {
    super(`more than ${most} bytes`);
    this.most = most;
  }
}

/**
 * Writes a body into a file of its own.
 *
 * @throws {TooManyBytes} as soon as the limit is passed; what was written is removed
 */
export async function spoolBody(body: AsyncIterable<Uint8Array>, most: number): Promise<Spool> {
  const folder = await mkdtemp(path.join(tmpdir(), "list-"));
  const file = path.join(folder, "body");
  const remove = () => rm(folder, { recursive: true, force: true });
  try {
    const hash = createHash("sha256");
    const handle = await open(file, "wx", 0o600);
    let bytes = 0;
    let uncollected = 0;
    // Chunks are copied, so that none is held: one that outlives two collections is garbage for a long time.
    let filling = Buffer.allocUnsafeSlow(writtenAtOnce);
    let other: typeof filling | null = null;
    let filled = 0;
    // What came is written by another thread while what comes next is hashed by this one.
    let writing: Promise<unknown> = Promise.resolve();
    const flush = async () => {
      await writing;
      if (filled === 0) return;
      writing = writeAll(handle, filling.subarray(0, filled));
      // A fault of this write is thrown where it is awaited next; until then nobody listens.
      writing.catch(() => {});
      [filling, other] = [other ?? Buffer.allocUnsafeSlow(writtenAtOnce), filling];
      filled = 0;
    };
    try {
      for await (const chunk of body) {
        bytes += chunk.byteLength;
        if (bytes > most) throw new TooManyBytes(most);
        hash.update(chunk);
        for (let from = 0; from < chunk.byteLength; ) {
          const some = chunk.subarray(from, from + writtenAtOnce - filled);
          filling.set(some, filled);
          filled += some.byteLength;
          from += some.byteLength;
          if (filled === writtenAtOnce) await flush();
        }
        uncollected += chunk.byteLength;
        if (uncollected >= bytesUncollected) {
          letCollect();
          uncollected = 0;
        }
      }
      await flush();
      await writing;
    } finally {
      await writing.catch(() => {});
      await handle.close();
    }
    return { bytes, digest: hash.digest("base64url"), read: () => createReadStream(file), remove };
  } catch (error) {
    await remove();
    throw error;
  }
}

const decoders = {
  gzip: () => zlib.createGunzip(),
  "x-gzip": () => zlib.createGunzip(),
  deflate: () => zlib.createInflate(),
  br: () => zlib.createBrotliDecompress(),
} as const;
export type Coding = keyof typeof decoders | "identity";
export const isCoding = (name: string): name is Coding =>
  name === "identity" || Object.hasOwn(decoders, name);

/** A body without its content coding (RFC 9110, section 8.4.1), a chunk at a time: what is not read is not inflated. */
export function decoded(body: AsyncIterable<Uint8Array>, coding: Coding): AsyncIterable<Uint8Array> {
  if (coding === "identity") return body;
  const decoder = decoders[coding]();
  // Errors of either side come out of the loop that reads the decoder; one that comes after nobody reads any more is nobody's.
  pipeline(body, decoder, () => {});
  decoder.on("error", () => {});
  return decoder;
}
