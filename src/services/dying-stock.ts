import {
  diesOn,
  disposalCautions,
  dyingPieces,
  type DyingReason,
  dyingReasons,
  salesOf,
} from "../domain/dying-stock.ts";
import type { KindDetails } from "../domain/kind.ts";
import { formatMoney } from "../domain/money.ts";
import { goodUntil } from "../domain/shelf-life.ts";
import { selectClub } from "../storage/clubs.ts";
import { type LineShown, pageOfLines } from "../storage/lines.ts";
import { selectLastMeetingDay } from "../storage/meetings-ahead.ts";
import { allRecords } from "../storage/records.ts";
import type { LineRow } from "../storage/tables.ts";
import { clubDay } from "./calendar-ahead.ts";
import { count, rangeInWords } from "./in-words.ts";
import { checkpointsThrough, daysFrom, totalsOf } from "./needs-ahead.ts";
import { fewestDrivers, requireShelfKeeper } from "./shelf-needs.ts";
import { type LineOutlook, shelfOutlook } from "./shelf-outlook.ts";
import { endingOf } from "./shop-shelves.ts";
import { type OnShop, shopStock } from "./shop-stock.ts";
import { type AgedStock, agedStock, shelfLives } from "./stock-by-age.ts";
import type { Work } from "./work.ts";

/** A shop thinks in years: what is not sold by then waits for a season that may not come. */
const aheadDays = 365;

/**
 * What lies on a shop's shelf and will not be sold within a year: what no car uses, what is or will be too old, what has
 * been replaced, and what is more than a year needs; with the money in it. Nothing rests on fewer than three drivers.
 *
 * @throws {DomainError} `not_found`, or `not_allowed` for a driver
 */
export async function dyingStock(work: Work, shopId: string) {
  const { clubId } = work.actor;
  const stock = await shopStock(work, shopId);
  requireShelfKeeper(work, "What dies on a shop's shelf");
  const today = await clubDay(work);
  const through = daysFrom(today, aheadDays);
  const [club, kinds, { items: lines }, calendarEndsOn] = await Promise.all([
    selectClub(work.db, clubId),
    allRecords(work.db, "kinds", clubId),
    pageOfLines(work.db, clubId, { limit: 1_000_000, after: null }),
    selectLastMeetingDay(work.db, clubId),
  ]);
  const days = await checkpointsThrough(work, through);
  const outlook = await shelfOutlook(work, { today, days, lines });
  const aged = await agedStock(work, stock, await shelfLives(work, lines));
  const lives = await shelfLives(work, lines);
  const kindById = new Map(
    kinds.map(({ id, code, details }) => [id, { code, ...(JSON.parse(details) as KindDetails) }]),
  );
  const byId = new Map<string, LineRow>(lines.map((line) => [line.id, line]));
  const onShelf = (id: string) => stock.onHand.get(id) ?? 0;
  const found = lines.flatMap((line) => {
    const on = stock.lines.get(line.id);
    return on === undefined || on.pieces === 0
      ? []
      : [{ line, on, aged: aged.get(line.id) ?? null, outlook: outlook.of(line, onShelf) }];
  });
  const items = found.flatMap((one) => {
    const kind = kindById.get(one.line.kindId)!;
    const taken = stock.takenPastYear === null ? null : (stock.takenPastYear.get(one.line.id) ?? 0);
    const { driversSharing } = outlook;
    const item = itemOf({ ...one, kind, taken, byId, today, days, driversSharing });
    return item === null ? [] : [item];
  });
  items.sort((a, b) => (b.moneyMinorUnits ?? -1) - (a.moneyMinorUnits ?? -1) || (a.sku < b.sku ? -1 : 1));
  const totals = totalsOf(items.map((one) => ({ ...one, costMinorUnits: one.moneyMinorUnits ?? 0 })));
  const shelfTotals = totalsOf(
    found.map(({ line, on }) => ({
      currency: on.price?.currency ?? line.currency,
      costMinorUnits: moneyIn(on, on.pieces) ?? 0,
    })),
  );
  const { driversSharing, drivers } = outlook;
  const short = calendarEndsOn === null || calendarEndsOn < daysFrom(through, -92);
  return {
    shopId,
    shopName: stock.shop.name,
    locationId: stock.shop.locationId,
    asOf: work.now(),
    through,
    currency: club.currency,
    driversSharing,
    drivers,
    calendarEndsOn,
    listedAt: stock.list?.listedAt ?? null,
    linesOnShelf: found.length,
    shelfTotals,
    totals,
    items,
    withheld: found.filter((one) => one.outlook.needs === null).map(({ line }) => line.sku),
    undated: found.filter((one) => isUndated(one, lives)).map(({ line }) => line.sku),
    uncounted: stock.uncounted,
    unmatched: stock.list?.unmatched ?? 0,
    cautions: [...new Set(items.flatMap(({ cautions }) => cautions))],
    sentence: `Of ${count(found.length, "line")} on the shelf of ${stock.shop.name} (${said(shelfTotals)}) ${items.length} ${items.length === 1 ? "has" : "have"} pieces that are not likely to be sold by ${through}, and ${said(totals)} in them; what ${driversSharing} of ${drivers} drivers will need is known${short ? `, and the calendar ends on ${calendarEndsOn ?? "no day at all"}: nothing is needed after it` : ""}.`,
  };
}

const said = (totals: readonly { currency: string; minorUnits: number }[]) =>
  totals.map((money) => `${money.currency} ${formatMoney(money)}`).join(" and ") || "nothing";

interface Found {
  line: LineShown;
  on: OnShop;
  aged: AgedStock | null;
  outlook: LineOutlook;
}

/** Has the line a shelf life, and are there pieces of which nobody wrote down when they came in? */
function isUndated({ line, on, aged }: Found, lives: ReadonlyMap<string, number>): boolean {
  if (!lives.has(line.id)) return false;
  const dated = aged === null ? 0 : goodUntil(aged).reduce((sum, { pieces }) => sum + pieces, 0);
  return dated < (on.pieces === null ? Infinity : on.pieces - on.held);
}

const moneyIn = ({ price, line }: OnShop, pieces: number | null) =>
  price === null || pieces === null ? null : Math.round((price.minorUnits * pieces) / line.packSize);

interface Looked extends Found {
  kind: KindDetails & { code: string };
  taken: number | null;
  byId: ReadonlyMap<string, LineRow>;
  today: string;
  days: readonly string[];
  driversSharing: number;
}

function itemOf(looked: Looked) {
  const { line, on, aged, outlook, kind, taken, byId, today, days } = looked;
  const replacedBy = lastOf(line, byId);
  // What is promised to somebody is as good as sold.
  const free = on.pieces === null ? null : on.pieces - on.held;
  if (free === 0) return null;
  const reasons = dyingReasons(
    {
      pieces: free,
      packSize: line.packSize,
      carStopper: kind.carStopper,
      ageing: aged,
      endedOn: line.endedOn,
      replaced: replacedBy !== null,
      needs: outlook.needs,
      use: outlook.use,
      takenPastYear: taken,
    },
    days,
    today,
  );
  if (reasons.length === 0) return null;
  const dying = dyingPieces(reasons, free);
  const needed = outlook.needs?.at(-1)?.needed;
  const sales = needed === undefined ? null : salesOf(needed, free ?? Infinity);
  const isAged = reasons.some(({ reason }) => aging.has(reason));
  const disposal = kind.usedBy === "pack" ? disposalCautions.pack : disposalCautions.other;
  return {
    lineId: line.id,
    sku: line.sku,
    name: line.name,
    kindCode: kind.code,
    source: on.source,
    asOf: on.asOf,
    pieces: on.pieces,
    heldPieces: on.held,
    packSize: line.packSize,
    priceMinorUnits: on.price?.minorUnits ?? null,
    currency: on.price?.currency ?? line.currency,
    dyingPieces: dying,
    moneyMinorUnits: moneyIn(on, dying),
    reasons,
    diesOn: diesOn(reasons),
    endedOn: line.endedOn,
    replacedBy:
      replacedBy === null ? null : { lineId: replacedBy.id, sku: replacedBy.sku, name: replacedBy.name },
    outlook: outlook.needs === null ? ("withheld" as const) : ("known" as const),
    expectedSales: sales,
    takenPastYear: taken,
    cautions: isAged ? [...kind.cautions, disposal] : [],
    sentence: sentenceOf(looked, reasons, sales),
  };
}

const aging: ReadonlySet<string> = new Set(["past-shelf-life", "ages-before-sale"]);

/** What a line is replaced by in the end; null where nothing replaces it. */
function lastOf(line: LineRow, byId: ReadonlyMap<string, LineRow>): LineRow | null {
  let last: LineRow | null = null;
  for (let hops = 0, id = line.supersededById; hops < 20 && id !== null; hops++) {
    last = byId.get(id) ?? last;
    id = byId.get(id)?.supersededById ?? null;
  }
  return last;
}

/** What to do about it; the first reason of an item that has several decides. */
const remedies: Record<DyingReason["reason"], string> = {
  "past-shelf-life":
    "take what is too old off sale, and get rid of it as local disposal rules and the maker's instructions say",
  "ages-before-sale": "sell the oldest first, and order none before they are gone",
  ended: "offer it to those who still use it, and order no more",
  ends: "buy no more than will be sold",
  superseded: "sell it before what replaces it",
  "no-car": "mark it down, swap it or send it back",
  "not-in-use": "offer it to those whose car takes it, or mark it down",
  "more-than-needed": "order no more of it",
};
const byUrgency = Object.keys(remedies) as DyingReason["reason"][];

function sentenceOf(
  { line, on, outlook, taken, byId, today, days, driversSharing }: Looked,
  reasons: readonly DyingReason[],
  sales: ReturnType<typeof salesOf> | null,
): string {
  const why = reasons.map(({ reason, pieces, on: day }) => {
    const n = count(pieces ?? 0, "piece");
    const says: Record<DyingReason["reason"], string> = {
      "no-car": `none of the ${driversSharing} drivers who share their need uses it, and hardly any has a car for it`,
      "not-in-use": `cars could take it, but none of the ${driversSharing} drivers who share their need uses it`,
      "past-shelf-life": `${n} past shelf life since ${day}`,
      "ages-before-sale": `${n} may pass the shelf life, the first on ${day}, before they are sold`,
      ended: `it ${endingOf(line, byId, today)}`,
      ends: `it ${endingOf(line, byId, today)}`,
      superseded: `it ${endingOf(line, byId, today)}`,
      "more-than-needed": `${n} more than a year needs`,
    };
    return says[reason];
  });
  const there =
    on.pieces === null
      ? "an untold number on the shelf"
      : `${count(on.pieces, "piece")} on the shelf${on.held > 0 ? `, ${on.held} of them held for drivers` : ""}`;
  const sold =
    sales === null
      ? `; what will be needed is not shown, for fewer than ${fewestDrivers} drivers stand behind it`
      : outlook.use === "used"
        ? `; the drivers who share are likely to need ${rangeInWords(sales)} of them by ${days.at(-1)}`
        : "";
  const past = taken === null ? "" : `; ${taken} left the shelf in the past year`;
  const first = byUrgency.find((one) => reasons.some(({ reason }) => reason === one))!;
  return `${there}: ${why.join("; ")}${sold}${past}; ${remedies[first]}.`;
}
