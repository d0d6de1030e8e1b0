import { z } from "zod";
import { orderProposals } from "../../services/order-proposals.ts";
import { chance, LeadTime, Sentence, targetMembers, Totals } from "../answer-schemas.ts";
import {
  askedOfShelf,
  count,
  drivers,
  levels,
  need,
  orderedLine,
  orderNow,
  pool,
} from "../buying-schemas.ts";
import { operation } from "../operation.ts";
import { ById, Currency, Day, Id, Instant, MinorUnits, queryFlag } from "../schemas.ts";

const Arrival = z
  .object({ p10: Day, median: Day, p90: Day })
  .meta({ id: "Arrival", description: "days by which it is there with a chance of 10, 50 and 90 %" });

const ordered = {
  ...orderedLine,
  makersPartNumber: z.string().nullable(),
  gtin: z.string().nullable(),
};

const orderFrom = Day.meta({
  description:
    "earliest sensible day: ordered earlier it binds money and comes hardly any surer (late one tenth as often as on `orderBy`); today at the earliest",
});
const orderBy = Day.meta({
  description:
    "latest day: ordered then it comes, with the target's chance, before the chance of running out passes the target; today at the earliest",
});
const late = z.boolean().meta({ description: "that day is past, so that what is ordered today may be late" });

const ProposedLine = z
  .object({
    ...ordered,
    orderFrom,
    orderBy,
    late,
    shortOn: Day.nullable().meta({
      description:
        "first day that what there is does not last through as the target asks; null where only the reorder point is reached",
    }),
    broughtForward: z.boolean().meta({
      description: "ordered earlier than it need be, because the supplier's minimum would not be reached",
    }),
    ended: z.string().nullable().meta({
      description:
        "where the line ends: when, and what replaces it; one that nothing replaces is ordered before",
    }),
    boughtThrough: Day.meta({
      description:
        "it is bought to last through this day: the one asked for, or the last on which what comes is still good",
    }),
    arrival: Arrival,
    leadTime: LeadTime,
    drivers,
    need: need("pieces needed from the shelf through that day, beyond what drivers hold"),
    onHand: z.number().int().meta({ description: "pieces on the shelf, and promised to nobody" }),
    heldPieces: count.meta({ description: "on the shelf, and promised to drivers from today on" }),
    onOrder: z.number().int(),
    ageing: z.number().int().meta({ description: "past shelf life by the day asked for, and not counted" }),
    takenPastYear: count.nullable().meta({
      description:
        "pieces that left the shop's shelf in the past 365 days, sold to whomever, moved to a driver or counted down; null where it has no shelf in the ledger",
    }),
    ...levels,
    orderNow,
    chanceWithout: chance("what there is lasts through that day"),
    chanceWith: chance("it lasts with these packs as well"),
    sentence: Sentence,
  })
  .meta({ id: "ProposedLine" });

const SupplierProposal = z
  .object({
    supplierId: Id.nullable().meta({ description: "null: the lines name no supplier" }),
    supplierName: z.string().nullable(),
    supplierNotes: z
      .string()
      .nullable()
      .meta({ description: "such as the days on which this supplier takes orders" }),
    advice: z.enum(["order-now", "order-in-window", "wait", "top-up", "below-minimum"]).meta({
      description:
        "order-now: the window closes before the next look; order-in-window: any day through `orderBy`; wait: until `orderOn`, because the window is not open yet, or the order is below the minimum and there is time; top-up: below the minimum with no time left, and `topUp` fills it; below-minimum: nothing sensible fills it",
    }),
    orderOn: Day.meta({ description: "the day on which the advice would order; arrivals count from it" }),
    orderFrom,
    orderBy,
    late,
    arrival: Arrival.meta({ description: "of the line that takes longest" }),
    leadTime: LeadTime.meta({ description: "of that line" }),
    totals: Totals.meta({ description: "of `lines`" }),
    minimumOrderMinorUnits: MinorUnits.meta({
      description: "in minor units of the club's currency; 0 for none",
    }),
    minimumReached: z.boolean(),
    belowMinimumByMinorUnits: MinorUnits,
    lines: z.array(ProposedLine).meta({
      description:
        "one order: what is due by its last day, what has its window open by then, and what the minimum brought forward",
    }),
    topUp: z.array(z.object(ordered)).nullable().meta({
      description:
        "below the minimum: what reaches it and will more likely than not be sold within a year; null where nothing does",
    }),
    later: z
      .array(ProposedLine)
      .meta({ description: "what to buy of this supplier by a later order; arrivals count from `orderBy`" }),
    sentence: Sentence,
  })
  .meta({ id: "SupplierProposal" });

const OrderProposals = z
  .object({
    shopId: Id,
    shopName: z.string(),
    locationId: Id.nullable().meta({ description: "the shop's shelf, where an order would be received" }),
    asOf: Instant,
    through: Day,
    ...targetMembers,
    reviewPeriodDays: z.number().int(),
    currency: Currency,
    ...pool,
    listedAt: Instant.nullable().meta({
      description: "when the shop's list was last said to be true; null: the ledger alone counts",
    }),
    totals: Totals.meta({ description: "of all `lines`" }),
    suppliers: z.array(SupplierProposal),
    uncounted: z.array(z.string()).meta({
      description: "SKUs that the shop's list has without saying how many: they count as none",
    }),
    sentence: Sentence,
  })
  .meta({ id: "OrderProposals" });

export const orderProposalOperations = [
  operation({
    method: "get",
    path: "/v1/shops/{id}/order-proposals",
    operationId: "orderProposals",
    summary: "What a shop should order for its shelf: purchase orders by supplier",
    description:
      "For the shop and the owner: the plan of the shelf, counted from this shop's own stock, as one order to each supplier, with the days on which to place it, its minimum, and when it is likely to be there. To place one, send its `supplierId`, the shop's `locationId` and the `lineId` and `packs` of its lines to `POST /v1/orders`. No number rests on fewer than three drivers. The review period is a week if not given.",
    tags: ["shops"],
    need: "stock:read",
    params: ById,
    query: z.strictObject({
      ...askedOfShelf,
      carried: queryFlag(
        "true: only lines that are on the shop's list, or of which something was ever on its shelf; all that drivers need if not given",
      ),
    }),
    answers: { 200: { description: "The proposals.", body: OrderProposals } },
    problems: [404, 409],
    example: { query: { through: "2027-06-30", target: "0.95" } },
  })(async ({ params, query }, work) => ({
    status: 200,
    body: await orderProposals(work, params.id, query),
  })),
];
