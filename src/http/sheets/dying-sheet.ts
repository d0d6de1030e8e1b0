import { dayIn } from "../../domain/club-time.ts";
import type { dyingStock } from "../../services/dying-stock.ts";
import { longDay } from "../charts/frame.ts";
import { amounts, decimal } from "./restock-sheet.ts";
import { type Column, dayOrNone, type Sheet } from "./sheet.ts";

type Dying = Awaited<ReturnType<typeof dyingStock>>;
type Row = Dying["items"][number];

const number = (heading: string) => ({ heading, number: true as const });
const money = (minorUnits: number | null, currency: string) =>
  minorUnits === null ? null : decimal(minorUnits, currency);

const columns: Column<Row>[] = [
  { name: "name", of: (row) => row.name, page: { heading: "Article" } },
  { name: "sku", of: (row) => row.sku, page: { heading: "SKU" } },
  { name: "kind", of: (row) => row.kindCode },
  { name: "pieces", of: (row) => row.pieces, page: number("On the shelf") },
  { name: "heldPieces", of: (row) => row.heldPieces },
  { name: "dyingPieces", of: (row) => row.dyingPieces, page: number("Not to be sold") },
  { name: "packSize", of: (row) => row.packSize },
  { name: "price", of: (row) => money(row.priceMinorUnits, row.currency) },
  {
    name: "money",
    of: (row) => money(row.moneyMinorUnits, row.currency),
    page: {
      ...number("Money in them"),
      of: (row) =>
        row.moneyMinorUnits === null
          ? "–"
          : `${decimal(row.moneyMinorUnits, row.currency)}\u00a0${row.currency}`,
    },
  },
  { name: "currency", of: (row) => row.currency },
  { name: "reasons", of: (row) => row.reasons.map(({ reason }) => reason).join("; ") },
  {
    name: "diesOn",
    of: (row) => row.diesOn,
    page: { heading: "Dies on", of: (row) => dayOrNone(row.diesOn) },
  },
  { name: "endedOn", of: (row) => row.endedOn },
  {
    name: "replacedBy",
    of: (row) => row.replacedBy?.sku ?? null,
    page: { heading: "Replaced by" },
  },
  { name: "outlook", of: (row) => row.outlook },
  { name: "salesP10", of: (row) => row.expectedSales?.p10 ?? null },
  { name: "salesMedian", of: (row) => row.expectedSales?.median ?? null },
  { name: "salesP90", of: (row) => row.expectedSales?.p90 ?? null },
  { name: "takenPastYear", of: (row) => row.takenPastYear, page: number("Left in the past year") },
  { name: "source", of: (row) => row.source },
  { name: "cautions", of: (row) => row.cautions.join(" ") || null },
  { name: "why", of: (row) => row.sentence, page: { heading: "Why, and what to do" } },
  { name: "lineId", of: (row) => row.lineId },
];

/** What dies on a shelf, as a page and a table. */
export function dyingSheet(dying: Dying, timeZone: string): Sheet<Row> {
  const { withheld, undated, uncounted, unmatched } = dying;
  const named = (what: string, skus: readonly string[]) =>
    skus.length === 0 ? [] : [`${what}: ${skus.join(", ")}.`];
  return {
    title: `Dead and dying stock: ${dying.shopName}`,
    facts: [
      dying.sentence,
      `As of ${longDay(dayIn(timeZone, dying.asOf))}. In all: ${amounts(dying.totals)}.`,
      ...named("Fewer than three drivers behind it, so that no need is shown", withheld),
      ...named("Nobody wrote down when it came in, so that its age is not known", undated),
      ...named("The shop's list does not say how many there are of", uncounted),
      ...(unmatched > 0 ? [`Not matched with a line, and not looked at: ${unmatched} on the list.`] : []),
    ],
    notes: { heading: "Take care", items: dying.cautions },
    columns,
    sections: [{ caption: "Dead or dying", rows: dying.items, none: "Nothing." }],
  };
}
