import { dayIn } from "../../domain/club-time.ts";
import type { orderProposals } from "../../services/order-proposals.ts";
import { longDay } from "../charts/frame.ts";
import { amounts, decimal } from "./restock-sheet.ts";
import { type Column, dayOrNone, type Sheet } from "./sheet.ts";

type Proposals = Awaited<ReturnType<typeof orderProposals>>;
type Supplier = Proposals["suppliers"][number];
type Line = Supplier["lines"][number];
type Ordered = NonNullable<Supplier["topUp"]>[number];
/** Where a row stands: in the order, brought forward into it, to fill it up, or in a later order. */
interface Row {
  list: "order" | "brought-forward" | "top-up" | "later";
  supplier: Supplier;
  ordered: Ordered;
  line: Line | null;
}

const ofLine =
  <T>(of: (line: Line) => T) =>
  ({ line }: Row): T | null =>
    line === null ? null : of(line);
const number = (heading: string) => ({ heading, number: true as const });
const words = {
  order: "Order",
  "brought-forward": "Order, brought forward",
  "top-up": "To reach the minimum",
  later: "Later",
};

const columns: Column<Row>[] = [
  { name: "supplier", of: ({ supplier }) => supplier.supplierName },
  { name: "advice", of: ({ supplier }) => supplier.advice },
  { name: "orderOn", of: ({ supplier }) => supplier.orderOn },
  {
    name: "name",
    of: ({ ordered }) => ordered.name,
    page: { heading: "Article" },
  },
  { name: "list", of: ({ list }) => list, page: { heading: "In", of: ({ list }) => words[list] } },
  { name: "sku", of: ({ ordered }) => ordered.sku, page: { heading: "SKU" } },
  {
    name: "makersPartNumber",
    of: ({ ordered }) => ordered.makersPartNumber,
    page: {
      heading: "Maker's number, GTIN",
      of: ({ ordered: { makersPartNumber, gtin } }) =>
        [makersPartNumber, gtin].filter((one) => one !== null).join(", ") || "–",
    },
  },
  { name: "gtin", of: ({ ordered }) => ordered.gtin },
  { name: "packs", of: ({ ordered }) => ordered.packs, page: number("Packs") },
  { name: "packSize", of: ({ ordered }) => ordered.packSize },
  { name: "pieces", of: ({ ordered }) => ordered.pieces, page: number("Pieces in them") },
  {
    name: "price",
    of: ({ ordered }) => decimal(ordered.priceMinorUnits, ordered.currency),
    page: number("Price of a pack"),
  },
  {
    name: "cost",
    of: ({ ordered }) => decimal(ordered.costMinorUnits, ordered.currency),
    page: {
      ...number("Cost"),
      of: ({ ordered: { costMinorUnits, currency } }) =>
        `${decimal(costMinorUnits, currency)}\u00a0${currency}`,
    },
  },
  { name: "currency", of: ({ ordered }) => ordered.currency },
  { name: "orderFrom", of: ofLine(({ orderFrom }) => orderFrom) },
  {
    name: "orderBy",
    of: ofLine(({ orderBy }) => orderBy),
    page: {
      heading: "Order by",
      of: ({ line }) =>
        line === null ? "–" : line.late ? "now: it may come too late" : dayOrNone(line.orderBy),
    },
  },
  { name: "late", of: ofLine(({ late }) => late) },
  { name: "shortOn", of: ofLine(({ shortOn }) => shortOn) },
  { name: "arrivalP10", of: ofLine(({ arrival }) => arrival.p10) },
  {
    name: "arrivalMedian",
    of: ofLine(({ arrival }) => arrival.median),
    page: {
      heading: "There between",
      of: ({ line }) =>
        line === null ? "–" : [dayOrNone(line.arrival.p10), " and ", dayOrNone(line.arrival.p90)],
    },
  },
  { name: "arrivalP90", of: ofLine(({ arrival }) => arrival.p90) },
  { name: "needP10", of: ofLine(({ need }) => need.p10) },
  { name: "needMedian", of: ofLine(({ need }) => need.median) },
  { name: "needP90", of: ofLine(({ need }) => need.p90) },
  { name: "onHand", of: ofLine(({ onHand }) => onHand), page: number("On hand") },
  { name: "heldPieces", of: ofLine(({ heldPieces }) => heldPieces) },
  { name: "onOrder", of: ofLine(({ onOrder }) => onOrder) },
  { name: "takenPastYear", of: ofLine(({ takenPastYear }) => takenPastYear) },
  { name: "reorderPoint", of: ofLine(({ reorderPoint }) => reorderPoint) },
  { name: "orderUpTo", of: ofLine(({ orderUpTo }) => orderUpTo) },
  { name: "ended", of: ofLine(({ ended }) => ended) },
  { name: "boughtThrough", of: ofLine(({ boughtThrough }) => boughtThrough) },
  { name: "chanceWith", of: ofLine(({ chanceWith }) => chanceWith) },
  { name: "why", of: ofLine(({ sentence }) => sentence) },
  { name: "lineId", of: ({ ordered }) => ordered.lineId },
];

function rowsOf(supplier: Supplier): Row[] {
  const row = (list: Row["list"], ordered: Ordered, line: Line | null): Row => ({
    list,
    supplier,
    ordered,
    line,
  });
  return [
    ...supplier.lines.map((line) => row(line.broughtForward ? "brought-forward" : "order", line, line)),
    ...(supplier.topUp ?? []).map((ordered) => row("top-up", ordered, null)),
    ...supplier.later.map((line) => row("later", line, line)),
  ];
}

/** The proposals as a page and a table: one section for each supplier. */
export function proposalSheet(proposals: Proposals, timeZone: string): Sheet<Row> {
  const { suppliers, withheld, uncounted } = proposals;
  return {
    title: `Order proposals: ${proposals.shopName}, through ${longDay(proposals.through)}`,
    facts: [
      proposals.sentence,
      `As of ${longDay(dayIn(timeZone, proposals.asOf))}. In all: ${amounts(proposals.totals)}.`,
      ...(withheld.length === 0 ? [] : [`Fewer than three drivers behind it: ${withheld.join(", ")}.`]),
      ...(uncounted.length === 0
        ? []
        : [`The shop's list does not say how many there are of: ${uncounted.join(", ")}.`]),
    ],
    columns,
    sections:
      suppliers.length === 0
        ? [{ caption: "Orders", rows: [], none: "Nothing has to be ordered." }]
        : suppliers.map((supplier) => ({
            caption: supplier.supplierName ?? "No supplier named",
            facts: [
              supplier.sentence,
              ...(supplier.supplierNotes === null ? [] : [`Notes: ${supplier.supplierNotes}`]),
            ],
            rows: rowsOf(supplier),
          })),
  };
}
