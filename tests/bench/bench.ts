import { benchConventions } from "./conventions.ts";
import { importSpeed } from "./import-speed.ts";
import { benchLedger } from "./ledger.ts";
import { rate } from "./measure.ts";
import { benchOffLoop } from "./off-loop.ts";
import { benchRestock } from "./restock.ts";
import { benchSeasons } from "./seasons.ts";
import { benchStatistics } from "./statistics.ts";
import { benchStockList } from "./stock-list.ts";

/** Measures speed as ratios to a baseline in the same run. `npm run bench` runs all parts, `npm run bench -- NAME` one. */
const say = (line: string) => process.stdout.write(`${line}\n`);
const parts: Record<string, (say: (line: string) => void) => Promise<unknown>> = {
  conventions: benchConventions,
  import: async (say) => {
    const { raw, csv, json, ratioCsv, ratioJson } = await importSpeed();
    say(
      `100,000 runs: CSV ${rate(csv)} rows/s, ${ratioCsv.toFixed(2)} of raw inserts (${rate(raw)}/s); JSON ${rate(json)} rows/s, ${ratioJson.toFixed(2)}`,
    );
  },
  ledger: benchLedger,
  "off-loop": benchOffLoop,
  restock: benchRestock,
  seasons: benchSeasons,
  statistics: benchStatistics,
  "stock-list": benchStockList,
};

const wanted = process.argv.slice(2);
const unknown = wanted.find((name) => !(name in parts));
if (unknown !== undefined) {
  process.stderr.write(`There is no part "${unknown}"; there are ${Object.keys(parts).join(", ")}\n`);
  process.exit(1);
}
for (const [name, part] of Object.entries(parts)) {
  if (wanted.length > 0 && !wanted.includes(name)) continue;
  say(`\n== ${name}`);
  await part(say);
}
