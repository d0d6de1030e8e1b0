import { z } from "zod";
import { type Availability, availabilities, type SchemaOrgProduct, toSchemaOrg } from "../domain/offer.ts";
import type { ListedRow } from "../storage/tables.ts";
import { Id, Instant, MinorUnits } from "./schemas.ts";

/** What is answered about the things on shops' lists. */

const count = z.number().int().min(0);

export const LeadTimeDays = z.object({ least: count, most: count }).nullable().meta({
  description: "days from order to arrival where it is not on the shelf; null: the shop does not tell",
});
export const ListedItem = z
  .object({
    sku: z.string().meta({ description: "the shop's own article number", example: "GM-331" }),
    name: z.string().nullable(),
    gtin: z.string().nullable(),
    mpn: z.string().nullable().meta({ description: "the maker's part number" }),
    onHand: count.nullable().meta({
      description:
        "on the shelf, counted as it is sold (packs, where it is a pack); null: the shop does not tell",
    }),
    priceMinorUnits: MinorUnits.nullable().meta({
      description: "of one as it is sold, in minor units of the shop's currency",
    }),
    availability: z.enum(availabilities).nullable().meta({ description: "a word of schema.org" }),
    leadTimeDays: LeadTimeDays,
    minimumOrder: count.nullable().meta({ description: "fewest that are sold at once" }),
    lineId: Id.nullable().meta({ description: "the club's line that it is" }),
    matchedBy: z.enum(["gtin", "sku", "mpn", "confirmed", "none"]).nullable().meta({
      description: "how that is known; none: a person said that it is no line; null: nobody knows yet",
    }),
    saidAt: Instant.nullable().meta({
      description:
        "when this was said, where that is longer ago than the list: its newer row was rejected; null: with the list",
    }),
  })
  .meta({ id: "ListedItem", description: "a thing on a shop's list" });

/** What is said of a fault in a row, at once and later. */
export const rejectedMembers = {
  row: z.number().int().min(1).meta({ description: "number of the row, counted from 1, without the header" }),
  column: z
    .string()
    .nullable()
    .meta({ description: "as the shop's list names it; null: the row as a whole" }),
  sku: z.string().nullable(),
  detail: z.string().meta({ description: "what is wrong, and what to change" }),
};

export const itemShown = (row: ListedRow): z.input<typeof ListedItem> => ({
  ...row,
  availability: row.availability as Availability | null,
  leadTimeDays:
    row.leadTimeLeastDays === null
      ? null
      : { least: row.leadTimeLeastDays, most: row.leadTimeMostDays ?? row.leadTimeLeastDays },
});

/** A thing in the words of schema.org. */
export function productOf(row: ListedRow, currency: string): Omit<SchemaOrgProduct, "@context"> {
  const { sku, name, gtin, mpn, onHand, priceMinorUnits, availability, minimumOrder } = row;
  const leadTimeDays = itemShown(row).leadTimeDays ?? undefined;
  const { "@context": _, ...product } = toSchemaOrg({
    sku,
    name: name ?? undefined,
    gtin: gtin ?? undefined,
    mpn: mpn ?? undefined,
    price: priceMinorUnits === null ? undefined : { minorUnits: priceMinorUnits, currency },
    onHand: onHand ?? undefined,
    availability: (availability as Availability | null) ?? undefined,
    leadTimeDays,
    minimumOrder: minimumOrder ?? undefined,
  });
  return product;
}

/** Where a line lies on a shop's shelf, as answers show it. */
export const OnShelf = z
  .object({
    shopId: Id,
    shopName: z.string(),
    shopSku: z.string().nullable().meta({ description: "the shop's own article number" }),
    lineId: Id,
    packs: count
      .nullable()
      .meta({ description: "on the shelf, as it is sold; null: the shop does not tell" }),
    pieces: count.nullable().meta({ description: "the pieces in those packs" }),
    heldPieces: count.meta({ description: "of them held for drivers from today on" }),
    heldForDriver: count.meta({ description: "pieces of those, for the driver whose answer this is" }),
    priceMinorUnits: MinorUnits.nullable().meta({ description: "of one pack, in minor units of `currency`" }),
    currency: z.string().meta({ example: "AUD" }),
    availability: z.string().nullable().meta({ description: "a word of schema.org" }),
    leadTimeDays: LeadTimeDays,
    source: z.enum(["list", "ledger"]).meta({
      description: "the shop's list, or the ledger's level of its shelf where it has published none",
    }),
    asOf: Instant.meta({ description: "when that was last said to be true" }),
    ageHours: z.number().min(0).meta({ description: "hours since then" }),
    ended: z
      .string()
      .nullable()
      .meta({ description: "where the line has ended or ends: when, and what replaces it" }),
    sentence: z.string(),
  })
  .meta({ id: "OnShelf", description: "what a shop has of a line, and how old that knowledge is" });

export const shelfMembers = {
  shelves: z.array(OnShelf).meta({ description: "where it lies on shops' shelves" }),
  fromShelves: count.meta({
    description: "of the pieces wanted, how many those shelves and the club's own can give",
  }),
  fromElsewhere: count.meta({ description: "of the pieces wanted, how many must come from elsewhere" }),
};
