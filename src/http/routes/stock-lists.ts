import type { Context } from "hono";
import { z } from "zod";
import { getShop, readStockListPage } from "../../services/keep-shops.ts";
import { pullStockList } from "../../services/pull-stock-list.ts";
import {
  isEncoding,
  type ListType,
  listTypes,
  maxListBytes,
  maxListRows,
} from "../../services/read-stock-list.ts";
import { pushStockList } from "../../services/push-stock-list.ts";
import { operation } from "../operation.ts";
import { FormError } from "../problem.ts";
import { ById, Currency, Id, Instant, PageQuery, pageFrom, pageReply, queryFlag } from "../schemas.ts";
import { itemShown, ListedItem, productOf, rejectedMembers } from "../stock-list-schemas.ts";

const count = z.number().int().min(0);
const asked = {
  mode: z
    .enum(["full", "changes"], { error: "must be full or changes" })
    .optional()
    .meta({ description: "full: what is not on it is gone; changes: what it does not say stays" }),
  dryRun: queryFlag("true: say what would change, and keep nothing"),
  acceptPartly: queryFlag(
    "true: keep the sound rows of a list that has rejected ones, instead of refusing it; a thing whose row is rejected keeps its last good row, which tells its age",
  ),
};

const ListResult = z
  .object({
    outcome: z.enum(["kept", "kept-partly", "unchanged", "dry-run"]),
    dryRun: z.boolean().meta({ description: "true: nothing was kept" }),
    mode: z.enum(["full", "changes"]),
    arrivedAt: Instant,
    rowsRead: count.meta({
      description: "rows of the list, without the header; 0 where nothing has changed",
    }),
    rowsRejected: count,
    rejected: z
      .array(
        z.object({
          ...rejectedMembers,
          keptFrom: Instant.nullable().meta({
            description: "when the row that counts on for this thing was said; null: there is none",
          }),
        }),
      )
      .meta({
        description:
          "every fault of every rejected row, up to 10,000 of them; a row may be there more than once",
      }),
    keptFromBefore: count.meta({
      description: "things whose row was rejected, and whose last good row counts on",
    }),
    added: count.meta({ description: "things that the list before did not have" }),
    changed: count.meta({ description: "things of which it said something else" }),
    gone: count.meta({ description: "things that only the list before had" }),
    rows: count.meta({ description: "things on the list now; in a dry run, on the one that would count" }),
    matched: count.meta({ description: "of them known to be lines of the club" }),
    unmatched: count.meta({ description: "things of them that nobody has matched yet" }),
    sentence: z.string(),
  })
  .meta({ id: "StockListResult" });

const StockList = z
  .object({
    shopId: Id,
    currency: Currency,
    listedAt: Instant.nullable().meta({
      description: "when the list was last said to be true; null: none was published yet",
    }),
    items: z.array(ListedItem),
    next: z
      .string()
      .nullable()
      .meta({ description: "give it as `after` for the next page; null on the last one" }),
  })
  .meta({ id: "StockList", description: "a page of a shop's list, in the order of its article numbers" });

interface Form {
  type: ListType;
  encoding: string | undefined;
  coding: string;
}

/** How the body is written, from its headers alone. */
function formOf(c: Context): Form {
  const header = c.req.header("content-type") ?? "";
  const [name = "", ...parameters] = header.split(";").map((part) => part.trim().toLowerCase());
  const type = listTypes.find((known) => known === name);
  if (type === undefined)
    throw new FormError(
      "unsupported_media_type",
      `Send the list as ${listTypes.join(", ")}, not "${header}"`,
    );
  const encoding = parameters.find((one) => one.startsWith("charset="))?.replace(/^charset="?|"$/g, "");
  if (encoding !== undefined && !isEncoding(encoding))
    throw new FormError(
      "unsupported_media_type",
      `There is no encoding "${encoding}"; say utf-8, windows-1252, utf-16le, or what the list is written in`,
    );
  const coding = (c.req.header("content-encoding") ?? "identity").trim().toLowerCase();
  if (Number(c.req.header("content-length") ?? 0) > maxListBytes) throw tooLarge();
  return { type, encoding, coding };
}

const tooLarge = () =>
  new FormError(
    "too_large",
    `A list takes at most ${maxListBytes / 2 ** 20} MiB, counted after decompression; the last good list still counts`,
    [],
    { connection: "close" },
  );

const csvExample =
  "sku,name,gtin,mpn,inventoryLevel,price,priceCurrency,availability,deliveryLeadTime\r\n" +
  'QB-SP-487,"Spur gear 87T, 48 DP",6291041500213,SG-4887,4,9.00,AUD,InStock,3-7\r\n' +
  "GM-331,Spur 87 tooth 48 pitch,,,2,8.50,AUD,,\r\n";
const jsonExample =
  '[{"sku":"QB-SP-487","name":"Spur gear 87T, 48 DP","inventoryLevel":4,"price":"9.00","priceCurrency":"AUD"}]';
const linkedExample = JSON.stringify({
  "@context": "https://schema.org",
  "@graph": [
    {
      "@type": "Product",
      sku: "QB-SP-487",
      mpn: "SG-4887",
      name: "Spur gear 87T, 48 DP",
      offers: {
        "@type": "Offer",
        price: "9.00",
        priceCurrency: "AUD",
        availability: "https://schema.org/InStock",
        inventoryLevel: { "@type": "QuantitativeValue", value: 4 },
        deliveryLeadTime: { "@type": "QuantitativeValue", minValue: 3, maxValue: 7, unitCode: "DAY" },
      },
    },
  ],
});

async function* nothing(): AsyncGenerator<Uint8Array> {}

const rules =
  `At most ${maxListRows} rows and ${maxListBytes / 2 ** 20} MiB. A list with a rejected row is refused as a whole ` +
  "(422, with every row that is wrong, up to 10,000 faults, and what to change) unless `acceptPartly` is true; it takes effect in one step, or not at all, " +
  "and the last good list counts on. What is wrong can be read later too, until the shop's next list arrives " +
  "(`GET /v1/shops/{id}/arrivals/{arrivalId}/rejected-rows`). The same list again changes nothing but its age.";

const linkedType = "application/ld+json";
const wantsLinked = (c: Context, format: string | undefined) =>
  format === undefined ? (c.req.header("accept") ?? "").includes(linkedType) : format === "jsonld";

export const stockListOperations = [
  operation({
    method: "put",
    path: "/v1/shops/{id}/stock-list",
    operationId: "publishStockList",
    summary: "Publish a shop's stock list, or what has changed on it",
    description:
      "CSV with a header row, read as the shop says (encoding, separator, decimal sign, names of columns); a JSON " +
      "array with the same members; or products with their offers in schema.org JSON-LD. Columns without a meaning here " +
      `are passed over. It may be compressed (Content-Encoding gzip, br or deflate). ${rules}`,
    tags: ["shops"],
    need: "lines:write",
    params: ById,
    query: z.strictObject(asked),
    streamedBody: {
      "text/csv": { description: "RFC 4180 with a header row", example: csvExample },
      "application/json": { description: "an array of objects, one for each thing", example: jsonExample },
      [linkedType]: {
        description: "products or offers of schema.org: an array, @graph, itemListElement, or one product",
        example: linkedExample,
      },
    },
    answers: { 200: { description: "What became of the list.", body: ListResult } },
    problems: [404, 413, 415],
    example: { query: { mode: "full" } },
  })(async ({ params, query }, work, c) => {
    await getShop(work, params.id);
    const { type, encoding, coding } = formOf(c);
    const { mode = "full", dryRun = false, acceptPartly = false } = query;
    const body = (c.req.raw.body as AsyncIterable<Uint8Array> | null) ?? nothing();
    const length = c.req.header("content-length");
    const result = await pushStockList(work, params.id, {
      ...{ body, coding, length: length === undefined ? null : Number(length) },
      ...{ mode, type, encoding, dryRun, acceptPartly },
    });
    if (result === "too-large") throw tooLarge();
    if (result === "unknown-coding")
      throw new FormError(
        "unsupported_media_type",
        `The coding ${coding} is not read: send gzip, br or deflate`,
      );
    return { status: 200, body: result };
  }),

  operation({
    method: "get",
    path: "/v1/shops/{id}/stock-list",
    operationId: "getStockList",
    summary: "Read what a shop has, as it last said",
    description:
      "In the order of the SKUs. The last good list, with its age. With `format=jsonld`, or Accept: application/ld+json, as products of schema.org.",
    tags: ["shops"],
    need: "lines:read",
    params: ById,
    query: z.strictObject({
      ...PageQuery,
      lineId: Id.optional().meta({ description: "only what is this line of the club" }),
      format: z
        .enum(["json", "jsonld"], { error: "must be json or jsonld" })
        .optional()
        .meta({ description: "json if not given and not asked for by Accept" }),
    }),
    answers: {
      200: {
        description: "A page of the list.",
        body: StockList,
        type: "application/json",
        others: { [linkedType]: JSON.parse(linkedExample) as unknown },
      },
    },
    problems: [404],
  })(async ({ params, query: { limit, after, format, lineId } }, work, c) => {
    const page = await readStockListPage(work, params.id, pageFrom({ limit, after }), { lineId });
    const { shop, listedAt } = page;
    const { body, headers } = pageReply(page, (row) => row, c.req.url);
    const vary = { ...headers, vary: "accept" };
    if (wantsLinked(c, format)) {
      const products = body.items.map((row) => productOf(row, shop.currency));
      const document = { "@context": "https://schema.org", "@graph": products };
      return {
        status: 200,
        headers: { ...vary, "content-type": linkedType },
        body: JSON.stringify(document),
      };
    }
    const { id: shopId, currency } = shop;
    const shown = { shopId, currency, listedAt, items: body.items.map(itemShown), next: body.next };
    return { status: 200, headers: vary, body: JSON.stringify(StockList.parse(shown)) };
  }),

  operation({
    method: "post",
    path: "/v1/shops/{id}/pulls",
    operationId: "pullStockList",
    summary: "Fetch a shop's list from its address now",
    description:
      "Asks with the ETag or the date of the last time, so that an unchanged list is not sent again. Only addresses of " +
      "the public internet are asked unless the service is set up otherwise, also after a redirect. The list is written " +
      `as its Content-Type says. ${rules}`,
    tags: ["shops"],
    need: "lines:write",
    harmlessTwice: true,
    params: ById,
    query: z.strictObject(asked),
    answers: { 200: { description: "What became of the list.", body: ListResult } },
    problems: [404, 502],
  })(async ({ params, query }, work) => ({
    status: 200,
    body: await pullStockList(work, params.id, {
      mode: query.mode,
      dryRun: query.dryRun ?? false,
      acceptPartly: query.acceptPartly ?? false,
    }),
  })),
];
