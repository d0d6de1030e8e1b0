import { type Availability, availabilities } from "./offer.ts";
import { gtinFault } from "./gtin.ts";
import { parseMoney } from "./money.ts";

/**
 * One row of a shop's stock list, in the words of schema.org. Nothing is guessed: not the decimal sign, not a
 * currency, not a check digit. What is wrong is said with what to change.
 */
export const stockMembers = [
  "sku",
  "name",
  "gtin",
  "mpn",
  "inventoryLevel",
  "price",
  "priceCurrency",
  "availability",
  "deliveryLeadTime",
  "eligibleQuantity",
] as const;
export type StockMember = (typeof stockMembers)[number];

/** A thing on a shop's list; null where the shop does not tell. */
export interface ShopItem {
  sku: string;
  name: string | null;
  /** as printed, not padded */
  gtin: string | null;
  /** the maker's part number */
  mpn: string | null;
  /** on the shelf, at least 0, counted as it is sold: packs, where it is a pack */
  onHand: number | null;
  /** of one as it is sold, in minor units of the shop's currency */
  priceMinorUnits: number | null;
  availability: Availability | null;
  /** days from order to arrival where it is not on the shelf */
  leadTimeLeastDays: number | null;
  leadTimeMostDays: number | null;
  /** fewest that are sold at once */
  minimumOrder: number | null;
}

/** What is wrong with a row, and in which member. */
export interface RowFault {
  member: StockMember;
  detail: string;
}

/** What a shop's rows are written in. */
export interface RowTerms {
  /** the shop's currency, ISO 4217 */
  currency: string;
  /** the decimal sign of numbers that are written as text */
  decimal: "." | ",";
}

const longest = { sku: 60, name: 200, mpn: 60 } as const;
const mostPieces = 1e9;
const mostDays = 3650;

class Wrong extends Error {
  readonly member: StockMember;
  constructor(member: StockMember, detail: string) {
    super(detail);
    this.member = member;
  }
}

const shown = (cell: unknown): string => {
  const said = JSON.stringify(cell) ?? "nothing";
  return said.length > 60 ? `${said.slice(0, 57)}…` : said;
};

/** The text of a cell: null where it says nothing. Numbers of JSON are taken as they are written. */
function written(member: StockMember, cell: unknown): string | null {
  if (cell === null || cell === undefined) return null;
  if (typeof cell === "number" && Number.isFinite(cell)) return String(cell);
  if (typeof cell !== "string") throw new Wrong(member, `must be text or a number, but is ${shown(cell)}`);
  const said = cell.trim();
  return said === "" ? null : said;
}

/**
 * Text that people read. A cell that begins with = or @ is what a spreadsheet runs as a formula, with an apostrophe in
 * front or without; a list that comes from a till has no use for one, so that it is refused and not repaired.
 */
function textIn(member: "sku" | "name" | "mpn", cell: unknown): string | null {
  const said = written(member, cell);
  if (said === null) return null;
  const first = said.replace(/^'+/, "").charCodeAt(0);
  if (first === 0x3d || first === 0x40)
    throw new Wrong(
      member,
      `begins with "${said[0]}", which a spreadsheet runs as a formula (${shown(said)}): write the plain text`,
    );
  if (said.length > longest[member])
    throw new Wrong(member, `must have at most ${longest[member]} characters, but has ${said.length}`);
  // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
  if (/[\x00-\x08\x0b\x0c\x0e-\x1f\ufffd]/.test(said))
    throw new Wrong(
      member,
      "has characters that cannot be shown: is the encoding of the file the stated one?",
    );
  return said;
}

/** Text of digits with a point, whatever the decimal sign was. */
function plain(member: StockMember, said: string, cell: unknown, { decimal }: RowTerms): string {
  if (typeof cell === "number" || decimal === ".") return said;
  if (said.includes("."))
    throw new Wrong(
      member,
      `is ${shown(said)}, but the decimal sign of this shop's list is "," and numbers have no other sign: write 1234,50, or set the shop's decimal to "."`,
    );
  return said.replace(",", ".");
}

function moneyIn(cell: unknown, terms: RowTerms): number | null {
  const said = written("price", cell);
  if (said === null) return null;
  const text = plain("price", said, cell, terms);
  if (terms.decimal === "." && /^\d+,\d+$/.test(text))
    throw new Wrong(
      "price",
      `is ${shown(said)} with a decimal comma: set the shop's decimal to "," if that is how its CSV is written, or write ${text.replace(",", ".")}`,
    );
  if (!/^-?\d+(?:\.\d+)?$/.test(text))
    throw new Wrong(
      "price",
      `must be digits with the decimal sign "${terms.decimal}" and nothing else (no currency sign, no thousands sign), but is ${shown(said)}`,
    );
  if (text.startsWith("-")) throw new Wrong("price", `must not be negative, but is ${shown(said)}`);
  try {
    const { minorUnits } = parseMoney(text, terms.currency);
    if (minorUnits > 1e12) throw new Wrong("price", `is too large: ${shown(said)}`);
    return minorUnits;
  } catch (error) {
    if (error instanceof Wrong) throw error;
    throw new Wrong("price", `has more decimals than ${terms.currency} has: ${shown(said)}`);
  }
}

/** A whole number of at least `least`; tills write 4 pieces as "4.00" too. */
function wholeIn(
  member: StockMember,
  cell: unknown,
  least: number,
  most: number,
  terms: RowTerms,
): number | null {
  const said = written(member, cell);
  if (said === null) return null;
  const text = plain(member, said, cell, terms);
  const digits = /^(-?\d{1,12})(?:\.0{1,6})?$/.exec(text);
  if (digits === null)
    throw new Wrong(member, `must be a whole number of at least ${least}, but is ${shown(said)}`);
  const value = Number(digits[1]);
  if (value < least)
    throw new Wrong(
      member,
      member === "inventoryLevel"
        ? `is ${value}: a shelf cannot hold less than nothing; count it, and write 0 or what is there`
        : `must be at least ${least}, but is ${value}`,
    );
  if (value > most) throw new Wrong(member, `must be at most ${most}, but is ${value}`);
  return value;
}

const known = new Map(availabilities.map((word) => [word.toLowerCase(), word]));

function availabilityIn(cell: unknown): Availability | null {
  const said = written("availability", cell);
  if (said === null) return null;
  const word = known.get(said.replace(/^(?:https?:\/\/schema\.org\/|schema:)/i, "").toLowerCase());
  if (word === undefined)
    throw new Wrong(
      "availability",
      `must be one of ${availabilities.join(", ")} (schema.org), but is ${shown(said)}`,
    );
  return word;
}

/** Days as "5" or "3-7". */
function leadTimeIn(cell: unknown): { least: number; most: number } | null {
  const said = written("deliveryLeadTime", cell);
  if (said === null) return null;
  const parts = /^(\d{1,5})(?:\.0+)?(?:\s*(?:-|–|to)\s*(\d{1,5}))?$/.exec(said);
  const least = Number(parts?.[1]);
  const most = Number(parts?.[2] ?? parts?.[1]);
  if (parts === null || most < least || most > mostDays)
    throw new Wrong(
      "deliveryLeadTime",
      `must be days such as 5 or 3-7, at most ${mostDays}, but is ${shown(said)}`,
    );
  return { least, most };
}

function skuIn(cell: unknown): string {
  const sku = textIn("sku", cell);
  if (sku === null) throw new Wrong("sku", "must be given: a row is known by it from list to list");
  return sku;
}

function gtinIn(cell: unknown): string | null {
  const gtin = written("gtin", cell);
  if (gtin === null) return null;
  const fault = /[eE][+]/.test(gtin)
    ? `is ${shown(gtin)}: a spreadsheet has turned the number into an approximate one; format the column as text`
    : gtinFault(gtin);
  if (fault !== undefined) throw new Wrong("gtin", fault);
  return gtin;
}

function requireCurrency(cell: unknown, terms: RowTerms): void {
  const currency = written("priceCurrency", cell);
  if (currency !== null && currency !== terms.currency)
    throw new Wrong(
      "priceCurrency",
      `is ${shown(currency)}, but this shop sells in ${terms.currency}: change the shop's currency, or give prices in ${terms.currency}`,
    );
}

/** How each member is read. */
const readers = {
  sku: skuIn,
  name: (cell: unknown) => textIn("name", cell),
  gtin: gtinIn,
  mpn: (cell: unknown) => textIn("mpn", cell),
  inventoryLevel: (cell: unknown, terms: RowTerms) => wholeIn("inventoryLevel", cell, 0, mostPieces, terms),
  price: moneyIn,
  priceCurrency: requireCurrency,
  availability: availabilityIn,
  deliveryLeadTime: leadTimeIn,
  eligibleQuantity: (cell: unknown, terms: RowTerms) =>
    wholeIn("eligibleQuantity", cell, 1, mostPieces, terms),
} satisfies Record<StockMember, (cell: unknown, terms: RowTerms) => unknown>;

/**
 * Reads a row.
 *
 * @param cellOf the cell of a member, undefined where the list has none
 * @returns the thing, or everything that is wrong with the row: at least one fault, at most one for each member
 */
export function readStockRow(
  cellOf: (member: StockMember) => unknown,
  terms: RowTerms,
): ShopItem | RowFault[] {
  try {
    requireCurrency(cellOf("priceCurrency"), terms);
    const leadTime = readers.deliveryLeadTime(cellOf("deliveryLeadTime"));
    return {
      sku: readers.sku(cellOf("sku")),
      name: readers.name(cellOf("name")),
      gtin: readers.gtin(cellOf("gtin")),
      mpn: readers.mpn(cellOf("mpn")),
      onHand: readers.inventoryLevel(cellOf("inventoryLevel"), terms),
      priceMinorUnits: readers.price(cellOf("price"), terms),
      availability: readers.availability(cellOf("availability")),
      leadTimeLeastDays: leadTime?.least ?? null,
      leadTimeMostDays: leadTime?.most ?? null,
      minimumOrder: readers.eligibleQuantity(cellOf("eligibleQuantity"), terms),
    };
  } catch (error) {
    if (error instanceof Wrong) return faultsOf(cellOf, terms);
    throw error;
  }
}

const faultsOf = (cellOf: (member: StockMember) => unknown, terms: RowTerms): RowFault[] =>
  stockMembers.flatMap((member) => {
    try {
      readers[member](cellOf(member), terms);
      return [];
    } catch (error) {
      if (error instanceof Wrong) return { member, detail: error.message };
      throw error;
    }
  });
