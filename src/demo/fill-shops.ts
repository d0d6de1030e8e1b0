import type { Scenario } from "../../seeds/quillbrook.ts";
import { aDayLater, shopNames, till, tillExport, tillFile } from "../../seeds/quillbrook-shops.ts";
import { addShop } from "../services/keep-shops.ts";
import { pullStockList } from "../services/pull-stock-list.ts";
import { pushStockList } from "../services/push-stock-list.ts";
import { levelOf } from "../storage/stock-ledger.ts";
import type { FilledClub } from "./fill-club.ts";

const hoursMs = 3_600_000;
/** The till sends its list when the counter closes, 18:00 of the day before in the club's time zone. */
const closedBeforeMs = 16 * hoursMs;

export interface FilledShops {
  /** ids */
  counter: string;
  town: string;
  /** the till's export of a day later, for whoever tries the demo to send */
  nextExport: string;
}

/**
 * Adds the two shops of the demo: the counter's list is sent, as its till would send it, and that of the shop in town
 * is fetched from its address.
 *
 * @param catalogueUrl where the list of the shop in town can be fetched; an address of this machine
 */
export async function fillShops(
  { work, lines, locations }: FilledClub,
  scenario: Scenario,
  catalogueUrl: string,
): Promise<FilledShops> {
  const shelf = locations.get(scenario.shop.location)!;
  const usual = { encoding: "utf-8", decimal: ".", pullMode: "full", notes: null } as const;
  const counter = await addShop(work, {
    ...{ ...usual, ...till, name: shopNames.counter, locationId: shelf },
    ...{ pullUrl: null, pullEveryMinutes: null },
  });
  const pieces = new Map<string, number>();
  for (const [sku, id] of lines) pieces.set(sku, await levelOf(work.db, counter.clubId, id, shelf));
  const rows = tillExport(scenario, (sku) => pieces.get(sku) ?? 0);
  const sentAt = new Date(Date.parse(work.now()) - closedBeforeMs).toISOString();
  const bytes = Buffer.from(tillFile(rows));
  await pushStockList({ ...work, now: () => sentAt }, counter.id, {
    ...{ coding: "identity", length: bytes.length, mode: "full", type: "text/csv" },
    body: (async function* () {
      yield bytes;
    })(),
  });
  const town = await addShop(work, {
    ...{ ...usual, separator: ",", columns: null, name: shopNames.town, locationId: null },
    ...{ pullUrl: catalogueUrl, pullEveryMinutes: 5 },
  });
  await pullStockList({ ...work, pulls: { allowPrivate: [loopback] } }, town.id, {});
  return { counter: counter.id, town: town.id, nextExport: tillFile(aDayLater(rows)) };
}

/** Where the demo serves the catalogue; nothing else of one's own network is asked. */
export const loopback = "127.0.0.1";
