import { createReadStream, writeFileSync } from "node:fs";
import { createServer } from "node:http";
import type { AddressInfo } from "node:net";
import path from "node:path";
import { inFolder, inTurn, rate, seconds } from "./measure.ts";
import { sayMemory } from "./stock-list-memory.ts";
import { clubWithShop, listOf, parseOnly } from "./till-list.ts";

/**
 * A shop's list of 100,000 rows applied and matched, beside the CSV library reading the same text and doing nothing
 * with it; a list that has not changed; and the memory that lists of more and more rows take.
 */
const rows = 100_000;
const linesKnown = 2000;
const rounds = 3;

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
    const [parsing, applying] = (await inTurn(rounds, [
      () => parseOnly(createReadStream(file, { encoding: "utf8" })),
      apply,
    ])) as [number, number];
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

    await sayMemory(say);
  });
