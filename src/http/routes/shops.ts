import { z } from "zod";
import { isCurrency } from "../../domain/money.ts";
import { stockMembers } from "../../domain/stock-row.ts";
import { confirmMatch, readMatch } from "../../services/confirm-match.ts";
import { addShop, changeShop, listShops, listUnmatched, readShop } from "../../services/keep-shops.ts";
import { isEncoding } from "../../services/read-stock-list.ts";
import { exampleIds } from "../example-ids.ts";
import { operation } from "../operation.ts";
import {
  ById,
  Currency,
  Id,
  Instant,
  Notes,
  PageQuery,
  pageFrom,
  pageOf,
  pageReply,
  text,
  Version,
} from "../schemas.ts";
import { itemShown, ListedItem } from "../stock-list-schemas.ts";

const count = z.number().int().min(0);

const members = {
  name: text(120).meta({ example: "Quillbrook club counter" }),
  locationId: Id.nullable().meta({ description: "its shelf in the club's own ledger, if it has one" }),
  pullUrl: z
    .url({ protocol: /^https?$/, error: "must be an address with https:// or http://" })
    .max(2000)
    .nullable()
    .meta({
      description: "where its list is fetched from, or null",
      example: "https://shop.example/stock.csv",
    }),
  pullEveryMinutes: z
    .number()
    .int()
    .min(5, "must be at least 5")
    .max(43_200)
    .nullable()
    .meta({ description: "minutes between fetches; null: only on demand", example: 360 }),
  pullMode: z.enum(["full", "changes"]).meta({ description: "what the fetched list is", example: "full" }),
  columns: z
    .partialRecord(z.enum(stockMembers), text(80))
    .nullable()
    .meta({
      description: "what the shop's list calls a column, where it differs from ours",
      example: { sku: "Article", inventoryLevel: "Stock", price: "Retail" },
    }),
  encoding: z
    .string()
    .max(40)
    .refine(isEncoding, "must be an encoding such as utf-8, windows-1252 or utf-16le")
    .meta({ description: "of a CSV list, by the WHATWG Encoding Standard", example: "windows-1252" }),
  decimal: z.enum([".", ","]).meta({ description: "decimal sign of a CSV list", example: "," }),
  separator: z
    .enum([",", ";", "\t", "|"], { error: 'must be one of , ; | or a tab ("\\t")' })
    .meta({ description: "what stands between the cells of a CSV list", example: ";" }),
  notes: Notes,
};

const Shop = z
  .object({
    id: Id,
    ...members,
    name: z.string().meta({ example: "Quillbrook club counter" }),
    currency: Currency.meta({ description: "that it sells in; every price of its list is in it" }),
    list: z
      .object({
        listedAt: Instant.meta({ description: "when the list that counts was last said to be true" }),
        ageHours: z.number().min(0).meta({ description: "hours since then", example: 2.5 }),
        rows: count.meta({ description: "things on the list" }),
        matched: count.meta({ description: "of them known to be lines of the club" }),
        unmatched: count.meta({ description: "things of them that nobody has matched yet" }),
      })
      .nullable()
      .meta({ description: "the last good list; null before the first" }),
    lastFailure: z
      .object({
        at: Instant,
        reason: z.string(),
        failures: count.meta({ description: "number of arrivals that failed since the last good one" }),
      })
      .nullable()
      .meta({ description: "null where the last arrival was good" }),
    pulledAt: Instant.nullable().meta({ description: "when its address was last asked" }),
    nextPullAt: Instant.nullable().meta({ description: "when it will be asked next, after failures later" }),
    createdAt: Instant,
    version: Version,
  })
  .meta({ id: "Shop", description: "a shop with the state of its stock list" });

const ShopGiven = z.strictObject({
  ...members,
  currency: Currency.refine(isCurrency, "must be a currency of ISO 4217")
    .optional()
    .meta({ description: "the club's if not given; it stays" }),
  locationId: members.locationId.default(null),
  pullUrl: members.pullUrl.default(null),
  pullEveryMinutes: members.pullEveryMinutes.default(null),
  pullMode: members.pullMode.default("full"),
  columns: members.columns.default(null),
  encoding: members.encoding.default("utf-8"),
  decimal: members.decimal.default("."),
  separator: members.separator.default(","),
  notes: members.notes.default(null),
});

const Unmatched = ListedItem.extend({
  likely: z
    .array(
      z.object({
        lineId: Id,
        sku: z.string(),
        name: z.string(),
        makersPartNumber: z.string().nullable(),
        score: z.number().meta({
          description:
            "score, a number without unit: higher is likelier; compares only within one thing of a list",
        }),
      }),
    )
    .meta({ description: "the club's lines that it probably is, the likeliest first" }),
}).meta({ id: "UnmatchedItem" });

const ByArticle = ById.extend({ shopSku: text(60).meta({ description: "the shop's own article number" }) });
const ShopMatch = ListedItem.extend({
  version: z.number().int().nullable().meta({
    description: "counts what a person said of it; null where nobody has yet",
  }),
}).meta({ id: "ShopMatch" });
const matchShown = ({ version, ...row }: Awaited<ReturnType<typeof readMatch>>) => ({
  ...itemShown(row),
  version,
});

export const shopOperations = [
  operation({
    method: "post",
    path: "/v1/shops",
    operationId: "addShop",
    summary: "Add a shop, with how its stock list is written and where it is fetched from",
    tags: ["shops"],
    need: "lines:write",
    record: "shops",
    body: ShopGiven,
    answers: { 201: { description: "The shop.", body: Shop } },
    problems: [404, 409],
    example: {
      body: {
        name: "Corner Hobbies",
        pullUrl: "https://shop.example/stock.csv",
        pullEveryMinutes: 360,
        columns: { sku: "Article", inventoryLevel: "Stock", price: "Retail" },
        encoding: "windows-1252",
        decimal: ",",
        separator: ";",
      },
    },
  })(async ({ body }, work) => ({ status: 201, body: await addShop(work, body) })),

  operation({
    method: "get",
    path: "/v1/shops",
    operationId: "listShops",
    summary: "List shops, with how old their lists are",
    description: "In the order in which they were added.",
    tags: ["shops"],
    need: "lines:read",
    query: z.strictObject(PageQuery),
    answers: { 200: { description: "A page of shops.", body: pageOf(Shop, "ShopPage") } },
  })(async ({ query }, work, c) =>
    pageReply(await listShops(work, pageFrom(query)), (shop) => shop, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/shops/{id}",
    operationId: "getShop",
    summary: "Read a shop: how old its list is, and what went wrong since",
    tags: ["shops"],
    need: "lines:read",
    record: "shops",
    params: ById,
    answers: { 200: { description: "The shop.", body: Shop } },
    problems: [404],
  })(async ({ params }, work) => ({ status: 200, body: await readShop(work, params.id) })),

  operation({
    method: "patch",
    path: "/v1/shops/{id}",
    operationId: "changeShop",
    summary: "Change a shop, or how its list is read",
    description: "Its currency stays: prices of its list are kept in it.",
    tags: ["shops"],
    need: "lines:write",
    record: "shops",
    params: ById,
    body: z.strictObject(members).partial(),
    answers: { 200: { description: "The shop as it is now.", body: Shop } },
    problems: [404, 409],
    example: { body: { separator: ";", decimal: "," } },
  })(async ({ params, body }, work) => ({ status: 200, body: await changeShop(work, params.id, body) })),

  operation({
    method: "get",
    path: "/v1/shops/{id}/unmatched",
    operationId: "listUnmatched",
    summary: "List what nobody has matched with a line yet, with the likely lines",
    description:
      "In the order of the SKUs. Matched by itself is what has the GTIN, the SKU or the maker's part number of one line.",
    tags: ["shops"],
    need: "lines:read",
    params: ById,
    query: z.strictObject(PageQuery),
    answers: { 200: { description: "A page of things.", body: pageOf(Unmatched, "UnmatchedPage") } },
    problems: [404],
  })(async ({ params, query }, work, c) =>
    pageReply(
      await listUnmatched(work, params.id, pageFrom(query)),
      ({ likely, ...row }) => ({ ...itemShown(row), likely }),
      c.req.url,
    ),
  ),

  operation({
    method: "put",
    path: "/v1/shops/{id}/matches/{shopSku}",
    operationId: "confirmMatch",
    summary: "Say which line a thing on a shop's list is, or that it is none",
    description:
      "Said once, it lasts: later lists of the shop are matched by it before anything else. Say it again to correct it; " +
      "`If-None-Match: *` says it only where nobody has yet.",
    tags: ["shops"],
    need: "lines:write",
    record: "shopMatches",
    params: ByArticle,
    body: z.strictObject({ lineId: Id.nullable().meta({ description: "null: it is no line of the club" }) }),
    answers: { 200: { description: "The thing as it is matched now.", body: ShopMatch } },
    problems: [404],
    example: { params: { shopSku: "GM-331" }, body: { lineId: exampleIds.lineId } },
  })(async ({ params, body }, work) => ({
    status: 200,
    body: matchShown(await confirmMatch(work, params.id, params.shopSku, body.lineId)),
  })),

  operation({
    method: "get",
    path: "/v1/shops/{id}/matches/{shopSku}",
    operationId: "getMatch",
    summary: "Read which line a thing on a shop's list is",
    description:
      "Matched by a number or by a person. What a person said has a version and its ETag, to be sent as If-Match with a correction.",
    tags: ["shops"],
    need: "lines:read",
    record: "shopMatches",
    params: ByArticle,
    answers: { 200: { description: "The thing as it is matched now.", body: ShopMatch } },
    problems: [404],
    example: { params: { shopSku: "GM-331" } },
  })(async ({ params }, work) => ({
    status: 200,
    body: matchShown(await readMatch(work, params.id, params.shopSku)),
  })),
];
