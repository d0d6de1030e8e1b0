import type { ScenarioDriver, ScenarioLine } from "../quillbrook.ts";
import { daysMs, type Diary, stamp } from "./diary.ts";

/** Who holds how many pieces of which line, and the movements that made it so. */
export interface Stockroom {
  level: (location: string, sku: string) => number;
  /** when all of it is there: what was bought by post may still be on its way */
  readyAt: (location: string, sku: string) => number;
  /** a stocktake: writes the change to what is really there */
  count: (location: string, line: ScenarioLine, there: number, at: number, notes: string) => void;
  move: (line: ScenarioLine, from: string, to: string, quantity: number, at: number) => void;
  receive: (location: string, line: ScenarioLine, quantity: number) => void;
  /** bought from someone who is not in the log */
  buyElsewhere: (location: string, line: ScenarioLine, quantity: number, at: number) => void;
  /** one piece leaves for a car; the fitting (or the piece, for a pack) is the record of it */
  take: (location: string, sku: string) => void;
}

export function newStockroom(diary: Diary): Stockroom {
  const levels = new Map<string, number>();
  const arrivals = new Map<string, number>();
  const key = (location: string, sku: string) => `${location} ${sku}`;
  const level = (location: string, sku: string) => levels.get(key(location, sku)) ?? 0;
  const change = (location: string, sku: string, quantity: number) => {
    const after = level(location, sku) + quantity;
    if (after < 0) throw new RangeError(`a stockroom requires ${-after} more of ${sku} at ${location}`);
    levels.set(key(location, sku), after);
    return after;
  };
  return {
    level,
    readyAt: (location, sku) => arrivals.get(key(location, sku)) ?? 0,
    count: (location, { sku }, there, at, notes) => {
      const quantity = there - level(location, sku);
      if (quantity === 0) return;
      const levelAfter = change(location, sku, quantity);
      const movement = { at: stamp(at), line: sku, location, quantity, levelAfter, notes };
      diary.write({ type: "movement", reason: "counted", ...movement });
    },
    move: ({ sku }, from, to, quantity, at) => {
      change(from, sku, -quantity);
      change(to, sku, quantity);
      const movement = { at: stamp(at), line: sku, from, to, quantity, notes: null };
      diary.write({ type: "movement", reason: "moved", ...movement });
    },
    receive: (location, { sku }, quantity) => void change(location, sku, quantity),
    buyElsewhere: (location, { sku }, quantity, at) => {
      const levelAfter = change(location, sku, quantity);
      arrivals.set(key(location, sku), at);
      const movement = {
        at: stamp(at),
        line: sku,
        location,
        quantity,
        levelAfter,
        notes: "bought elsewhere",
      };
      diary.write({ type: "movement", reason: "received", ...movement });
    },
    take: (location, sku) => void change(location, sku, -1),
  };
}

export const homeOf = ({ key }: ScenarioDriver): string => `${key}-home`;
export const boxOf = ({ key }: ScenarioDriver): string => `${key}-box`;

/** Where a need for spares is met from, and when they are in hand. */
export interface Spares {
  location: string;
  at: number;
}

/** When spares are looked for: at leisure, the night before a meeting, or during one. */
export type Occasion = "bench" | "night-before" | "pits" | "title";

/**
 * Finds `quantity` pieces for a driver: from the pit box (and home, when there), else from the shelf by the pack,
 * else from elsewhere: by post in four days to the bench, from a trader beside the track at a title.
 *
 * @returns null where nobody has one in time
 */
export function findSpares(
  stock: Stockroom,
  need: { driver: ScenarioDriver; line: ScenarioLine; quantity: number; at: number },
  occasion: Occasion,
): Spares | null {
  const { driver, line, quantity, at } = need;
  const own =
    occasion === "bench" || occasion === "night-before" ? [homeOf(driver), boxOf(driver)] : [boxOf(driver)];
  for (const location of own) {
    const ready = Math.max(at, stock.readyAt(location, line.sku));
    const waits = occasion === "bench" || ready === at;
    if (stock.level(location, line.sku) >= quantity && waits) return { location, at: ready };
  }
  const [location] = own as [string];
  const missing = quantity - stock.level(location, line.sku);
  const bought = Math.ceil(missing / line.packSize) * line.packSize;
  if (occasion !== "title" && stock.level("shelf", line.sku) >= bought) {
    stock.move(line, "shelf", location, bought, at);
    return { location, at: Math.max(at, stock.readyAt(location, line.sku)) };
  }
  if (occasion === "pits" || occasion === "night-before") return null;
  const inHand = occasion === "bench" ? at + 4 * daysMs : at;
  stock.buyElsewhere(location, line, bought, inHand);
  return { location, at: inHand };
}
