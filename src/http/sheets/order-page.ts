import { dayIn } from "../../domain/club-time.ts";
import type { purchaseOrder } from "../../services/purchase-order.ts";
import { longDay } from "../charts/frame.ts";
import { amounts, decimal } from "./restock-sheet.ts";
import type { Column, Sheet } from "./sheet.ts";

type Order = Awaited<ReturnType<typeof purchaseOrder>>;
type Row = Order["lines"][number];

const number = (heading: string) => ({ heading, number: true as const });

const columns: Column<Row>[] = [
  { name: "name", of: (row) => row.name, page: { heading: "Article" } },
  { name: "sku", of: (row) => row.sku, page: { heading: "SKU" } },
  { name: "makersPartNumber", of: (row) => row.makersPartNumber, page: { heading: "Maker's number" } },
  { name: "gtin", of: (row) => row.gtin, page: { heading: "GTIN" } },
  { name: "packs", of: (row) => row.packs, page: number("Packs") },
  { name: "pieces", of: (row) => row.pieces, page: number("Pieces in them") },
  {
    name: "price",
    of: (row) => decimal(row.priceMinorUnits, row.currency),
    page: number("Price of a pack"),
  },
  {
    name: "cost",
    of: (row) => decimal(row.costMinorUnits, row.currency),
    page: {
      ...number("Cost"),
      of: (row) => `${decimal(row.costMinorUnits, row.currency)}\u00a0${row.currency}`,
    },
  },
  { name: "currency", of: (row) => row.currency },
  { name: "receivedPieces", of: (row) => row.receivedPieces, page: number("Came") },
  { name: "outstandingPieces", of: (row) => row.outstandingPieces, page: number("To come") },
  { name: "lineId", of: (row) => row.lineId },
];

/** An order as it goes to the supplier, and as it is held against what comes. */
export function orderPage(order: Order, timeZone: string): Sheet<Row> {
  return {
    title: `Purchase order to ${order.supplierName}`,
    facts: [
      `From ${order.clubName}, placed on ${longDay(dayIn(timeZone, order.placedAt))}, for ${order.locationName}.`,
      `Number: ${order.id}.`,
      `Total: ${amounts(order.totals)}.`,
      order.promisedOn === null ? "No day is promised." : `Promised for ${longDay(order.promisedOn)}.`,
      ...(order.open ? [] : ["This order is closed."]),
      ...(order.notes === null ? [] : [`Notes: ${order.notes}`]),
    ],
    columns,
    sections: [{ caption: "Ordered", rows: order.lines, none: "Nothing." }],
  };
}
