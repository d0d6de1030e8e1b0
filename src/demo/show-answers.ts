import { count, percent, rangeInWords } from "../services/in-words.ts";

/**
 * Four answers for the terminal, each asked of the running service over HTTP: what a front end would do. The shapes
 * below name only what is shown.
 */
export type Ask = <T>(path: string) => Promise<T>;

interface Range<T> {
  p10: T;
  median: T;
  p90: T;
}
interface BenchSheet {
  carName: string;
  minutes: number;
  nextMeeting: { name: string; startsOn: string; runs: number } | null;
  entries: {
    position: string;
    advice: string;
    lasts: number | null;
    wearShare: Range<number>;
    runsSinceSeen: number;
  }[];
}
interface Forecast {
  mark: string;
  usage: number;
  clock: string;
  unit: string | null;
  limit: { value: number };
  sizeNow: Range<number> | null;
  pastLimitChance: number;
  remaining: { runs: Range<number | null>; date: Range<string | null>; calendarEndsOn: string | null };
  restsOn: { sentence: string };
}
interface RestockList {
  cars: number;
  totals: Totals;
  suppliers: {
    supplierName: string | null;
    orderBy: string | null;
    totals: Totals;
    lines: {
      name: string;
      packs: number;
      pieces: number;
      need: Range<number>;
      onHand: number;
      onOrder: number;
      spares: number;
      orderBy: string | null;
      chanceWithout: number;
      chanceWith: number;
      costMinorUnits: number;
      currency: string;
      fromElsewhere: number;
      shelves: { sentence: string }[];
    }[];
  }[];
  enough: unknown[];
}
type Totals = { currency: string; minorUnits: number }[];

const share = (p: number) => `${Math.round(Math.max(0, p) * 100)}`;
const money = (minorUnits: number, currency: string) => {
  const format = new Intl.NumberFormat("en", { style: "currency", currency, currencyDisplay: "code" });
  return format
    .format(minorUnits / 10 ** (format.resolvedOptions().maximumFractionDigits ?? 2))
    .replace(/\s/g, " ");
};
const sum = (totals: Totals) =>
  totals.map((one) => money(one.minorUnits, one.currency)).join(" + ") || "nothing";

function table(rows: readonly (readonly string[])[]): string {
  const widths = rows[0]!.map((_, i) => Math.max(...rows.map((row) => row[i]!.length)));
  return rows
    .map(
      (row) =>
        `   ${row
          .map((cell, i) => cell.padEnd(widths[i]!))
          .join("  ")
          .trimEnd()}`,
    )
    .join("\n");
}

/** What is worn on one car before the next meeting? */
export async function showBenchSheet(ask: Ask, carId: string, driver: string): Promise<string> {
  const sheet = await ask<BenchSheet>(`/v1/cars/${carId}/bench-sheet`);
  const next = sheet.nextMeeting;
  const due = sheet.entries.filter((entry) => entry.advice !== "leave");
  const rows = due.map((entry) => [
    entry.advice,
    entry.position,
    `${share(entry.wearShare.p10)} to ${share(entry.wearShare.p90)} %`,
    entry.lasts === null ? "-" : percent(entry.lasts),
    `${entry.runsSinceSeen} runs ago`,
  ]);
  const when = next === null ? "" : ` before ${next.name} (${next.startsOn}, ${count(next.runs, "run")})`;
  return [
    `1. What is worn on ${driver}'s ${sheet.carName}${when}?`,
    "",
    table([["", "position", "of its limit", "lasts the meeting", "last seen"], ...rows]),
    "",
    `   ${sheet.entries.length - due.length} of ${sheet.entries.length} pieces can be left; the others take about ${sheet.minutes} minutes at the bench.`,
  ].join("\n");
}

/** When will one piece be finished, as runs and as a date? */
export async function showForecast(ask: Ask, pieceId: string, driver: string): Promise<string> {
  const { mark, usage, clock, unit, limit, sizeNow, remaining, restsOn } = await ask<Forecast>(
    `/v1/pieces/${pieceId}/forecast`,
  );
  const { runs, date, calendarEndsOn } = remaining;
  const shown = (day: string | null) => day ?? `after ${calendarEndsOn ?? "the calendar's end"}`;
  const size =
    sizeNow === null
      ? ""
      : ` It measures ${sizeNow.p90.toFixed(1)} to ${sizeNow.p10.toFixed(1)} ${unit} now; the limit is ${limit.value} ${unit}.`;
  return [
    `2. When will ${driver}'s tyre ${mark} be finished?`,
    "",
    `   After ${runs.p10} to ${runs.p90} more runs (middle ${runs.median}): between ${shown(date.p10)} and ${shown(date.p90)} (middle ${shown(date.median)}).`,
    `   It has ${Math.round(usage)} ${clock} behind it.${size}`,
    `   ${restsOn.sentence}`,
  ].join("\n");
}

/** What must the club buy to get to mid-season? */
export async function showRestockList(ask: Ask, through: string): Promise<string> {
  const list = await ask<RestockList>(`/v1/restock-list?through=${through}&target=0.9`);
  const parts = list.suppliers.map((supplier) => {
    const rows = supplier.lines.map((line) => [
      `${count(line.packs, "pack")}`,
      line.name,
      rangeInWords(line.need),
      `${line.onHand + line.onOrder + line.spares}`,
      `${percent(line.chanceWithout)} -> ${percent(line.chanceWith)}`,
      line.orderBy ?? "",
      money(line.costMinorUnits, line.currency),
    ]);
    const head = ["buy", "line", "pieces needed", "there are", "chance of enough", "order by", "cost"];
    return `   ${supplier.supplierName ?? "No supplier"}: ${sum(supplier.totals)}, order by ${supplier.orderBy}\n${table([head, ...rows])}\n`;
  });
  return [
    `3. What must the club buy for its ${list.cars} cars to get through ${through}?`,
    "",
    ...parts,
    `   In all ${sum(list.totals)}. Of ${list.enough.length} more lines there is enough.`,
  ].join("\n");
}

/** Where does a driver find what is to be bought, and what must come from elsewhere? */
export async function showShelves(ask: Ask, through: string, driver: string): Promise<string> {
  const { suppliers } = await ask<RestockList>(`/v1/restock-list?through=${through}&target=0.9`);
  const parts = suppliers
    .flatMap(({ lines }) => lines)
    .map(({ name, pieces, shelves, fromElsewhere }) =>
      [
        `   ${name}: ${count(pieces, "piece")} to buy${fromElsewhere === 0 ? "" : `, ${fromElsewhere} from elsewhere`}`,
        ...shelves.map(({ sentence }) => `      ${sentence}`),
      ].join("\n"),
    );
  return [`4. Which shops have what ${driver} must buy to get through ${through}?`, "", ...parts].join("\n");
}
