import { z } from "zod";
import { dyingStock } from "../../services/dying-stock.ts";
import { Sentence, Totals } from "../answer-schemas.ts";
import { count, need, pool } from "../buying-schemas.ts";
import { operation } from "../operation.ts";
import { ById, Currency, Day, Id, Instant, MinorUnits } from "../schemas.ts";

const skus = (description: string) => z.array(z.string()).meta({ description });

const DyingItem = z
  .object({
    lineId: Id,
    sku: z.string(),
    name: z.string(),
    kindCode: z.string(),
    source: z.enum(["list", "ledger"]).meta({ description: "which of the two says how many there are" }),
    asOf: Instant.meta({ description: "when that was last said to be true" }),
    pieces: count.nullable().meta({ description: "on the shelf; null: the list does not say how many" }),
    heldPieces: count.meta({ description: "of them promised to drivers: as good as sold" }),
    packSize: count,
    priceMinorUnits: MinorUnits.nullable().meta({
      description: "price of one pack, by the shop's list or else by the line; null where neither says",
    }),
    currency: Currency,
    dyingPieces: count
      .nullable()
      .meta({ description: "of them not likely to be sold; null where that is not known" }),
    moneyMinorUnits: MinorUnits.nullable().meta({
      description: "what `dyingPieces` cost at that price; null where pieces or price are not known",
    }),
    reasons: z
      .array(
        z.object({
          reason: z.string().meta({
            description:
              "no-car: no driver who shares uses it, and hardly any has a car for it; not-in-use: cars could take it and none has it; past-shelf-life; ages-before-sale; ended; ends; superseded; more-than-needed. More may come: let a word pass that you do not know",
            example: "more-than-needed",
          }),
          pieces: count.nullable().meta({ description: "pieces that it concerns; null: not known" }),
          on: Day.nullable().meta({ description: "the day on which the first of them die, if there is one" }),
        }),
      )
      .meta({
        description: "why it will not be sold; the same piece may be named by several, so do not add them up",
      }),
    diesOn: Day.nullable().meta({ description: "the first of those days" }),
    endedOn: Day.nullable(),
    replacedBy: z
      .object({ lineId: Id, sku: z.string(), name: z.string() })
      .nullable()
      .meta({ description: "the line that replaces it in the end" }),
    outlook: z
      .enum(["known", "withheld"])
      .meta({ description: "withheld: fewer than three drivers who share their need stand behind it" }),
    expectedSales: need(
      "pieces of those on the shelf that the drivers who share will need by `through`, beyond what they hold; null where it is withheld",
    ).nullable(),
    takenPastYear: count.nullable().meta({
      description:
        "pieces that left the shop's shelf in the past 365 days, sold to whomever, moved to a driver or counted down; null where it has no shelf in the ledger",
    }),
    cautions: z
      .array(z.string())
      .meta({ description: "what to beware of, where aged pieces are to be got rid of" }),
    sentence: Sentence,
  })
  .meta({ id: "DyingItem" });

const DyingStock = z
  .object({
    shopId: Id,
    shopName: z.string(),
    locationId: Id.nullable(),
    asOf: Instant,
    through: Day.meta({ description: "a year from today: what is sold by then does not die" }),
    currency: Currency,
    ...pool,
    calendarEndsOn: Day.nullable().meta({ description: "no need is known beyond it" }),
    listedAt: Instant.nullable().meta({
      description: "when the shop's list was last said to be true; null: the ledger alone counts",
    }),
    linesOnShelf: count,
    shelfTotals: Totals.meta({ description: "what the whole shelf costs at those prices" }),
    totals: Totals.meta({ description: "what the dying pieces cost" }),
    items: z.array(DyingItem).meta({ description: "the most money first" }),
    withheld: skus("SKUs on the shelf of which the need is withheld"),
    undated: skus(
      "SKUs with a shelf life of which pieces are there that nobody wrote down when they came in: how old they are is not known",
    ),
    uncounted: skus("SKUs that the shop's list has without saying how many"),
    unmatched: count.meta({
      description: "things on the shop's list that nobody has matched with a line: they are not looked at",
    }),
    cautions: z.array(z.string()).meta({ description: "those of all items, each once" }),
    sentence: Sentence,
  })
  .meta({ id: "DyingStock" });

export const dyingStockOperations = [
  operation({
    method: "get",
    path: "/v1/shops/{id}/dying-stock",
    operationId: "dyingStock",
    summary: "What lies on a shop's shelf and will not be sold",
    description:
      "For the shop and the owner: of the shop's own location and of the matched things on its list, what no car uses, what is or will be past its shelf life, what has ended or is superseded, and what is more than the next twelve months need at 90 %; with the money in it. Nothing rests on fewer than three drivers who share their need. Aged packs, glue and the like come with a caution; local disposal rules and the maker's instructions come first.",
    tags: ["shops"],
    need: "stock:read",
    params: ById,
    answers: { 200: { description: "What is dead or dying.", body: DyingStock } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await dyingStock(work, params.id) })),
];
