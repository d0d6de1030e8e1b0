import { createReadStream, writeFileSync } from "node:fs";
import { createServer } from "node:http";
import type { AddressInfo } from "node:net";
import path from "node:path";
import { setFlagsFromString } from "node:v8";
import { runInNewContext } from "node:vm";
import { parse } from "csv-parse";
import { v7 } from "uuid";
import { buildApp } from "../../src/app.ts";
import { foundClub, issueKey } from "../../src/services/keep-club.ts";
import { openDatabase } from "../../src/storage/database.ts";
import { inFolder, inTurn, rate, seconds } from "./measure.ts";

/**
 * A shop's list of 100,000 rows applied and matched, beside the CSV library reading the same text and doing nothing
 * with it; a list that has not changed; and the memory that lists of 50,000 to 200,000 rows take.
 */
const rows = 100_000;
const linesKnown = 2000;
const rounds = 3;
const memoryRows = [50_000, 100_000, 200_000];
const now = "2026-12-01T09:00:00.000Z";
const header = "sku,name,gtin,mpn,inventoryLevel,price,priceCurrency,availability,deliveryLeadTime\r\n";

const checked = (body: string) => {
  let sum = 0;
  for (let i = 0; i < body.length; i++) sum += (i % 2 === 0 ? 3 : 1) * Number(body[body.length - 1 - i]);
  return body + ((10 - (sum % 10)) % 10);
};
const gtinOf = (i: number) => checked(`629${String(i).padStart(9, "0")}`);
/** What a till writes: some things with a GTIN, most with a maker's number, names with commas in quotes. */
const rowOf = (i: number, stock: number) =>
  `GM-${String(i).padStart(6, "0")},"Spur gear ${i % 90}T, 48 DP, set ${i}",${i % 2 === 0 ? gtinOf(i) : ""},SG-${i},${(i * 7 + stock) % 23},${(i % 400) + 1}.95,AUD,${i % 5 === 0 ? "OutOfStock" : "InStock"},3-7\r\n`;
function listOf(count: number, stock = 0): string {
  const parts = [header];
  for (let i = 0; i < count; i++) parts.push(rowOf(i, stock));
  return parts.join("");
}

const streamOf = (bytes: Uint8Array): ReadableStream<Uint8Array> => {
  let from = 0;
  return new ReadableStream({
    pull(controller) {
      if (from >= bytes.length) return controller.close();
      controller.enqueue(bytes.subarray(from, from + 65_536));
      from += 65_536;
    },
  });
};

/** Rows as a stream that is made as it is read, so that the list itself takes no memory. */
const streamOfRows = (count: number): ReadableStream<Uint8Array> => {
  let i = -1;
  return new ReadableStream({
    pull(controller) {
      const parts = i < 0 ? [header] : [];
      i = Math.max(0, i);
      for (const end = Math.min(count, i + 700); i < end; i++) parts.push(rowOf(i, 0));
      if (parts.length === 0) controller.close();
      else controller.enqueue(Buffer.from(parts.join("")));
    },
  });
};

/** The CSV library alone: the same chunks, every record made and dropped. */
async function parseOnly(file: string): Promise<void> {
  let seen = 0;
  const parser = parse({
    on_record: (record: string[]) => {
      seen += record.length;
      return null;
    },
  });
  parser.resume();
  for await (const chunk of createReadStream(file, { encoding: "utf8" }))
    await new Promise<void>((resolve, reject) => {
      parser.write(chunk, (error) => (error ? reject(error) : resolve()));
    });
  await new Promise<void>((resolve) => {
    parser.once("end", resolve);
    parser.end();
  });
  if (seen === 0) throw new Error("nothing was parsed");
}

async function clubWithShop(folder: string, name: string, lines: number) {
  const db = await openDatabase(`file:${path.join(folder, `${name}.db`)}`);
  const newId = () => v7();
  await foundClub(db, { id: v7(), name: "Our club", currency: "AUD", timeZone: "UTC", at: now, newId });
  const key = await issueKey(db, { name: "owner", role: "owner", driverId: null }, now, newId);
  const app = buildApp({ db, clock: () => new Date(now), pulls: { allowPrivate: true } });
  const authorization = `Bearer ${key}`;
  const send = async (method: string, where: string, body?: unknown) => {
    const init = { method, headers: { authorization, "content-type": "application/json" } };
    const answer = await app.request(where, {
      ...init,
      ...(body !== undefined && { body: JSON.stringify(body) }),
    });
    const said = (await answer.json()) as Record<string, any>;
    if (answer.status >= 300) throw new Error(`${method} ${where}: ${JSON.stringify(said)}`);
    return said;
  };
  const kinds = await send("GET", "/v1/kinds?limit=1");
  const kindId = kinds["items"][0].id;
  for (let i = 0; i < lines; i++)
    await send("POST", "/v1/lines", {
      ...{ sku: `QB-${i}`, name: `Line ${i}`, kindId, priceMinorUnits: 900 },
      gtin: i % 2 === 0 ? gtinOf(i * 40) : null,
      makersPartNumber: i % 2 === 0 ? null : `SG-${i * 40 + 1}`,
    });
  const shop = await send("POST", "/v1/shops", { name: "Gantry Models" });
  const where = `/v1/shops/${shop["id"]}/stock-list`;
  const publish = async (list: Uint8Array | ReadableStream<Uint8Array>) => {
    const headers = { authorization, "content-type": "text/csv" };
    const init = {
      method: "PUT",
      headers,
      body: list instanceof Uint8Array ? streamOf(list) : list,
      duplex: "half",
    };
    const answer = await app.request(where, init as RequestInit);
    const said = (await answer.json()) as Record<string, any>;
    if (answer.status !== 200) throw new Error(JSON.stringify(said));
    return said;
  };
  return { db, send, publish, shop: `/v1/shops/${shop["id"]}` };
}

/**
 * The most that is alive, and that is in memory, while something runs, above what there was before, MiB: garbage is
 * collected at each look.
 */
async function peakMiB(act: () => Promise<unknown>): Promise<{ live: number; resident: number }> {
  setFlagsFromString("--expose-gc");
  const collect = runInNewContext("gc") as () => void;
  const alive = () => {
    collect();
    const { heapUsed, external, rss } = process.memoryUsage();
    return { live: heapUsed + external, resident: rss };
  };
  const before = alive();
  const most = { ...before };
  const timer = setInterval(() => {
    const { live, resident } = alive();
    most.live = Math.max(most.live, live);
    most.resident = Math.max(most.resident, resident);
  }, 400);
  try {
    await act();
  } finally {
    clearInterval(timer);
  }
  const mib = (bytes: number) => bytes / 2 ** 20;
  return { live: mib(most.live - before.live), resident: mib(most.resident - before.resident) };
}

export const benchStockList = (say: (line: string) => void) =>
  inFolder(async (folder) => {
    const file = path.join(folder, "list.csv");
    const [text, other] = [Buffer.from(listOf(rows)), Buffer.from(listOf(rows, 1))];
    writeFileSync(file, text);
    const first = await clubWithShop(folder, "first", linesKnown);
    // Two lists in turn, so that each one changes every row of the one before.
    let turn = 0;
    const apply = () => first.publish(turn++ % 2 === 0 ? other : text);
    const kept = await first.publish(text);
    const [parsing, applying] = (await inTurn(rounds, [() => parseOnly(file), apply])) as [number, number];
    say(
      `${rows.toLocaleString("en")} rows (${Math.round(text.length / 2 ** 20)} MiB), ${kept["matched"]} of them lines of the club: parsed in ${parsing.toFixed(2)} s, applied and matched in ${applying.toFixed(2)} s (${rate(rows / applying)} rows/s): ${(applying / parsing).toFixed(1)} times (goal at most 4)`,
    );

    const sent = turn % 2 === 0 ? text : other;
    const again = async () => {
      const { outcome } = await first.publish(sent);
      if (outcome !== "unchanged") throw new Error(`the same list was ${outcome}`);
    };
    const [same] = (await inTurn(9, [again])) as [number];
    say(
      `the same list pushed again: ${(same * 1000).toFixed(1)} ms, ${((same / applying) * 100).toFixed(2)} % (goal under 1 %)`,
    );
    const server = createServer((request, answer) => {
      answer.setHeader("etag", '"1"');
      answer.setHeader("content-type", "text/csv");
      if (request.headers["if-none-match"] === '"1"') answer.writeHead(304).end();
      else answer.end(sent);
    });
    await new Promise<void>((resolve) => server.listen(0, "127.0.0.1", resolve));
    const pullUrl = `http://127.0.0.1:${(server.address() as AddressInfo).port}/list.csv`;
    await first.send("PATCH", first.shop, { pullUrl });
    await first.send("POST", `${first.shop}/pulls`);
    const pulled = await seconds(async () => {
      for (let i = 0; i < 10; i++) await first.send("POST", `${first.shop}/pulls`);
    });
    say(
      `an unchanged list pulled: ${(pulled * 100).toFixed(1)} ms, ${((pulled / 10 / applying) * 100).toFixed(2)} % (goal under 1 %)`,
    );
    server.close();
    await first.db.destroy();

    const peaks = [];
    for (const count of memoryRows) {
      const club = await clubWithShop(folder, `memory-${count}`, 200);
      await club.publish(Buffer.from(listOf(1000)));
      const { live, resident } = await peakMiB(() => club.publish(streamOfRows(count)));
      peaks.push(`${count.toLocaleString("en")} rows ${live.toFixed(1)} (${resident.toFixed(1)})`);
      await club.db.destroy();
    }
    say(`peak of live memory (of the resident set) above what there was before, MiB: ${peaks.join(", ")}`);
  });
