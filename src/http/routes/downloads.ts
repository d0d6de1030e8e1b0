import { benchSheet } from "../../services/bench-sheet.ts";
import { clubTimeZone } from "../../services/calendar-ahead.ts";
import { dyingStock } from "../../services/dying-stock.ts";
import { orderProposals } from "../../services/order-proposals.ts";
import { pitList } from "../../services/pit-list.ts";
import { purchaseOrder } from "../../services/purchase-order.ts";
import { restockList } from "../../services/restock-list.ts";
import type { Work } from "../../services/work.ts";
import { type Operation, operation, type Spec } from "../operation.ts";
import { benchPage } from "../sheets/bench-page.ts";
import { dyingSheet } from "../sheets/dying-sheet.ts";
import { orderPage } from "../sheets/order-page.ts";
import { pitPage } from "../sheets/pit-page.ts";
import { proposalSheet } from "../sheets/proposal-sheet.ts";
import { restockSheet } from "../sheets/restock-sheet.ts";
import { pageHeaders, type Sheet, sheetCsv, sheetPage } from "../sheets/sheet.ts";
import { benchSheetOperations } from "./bench-sheet.ts";
import { dyingStockOperations } from "./dying-stock.ts";
import { orderProposalOperations } from "./order-proposals.ts";
import { orderOperations } from "./orders.ts";
import { pitListOperations } from "./pit-list.ts";
import { restockOperations } from "./restock.ts";

/** An answer that can be taken along: beside its JSON stand a file for spreadsheets and a page to print. */
interface Download<Query> {
  /** the answer as JSON: what may be asked, by whom and with which parameters is taken from it */
  beside: Operation | undefined;
  /** where the two stand, without their ending; the path of the JSON if not given */
  path?: string;
  /** the stem of their operation ids */
  id: string;
  /** what it is, in the middle of a sentence */
  what: string;
  sheet: (work: Work, asked: { id: string; query: Query; timeZone: string }) => Promise<Written>;
}

/** A sheet as either of the two: whoever sends it does not need to know its sort of rows. */
interface Written {
  csv: () => string;
  page: () => string;
}
const written = <Row>(sheet: Sheet<Row>): Written => ({
  csv: () => sheetCsv(sheet),
  page: () => sheetPage(sheet),
});

const named = (operations: readonly Operation[], operationId: string) =>
  operations.find(({ spec }) => spec.operationId === operationId);

function downloads<Query>({ beside, path, id, what, sheet }: Download<Query>): Operation[] {
  const { spec } = beside!;
  const shared = {
    method: "get",
    tags: spec.tags,
    need: spec.need,
    ...(spec.params && { params: spec.params }),
    ...(spec.query && { query: spec.query }),
    ...(spec.problems && { problems: spec.problems }),
    ...(spec.example && { example: spec.example }),
  } as const satisfies Partial<Spec>;
  const stem = path ?? spec.path;
  const fileName = stem.split("/").at(-1)!;
  const made = async ({ params, query }: { params: unknown; query: unknown }, work: Work) =>
    sheet(work, {
      id: (params as { id?: string } | undefined)?.id ?? "",
      query: query as Query,
      timeZone: await clubTimeZone(work),
    });
  return [
    operation({
      ...shared,
      path: `${stem}.csv`,
      operationId: `${id}Csv`,
      summary: `Download ${what} as a file for spreadsheets`,
      description:
        "CSV by RFC 4180: UTF-8, comma, decimal point, one header row. Moments are in UTC. The numbers are those of the JSON answer; money is in major units. Text that a spreadsheet would take for a formula begins with an apostrophe.",
      answers: { 200: { description: "The file.", type: "text/csv; charset=utf-8; header=present" } },
    })(async (input, work) => ({
      status: 200,
      body: (await made(input, work)).csv(),
      headers: { "content-disposition": `attachment; filename="${fileName}.csv"` },
    })),
    operation({
      ...shared,
      path: `${stem}.html`,
      operationId: `${id}Page`,
      summary: `Read or print ${what} as a page`,
      description:
        "A page without scripts, for print and for a phone. The numbers are those of the JSON answer, rounded for reading, and days are those of the club's time zone.",
      answers: { 200: { description: "The page.", type: "text/html; charset=utf-8" } },
    })(async (input, work) => ({
      status: 200,
      body: (await made(input, work)).page(),
      headers: pageHeaders,
    })),
  ];
}

export const downloadOperations = [
  ...downloads<Parameters<typeof restockList>[1]>({
    beside: named(restockOperations, "restockList"),
    id: "restockList",
    what: "the restock list",
    sheet: async (work, { query, timeZone }) =>
      written(restockSheet(await restockList(work, query), timeZone)),
  }),
  ...downloads<Parameters<typeof benchSheet>[2]>({
    beside: named(benchSheetOperations, "benchSheet"),
    id: "benchSheet",
    what: "the bench sheet of a car",
    sheet: async (work, { id, query, timeZone }) =>
      written(benchPage(await benchSheet(work, id, query), timeZone)),
  }),
  ...downloads<Parameters<typeof pitList>[2]>({
    beside: named(pitListOperations, "pitList"),
    id: "pitList",
    what: "the pit list of a car",
    sheet: async (work, { id, query, timeZone }) =>
      written(pitPage(await pitList(work, id, query), timeZone)),
  }),
  ...downloads<undefined>({
    beside: named(orderOperations, "getOrder"),
    path: "/v1/orders/{id}/purchase-order",
    id: "purchaseOrder",
    what: "an order as it goes to the supplier",
    sheet: async (work, { id, timeZone }) => written(orderPage(await purchaseOrder(work, id), timeZone)),
  }),
  ...downloads<Parameters<typeof orderProposals>[2]>({
    beside: named(orderProposalOperations, "orderProposals"),
    id: "orderProposals",
    what: "what a shop should order",
    sheet: async (work, { id, query, timeZone }) =>
      written(proposalSheet(await orderProposals(work, id, query), timeZone)),
  }),
  ...downloads<undefined>({
    beside: named(dyingStockOperations, "dyingStock"),
    id: "dyingStock",
    what: "what dies on a shop's shelf",
    sheet: async (work, { id, timeZone }) => written(dyingSheet(await dyingStock(work, id), timeZone)),
  }),
];
