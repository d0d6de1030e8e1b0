import { z } from "zod";
import { listArrivals, listRejectedRows } from "../../services/list-arrivals.ts";
import { operation } from "../operation.ts";
import { ById, Id, Instant, PageQuery, pageFrom, pageOf, pageReply } from "../schemas.ts";
import { rejectedMembers } from "../stock-list-schemas.ts";

const count = z.number().int().min(0);

const Arrived = z
  .object({
    id: Id,
    arrivedAt: Instant,
    way: z.enum(["push", "pull"]),
    mode: z.enum(["full", "changes"]),
    outcome: z
      .enum(["arriving", "kept", "kept-partly", "refused", "failed"])
      .meta({ description: "refused: something is wrong with it; failed: the service could not keep it" }),
    bytes: count.meta({ description: "length in bytes, after decompression" }),
    rowsRead: count.meta({
      description: "rows of the list, without the header; 0 where it could not be read to its end",
    }),
    rejected: count.meta({
      description:
        "rows that are wrong: they were not kept, or the whole list was refused because of them; what is wrong with them can be read of the last arrival",
    }),
    added: count,
    changed: count,
    gone: count,
    reason: z.string().nullable().meta({ description: "why it was not kept" }),
  })
  .meta({ id: "StockListArrival" });

const RejectedRow = z.object(rejectedMembers).meta({
  id: "RejectedRow",
  description: "one thing that is wrong with a row of a shop's list",
});

const ByArrival = ById.extend({ arrivalId: Id.meta({ description: "id of the arrival" }) });

export const arrivalOperations = [
  operation({
    method: "get",
    path: "/v1/shops/{id}/arrivals",
    operationId: "listArrivals",
    summary: "List how a shop's lists arrived, the newest first, with the reason where one was refused",
    description:
      "In the order of arrival, the newest first. An arrival that was the same as the list before leaves no entry.",
    tags: ["shops"],
    need: "lines:read",
    params: ById,
    query: z.strictObject(PageQuery),
    answers: { 200: { description: "A page of arrivals.", body: pageOf(Arrived, "StockListArrivalPage") } },
    problems: [404],
  })(async ({ params, query }, work, c) =>
    pageReply(await listArrivals(work, params.id, pageFrom(query)), (row) => row, c.req.url),
  ),

  operation({
    method: "get",
    path: "/v1/shops/{id}/arrivals/{arrivalId}/rejected-rows",
    operationId: "listRejectedRows",
    summary:
      "List what is wrong with the rows of a shop's last list, also of one that was fetched on schedule",
    description:
      "In the order in which it was found: every fault of every rejected row, up to 10,000 of them; a row may be there " +
      "more than once. Whether the list was refused or kept in part, they are kept until the shop's next list arrives, " +
      "and are not found from then on (404). A list that is the same as the one that counts leaves no entry, and takes " +
      "the place of none.",
    tags: ["shops"],
    need: "lines:read",
    params: ByArrival,
    query: z.strictObject(PageQuery),
    answers: { 200: { description: "A page of faults.", body: pageOf(RejectedRow, "RejectedRowPage") } },
    problems: [404],
  })(async ({ params, query }, work, c) =>
    pageReply(
      await listRejectedRows(work, params, pageFrom(query)),
      ({ row, column, sku, detail }) => ({ row, column, sku, detail }),
      c.req.url,
    ),
  ),
];
