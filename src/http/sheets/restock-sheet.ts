import { dayIn } from "../../domain/club-time.ts";
import { formatMoney } from "../../domain/money.ts";
import { count, percent, percents, rangeInWords } from "../../services/in-words.ts";
import type { restockList } from "../../services/restock-list.ts";
import { longDay } from "../charts/frame.ts";
import { type Column, dayOrNone, type Sheet } from "./sheet.ts";

type List = Awaited<ReturnType<typeof restockList>>;
type Row = List["enough"][number] & { supplierName: string | null };

export const amounts = (totals: readonly { currency: string; minorUnits: number }[]): string =>
  totals.map((money) => `${formatMoney(money)} ${money.currency}`).join(" and ") || "nothing";
/** Money with its decimals, as a spreadsheet takes it; the currency stands in a column of its own. */
export const decimal = (minorUnits: number, currency: string): string =>
  formatMoney({ minorUnits, currency });

/** Where it lies on shops' shelves, at what price, and how old that knowledge is; null where no shop has it. */
export const shelvesOf = ({ shelves }: { shelves: readonly { sentence: string }[] }): string | null =>
  shelves.map(({ sentence }) => sentence).join(" ") || null;

const chancesOf = ({ chanceWithout, chanceWith }: Row) => percents(chanceWithout, chanceWith);

const columns: Column<Row>[] = [
  { name: "supplier", of: (row) => row.supplierName },
  {
    name: "name",
    of: (row) => row.name,
    page: {
      heading: "Part",
      of: (row) => [row.name, row.insteadOf === null ? null : ` (in place of ${row.insteadOf})`],
    },
  },
  { name: "sku", of: (row) => row.sku, page: { heading: "SKU" } },
  { name: "insteadOf", of: (row) => row.insteadOf },
  { name: "packs", of: (row) => row.packs, page: { heading: "Packs to order", number: true } },
  { name: "packSize", of: (row) => row.packSize },
  { name: "orderMultiplePacks", of: (row) => row.orderMultiplePacks },
  { name: "leastPacks", of: (row) => row.leastPacks },
  { name: "pieces", of: (row) => row.pieces, page: { heading: "Pieces in them", number: true } },
  { name: "price", of: (row) => decimal(row.priceMinorUnits, row.currency) },
  {
    name: "cost",
    of: (row) => decimal(row.costMinorUnits, row.currency),
    page: {
      heading: "Cost",
      of: (row) => `${decimal(row.costMinorUnits, row.currency)}\u00a0${row.currency}`,
      number: true,
    },
  },
  { name: "currency", of: (row) => row.currency },
  {
    name: "orderBy",
    of: (row) => row.orderBy,
    page: {
      heading: "Order by",
      of: (row) => (row.late ? "now: it may come too late" : dayOrNone(row.orderBy)),
    },
  },
  { name: "late", of: (row) => row.late },
  { name: "inUse", of: (row) => row.inUse },
  {
    name: "needP10",
    of: (row) => row.need.p10,
    page: {
      heading: "Likely need",
      of: (row) => rangeInWords(row.need),
      number: true,
    },
  },
  { name: "needMedian", of: (row) => row.need.median },
  { name: "needP90", of: (row) => row.need.p90 },
  { name: "onHand", of: (row) => row.onHand, page: { heading: "On hand", number: true } },
  { name: "onOrder", of: (row) => row.onOrder, page: { heading: "On order", number: true } },
  { name: "spares", of: (row) => row.spares, page: { heading: "Part-worn", number: true } },
  { name: "ageing", of: (row) => row.ageing },
  { name: "onShelf", of: (row) => row.onShelf, page: { heading: "On the club's shelf", number: true } },
  {
    name: "chanceWithout",
    of: (row) => row.chanceWithout,
    page: { heading: "Chance it lasts without", of: (row) => chancesOf(row)[0]!, number: true },
  },
  {
    name: "chanceWith",
    of: (row) => row.chanceWith,
    page: { heading: "With the order", of: (row) => chancesOf(row)[1]!, number: true },
  },
  { name: "fromShelves", of: (row) => row.fromShelves },
  { name: "fromElsewhere", of: (row) => row.fromElsewhere },
  { name: "shelves", of: shelvesOf, page: { heading: "On shops' shelves" } },
  { name: "reorderPoint", of: (row) => row.reorderPoint },
  { name: "orderUpTo", of: (row) => row.orderUpTo },
  { name: "why", of: (row) => row.sentence },
  { name: "cautions", of: (row) => row.cautions.join(" ") },
  { name: "lineId", of: (row) => row.lineId },
];

/** The restock list as a sheet: what to order, supplier by supplier, and what is enough as it is. */
export function restockSheet(list: List, timeZone: string): Sheet<Row> {
  const named = (rows: List["enough"], supplierName: string | null): Row[] =>
    rows.map((row) => ({ ...row, supplierName }));
  const supplied = list.suppliers.map(
    ({ supplierName, orderBy, totals, belowMinimumByMinorUnits, toReachMinimum, lines }) => ({
      caption: supplierName ?? "No supplier named",
      facts: [
        `${lines.some(({ late }) => late) ? "Order now" : `Order by ${dayOrNone(orderBy)}`}. ${amounts(totals)} in all.`,
        ...(belowMinimumByMinorUnits > 0
          ? [
              `${decimal(belowMinimumByMinorUnits, list.currency)} ${list.currency} below this supplier's minimum order.`,
            ]
          : []),
        ...((toReachMinimum?.length ?? 0) > 0
          ? [
              `To reach it, take as well what will most likely be used anyway: ${toReachMinimum!.map(({ name, packs }) => `${count(packs, "pack")} of ${name}`).join(", ")}.`,
            ]
          : []),
        ...lines.flatMap(({ name, practice }) =>
          practice === null
            ? []
            : [`${name}: ${practice.sentence[0]!.toLowerCase()}${practice.sentence.slice(1)}`],
        ),
      ],
      rows: named(lines, supplierName),
    }),
  );
  return {
    title: `Restock list through ${longDay(list.through)}`,
    facts: [
      list.sentence,
      `As of ${longDay(dayIn(timeZone, list.asOf))}. To order: ${amounts(list.totals)}. Wanted ${list.targetKind === "fill" ? "share of the need to be served" : "chance of each line not running out"}: ${percent(list.target)}.`,
    ],
    columns,
    cautions: [...list.suppliers.flatMap(({ lines }) => lines), ...list.enough].flatMap(
      ({ cautions }) => cautions,
    ),
    sections: [
      ...(supplied.length === 0
        ? [{ caption: "To order", rows: [], none: "Nothing has to be ordered." }]
        : supplied),
      { caption: "Enough as it is", rows: named(list.enough, null) },
    ],
  };
}
