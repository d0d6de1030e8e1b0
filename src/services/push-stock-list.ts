import { DomainError } from "../domain/errors.ts";
import { type Coding, decoded, isCoding, spoolBody, type Spool, TooManyBytes } from "../storage/spool.ts";
import { getShop } from "./keep-shops.ts";
import { maxListBytes, refusedList } from "./read-stock-list.ts";
import { type Arrival, type ListResult, noteFailure, takeStockList } from "./take-stock-list.ts";
import type { Work } from "./work.ts";

/** A list that somebody sends. */
export interface Pushed extends Omit<Arrival, "way"> {
  body: AsyncIterable<Uint8Array>;
  /** content coding, as sent */
  coding: string;
  /** bytes announced, before decompression; null where none were */
  length: number | null;
}

/** Counts what comes, and notices where less came than was announced. */
async function* counted(body: AsyncIterable<Uint8Array>, length: number | null): AsyncGenerator<Uint8Array> {
  let bytes = 0;
  try {
    for await (const chunk of body) {
      bytes += chunk.byteLength;
      yield chunk;
    }
  } catch {
    throw refusedList(`The list broke off after ${bytes} bytes; send it again`);
  }
  if (length !== null && bytes !== length)
    throw refusedList(`The list broke off: ${length} bytes were announced and ${bytes} came; send it again`);
}

async function spooled({ body, coding, length }: Pushed & { coding: Coding }): Promise<Spool> {
  try {
    return await spoolBody(decoded(counted(body, length), coding), maxListBytes);
  } catch (error) {
    if (error instanceof DomainError || error instanceof TooManyBytes || coding === "identity") throw error;
    throw refusedList(
      `The list could not be decompressed as ${coding} (${(error as Error).message}): was it cut off?`,
    );
  }
}

/**
 * Takes a list that a shop sends.
 *
 * @returns what became of it, or why it was not even read
 * @throws {DomainError} `not_found`, or `import_refused`; the reason is kept, and the last good list counts on
 */
export async function pushStockList(
  work: Work,
  id: string,
  pushed: Pushed,
): Promise<ListResult | "too-large" | "unknown-coding"> {
  const shop = await getShop(work, id);
  const { coding } = pushed;
  if (!isCoding(coding)) return "unknown-coding";
  let spool: Spool;
  try {
    spool = await spooled({ ...pushed, coding });
  } catch (error) {
    const reason =
      error instanceof TooManyBytes
        ? `The list has more than ${maxListBytes / 2 ** 20} MiB, counted after decompression`
        : (error as Error).message;
    if (pushed.dryRun !== true) await noteFailure(work, id, reason);
    if (error instanceof TooManyBytes) return "too-large";
    throw error;
  }
  try {
    return await takeStockList(work, shop, spool, { ...pushed, way: "push" });
  } finally {
    await spool.remove();
  }
}
