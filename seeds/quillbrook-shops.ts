import { toSchemaOrg } from "../src/domain/offer.ts";
import { formatMoney } from "../src/domain/money.ts";
import type { Scenario } from "./quillbrook.ts";

/**
 * The two shops of the demo, both invented: the club's counter, whose till sends its list (CSV in the till's own
 * words), and a shop in the next town, whose web catalogue is fetched (schema.org in JSON-LD).
 */
export interface TillRow {
  article: string;
  text: string;
  gtin: string;
  makersNumber: string;
  /** packs; a till may say less than nothing */
  stock: number;
  retail: string;
}

/** How the till names its columns, for the shop's record. */
export const till = {
  separator: ";",
  columns: {
    ...{ sku: "Article", name: "Text", gtin: "EAN", mpn: "Maker no", inventoryLevel: "Stock" },
    price: "Retail",
  },
} as const;

/** What the till knows under a number of its own. All else has the club's number. */
const ownNumbers: Record<
  string,
  { article: string; text?: string; shows: "gtin" | "makersNumber" | "none" }
> = {
  "QB-EL-801": { article: "C-1040", shows: "gtin" },
  "QB-DS-310": { article: "C-1133", shows: "makersNumber" },
  "QB-BO-701": { article: "C-1701", text: "Touring car shell, clear, wing included", shows: "none" },
};

/**
 * What the counter's till exports at closing time.
 *
 * @param piecesOf pieces of a line on the counter's shelf, by SKU
 */
export function tillExport({ lines, club }: Scenario, piecesOf: (sku: string) => number): TillRow[] {
  // What is not to be had yet is not in the till.
  const sold = lines.filter((line) => !(line.notes ?? "").includes("available from"));
  return sold.map((line) => {
    const own = ownNumbers[line.sku];
    return {
      article: own?.article ?? line.sku,
      text: own?.text ?? line.name,
      gtin: own?.shows === "gtin" ? line.gtin! : "",
      makersNumber: own?.shows === "makersNumber" ? line.makersPartNumber! : "",
      stock: Math.floor(piecesOf(line.sku) / line.packSize),
      retail: formatMoney({ minorUnits: line.priceMinorUnits, currency: club.currency }),
    };
  });
}

/** What has become of the list a day later: the packs are sold out, tyres cost more, and a bumper was sold twice. */
const dayLater: Record<string, Partial<TillRow>> = {
  "C-1040": { stock: 0 },
  "QB-TY-101": { retail: "54.00" },
  "QB-BO-710": { stock: -1 },
};
export const aDayLater = (rows: readonly TillRow[]): TillRow[] =>
  rows.map((row) => ({ ...row, ...dayLater[row.article] }));

/** The till's file; no text of the demo needs quotes. */
export const tillFile = (rows: readonly TillRow[]): string => {
  const { sku, name, gtin, mpn, inventoryLevel, price } = till.columns;
  const cells = rows.map((row) => [
    ...[row.article, row.text, row.gtin, row.makersNumber],
    ...[String(row.stock), row.retail],
  ]);
  return [[sku, name, gtin, mpn, inventoryLevel, price], ...cells]
    .map((row) => `${row.join(till.separator)}\r\n`)
    .join("");
};

/** The shop in the next town: each of its things shows another way to know a line of the club. */
const catalogue = [
  {
    ...{ sku: "V-8012", gtin: "9520001008016", name: "Hard case pack 2S 5000" },
    ...{ cents: 8900, onHand: 0, leadTimeDays: { least: 5, most: 9 } },
  },
  { sku: "V-3051", mpn: "TI-301", name: "Front belt, low friction", cents: 1590, onHand: 2 },
  { sku: "V-6701", gtin: "9520001006708", name: "Spur 70 tooth module 0.6", cents: 790, onHand: 3 },
  { sku: "V-1151", gtin: "9520001001154", name: "Bearing 10x15x4, two", cents: 820, onHand: 4 },
  { sku: "V-5150", name: "Bumper foam, touring", cents: 490, onHand: 6 },
];

/** The catalogue as the shop's web server gives it. */
export function catalogueFile({ club: { currency } }: Scenario): string {
  const products = catalogue.map(({ cents, ...thing }) => {
    const { "@context": _, ...product } = toSchemaOrg({ ...thing, price: { minorUnits: cents, currency } });
    return product;
  });
  // A product on each line, so that one can be edited with sed.
  const lines = products.map((product) => JSON.stringify(product)).join(",\n");
  return `{"@context":"https://schema.org","@graph":[\n${lines}\n]}\n`;
}

export const shopNames = { counter: "Quillbrook club counter", town: "Vane Street Models" } as const;
