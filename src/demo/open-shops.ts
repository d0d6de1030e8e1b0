import { mkdirSync, writeFileSync } from "node:fs";
import path from "node:path";
import type { Scenario } from "../../seeds/quillbrook.ts";
import { catalogueFile } from "../../seeds/quillbrook-shops.ts";
import { issueKey } from "../services/keep-club.ts";
import type { FilledClub } from "./fill-club.ts";
import { fillShops } from "./fill-shops.ts";
import { startShopSite } from "./shop-site.ts";

export interface OpenShops {
  driverKey: string;
  /** writes what a shell needs to try the shops: the address of the service, keys and ids */
  writeVariables: (address: string) => void;
  close: () => void;
}

/**
 * Opens the shops of the demo, and lays out in a folder what whoever tries them sends and edits: the counter's next
 * export (`counter.csv`), the catalogue that the other shop's site serves (`catalogue.jsonld`), and later `env`.
 *
 * @param driver name of the driver whose key is made
 */
export async function openShops(
  filled: FilledClub,
  scenario: Scenario,
  { folder, driver, ownerKey }: { folder: string; driver: string; ownerKey: string },
): Promise<OpenShops> {
  const inFolder = (name: string) => path.join(folder, name);
  mkdirSync(folder, { recursive: true });
  writeFileSync(inFolder("catalogue.jsonld"), catalogueFile(scenario));
  const site = await startShopSite(inFolder("catalogue.jsonld"));
  const { counter, town, nextExport } = await fillShops(filled, scenario, site.url);
  writeFileSync(inFolder("counter.csv"), nextExport);
  const { db, newId, now } = filled.work;
  const shopKey = await issueKey(db, { name: "demo, shop", role: "shop", driverId: null }, now(), newId);
  const driverId = filled.drivers.get(driver)!;
  const driverKey = await issueKey(db, { name: "demo, driver", role: "driver", driverId }, now(), newId);
  return {
    driverKey,
    close: site.close,
    writeVariables: (address) => {
      const variables = {
        ...{ ADDRESS: address, KEY: ownerKey, SHOP_KEY: shopKey, DRIVER_KEY: driverKey },
        ...{ COUNTER: counter, TOWN: town, BODY_SHELL: filled.lines.get("QB-BO-701")! },
      };
      const set = Object.entries(variables).map(([name, value]) => `${name}=${value}\n`);
      writeFileSync(inFolder("env"), set.join(""), { mode: 0o600 });
    },
  };
}
