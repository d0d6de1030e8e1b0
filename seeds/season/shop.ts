import type { Scenario, ScenarioLine, ScenarioSupplier } from "../quillbrook.ts";
import type { Chance } from "./chance.ts";
import { dayOf, daysMs, type Diary, hoursMs, minutesMs, stamp } from "./diary.ts";
import type { Stockroom } from "./stockroom.ts";
import { otherPacksAYear, packsAYear } from "./ways.ts";

/** The club's counter: what it has, sells to members without a log, orders and receives. */
export interface Shop {
  open: (at: number) => void;
  /** everything of one day but what the drivers take: deliveries, sales of the week, orders */
  passDay: (day: number) => void;
}

interface Delivery {
  due: number;
  order: string;
  packs: { line: ScenarioLine; packs: number }[];
  closes: boolean;
}

const shelf = "shelf";
const reviewDays: Record<ScenarioSupplier["orderDays"], number> = {
  weekdays: 7,
  "last-friday": 30,
  quarterly: 91,
};
const yearly = (line: ScenarioLine) => packsAYear[line.kind] ?? otherPacksAYear;

export function openShop(scenario: Scenario, stock: Stockroom, diary: Diary, chance: Chance): Shop {
  const { suppliers } = scenario;
  // A line that is not to be had yet is neither sold nor ordered.
  const lines = scenario.lines.filter((line) => !(line.notes ?? "").includes("available from"));
  const supplierOf = new Map(suppliers.map((supplier) => [supplier.key, supplier]));
  const deliveries: Delivery[] = [];
  const onOrder = new Map<string, number>();
  let orders = 0;

  /** The volunteer's rule of thumb: what sells (half as much again with the drivers of the log) until the next chance, and one. */
  const fullPacks = (line: ScenarioLine): number => {
    const { leadTimeDays, orderDays } = supplierOf.get(line.supplier)!;
    return Math.ceil((1.5 * yearly(line) * (leadTimeDays + reviewDays[orderDays])) / 365) + 1;
  };

  const packsShort = (line: ScenarioLine): number => {
    const have = Math.floor(stock.level(shelf, line.sku) / line.packSize) + (onOrder.get(line.sku) ?? 0);
    const full = fullPacks(line);
    if (have >= full) return 0;
    return Math.ceil((full - have) / line.orderMultiplePacks) * line.orderMultiplePacks;
  };

  function order(supplier: ScenarioSupplier, at: number): void {
    const wanted = lines
      .filter((line) => line.supplier === supplier.key)
      .map((line) => ({ line, packs: packsShort(line) }))
      .filter(({ packs }) => packs > 0);
    if (wanted.length === 0 || !fillToMinimum(supplier, wanted)) return;
    orders += 1;
    const name = `O26-${String(orders).padStart(2, "0")}`;
    for (const { line, packs } of wanted) onOrder.set(line.sku, (onOrder.get(line.sku) ?? 0) + packs);
    const written = wanted.map(({ line, packs }) => ({
      line: line.sku,
      packs,
      priceMinorUnits: line.costMinorUnits,
    }));
    const promisedOn = dayOf(at + supplier.leadTimeDays * daysMs);
    const head = { order: name, supplier: supplier.key, location: shelf, promisedOn };
    diary.write({ type: "order", at: stamp(at), ...head, lines: written });
    dispatch(supplier, name, wanted, at);
  }

  /** Below the minimum an order waits, unless something is sold out: then best sellers fill it up. */
  function fillToMinimum(supplier: ScenarioSupplier, wanted: Delivery["packs"]): boolean {
    const cost = () => wanted.reduce((sum, { line, packs }) => sum + packs * line.costMinorUnits, 0);
    const soldOut = wanted.some(({ line }) => stock.level(shelf, line.sku) === 0);
    const sellers = [...wanted].sort((a, b) => yearly(b.line) - yearly(a.line));
    for (let turn = 0; soldOut && turn < 60 && cost() < supplier.minimumOrderMinorUnits; turn++) {
      const more = sellers[turn % Math.min(5, sellers.length)]!;
      more.packs += more.line.orderMultiplePacks;
    }
    return cost() >= supplier.minimumOrderMinorUnits;
  }

  /** Draws when the order comes; lines that are out of stock follow on their own. */
  function dispatch(supplier: ScenarioSupplier, name: string, wanted: Delivery["packs"], at: number): void {
    const days = (mean: number, sd: number) => Math.max(1, Math.round(chance.gamma(mean, sd)));
    const first = at + days(supplier.leadTimeDays, supplier.leadTimeSdDays) * daysMs;
    const here = wanted.filter(() => chance.happens(supplier.lineFillRate));
    const late = wanted.filter((line) => !here.includes(line));
    const { mean, sd } = supplier.backOrderDays;
    const parts = [
      { due: first, packs: here },
      ...late.map((line) => ({ due: first + days(mean, sd) * daysMs, packs: [line] })),
    ].filter(({ packs }) => packs.length > 0);
    const last = Math.max(...parts.map(({ due }) => due));
    const closing = parts.filter(({ due }) => due === last).at(-1);
    for (const part of parts) deliveries.push({ ...part, order: name, closes: part === closing });
  }

  function receiveDue(day: number): void {
    // In the order they were sent, so that the part that closes an order comes last.
    const due = deliveries.filter((delivery) => dayOf(delivery.due) === dayOf(day));
    for (const { order: name, packs, closes } of due) {
      for (const { line, packs: count } of packs) {
        stock.receive(shelf, line, count * line.packSize);
        onOrder.set(line.sku, onOrder.get(line.sku)! - count);
      }
      const written = packs.map(({ line, packs: count }) => ({ line: line.sku, packs: count }));
      diary.write({ type: "receipt", at: stamp(day), order: name, lines: written, closes });
    }
  }

  function sellWeek(at: number): void {
    const month = dayOf(at).slice(5, 7);
    // Few come in winter, and everyone rebuilds before the first round.
    const season = month === "06" || month === "07" || month === "08" ? 0.7 : month <= "02" ? 1.6 : 1;
    for (const line of lines) {
      const wanted = chance.poisson((yearly(line) * season * 7) / 365);
      const there = stock.level(shelf, line.sku);
      const sold = Math.min(wanted, Math.floor(there / line.packSize)) * line.packSize;
      if (sold > 0) stock.count(shelf, line, there - sold, at, "sold to members who keep no log");
    }
  }

  const isOrderDay = (orderDays: ScenarioSupplier["orderDays"], day: number): boolean => {
    const date = new Date(day);
    if (orderDays === "weekdays") return date.getUTCDay() === 1;
    if (orderDays === "quarterly") return date.getUTCDate() === 15 && date.getUTCMonth() % 3 === 0;
    return date.getUTCDay() === 5 && dayOf(day + 7 * daysMs).slice(0, 7) !== dayOf(day).slice(0, 7);
  };

  return {
    open: (at) => {
      for (const line of lines) {
        const packs = Math.max(1, fullPacks(line) - (chance.happens(0.3) ? 1 : 0));
        stock.count(shelf, line, packs * line.packSize, at, "opening count");
      }
    },
    passDay: (day) => {
      receiveDue(day);
      if (new Date(day).getUTCDay() === 1) sellWeek(day + minutesMs);
      for (const supplier of suppliers)
        if (isOrderDay(supplier.orderDays, day)) order(supplier, day + 2 * hoursMs);
    },
  };
}
