import { z } from "zod";
import { reviewPeriodDays, target, targetKind } from "./answer-schemas.ts";
import { Currency, Day, Id, MinorUnits } from "./schemas.ts";

/** What the answers about buying share: restock list, reorder point, plan of the shelf, order proposals, dying stock. */

/** A whole number of things. */
export const count = z.number().int().min(0);

export const need = (description: string) =>
  z.object({ expected: z.number(), p10: count, median: count, p90: count }).meta({ description });

/** A line, and the packs of it that are ordered. */
export const orderedLine = {
  lineId: Id,
  sku: z.string(),
  name: z.string(),
  packs: count.meta({ description: "packs to order, in the supplier's multiples" }),
  packSize: count,
  pieces: count.meta({ description: "the pieces in those packs" }),
  priceMinorUnits: MinorUnits.meta({ description: "price of one pack by the line, in minor units" }),
  currency: Currency,
  costMinorUnits: MinorUnits.meta({ description: "packs times price" }),
};

/** When to order again, and how far up. */
export const levels = {
  reorderPoint: count.meta({
    description: "pieces: order again when no more than this is on hand and on order",
  }),
  orderUpTo: count.meta({
    description: "pieces: and then up to this, which lasts until an order of the next review arrives",
  }),
};
export const orderNow = z.boolean().meta({
  description: "no more is there and on order than the reorder point, and less than one orders up to",
});

/** What is asked of a shelf: both answers take the same. */
export const askedOfShelf = {
  through: Day.meta({ description: "last day to get through" }),
  target,
  targetKind,
  reviewPeriodDays,
};
/** Whose need an answer about a shelf rests on. */
export const drivers = count.meta({ description: "drivers whose need it is: three or more" });
export const pool = {
  driversSharing: count.meta({ description: "drivers who share what they will need" }),
  drivers: count.meta({ description: "drivers of the club" }),
  withheld: z
    .array(z.string())
    .meta({ description: "SKUs behind which fewer than three drivers stand: nothing is said of them" }),
};
