import type { NeedThrough } from "../domain/restock.ts";
import { convolve } from "../stats/index.ts";
import type { LineRow } from "../storage/tables.ts";
import { capitalised } from "./in-words.ts";
import type { LineDemand } from "./line-demand.ts";
import { oneOf, practiceInWords } from "./practice-sets.ts";

/**
 * The need of what is bought as one line. A line in use that has ended is bought as the one that replaces it: where both
 * are in use, they are served from one stock, and ordered together.
 */
export interface BoughtDemand {
  bought: LineRow;
  /** the lines in use that are bought as this one */
  parts: readonly LineDemand[];
  /** the ids of those lines, and of the one that is bought */
  lineIds: readonly string[];
  drivers: ReadonlySet<string>;
  inUse: number;
  spares: number;
  practice: LineDemand["practice"];
  needs: LineDemand["needs"];
  /** the most pieces that one change takes */
  perChange: number;
}

/**
 * The demands of lines by the line that they are bought as, in the order in which they are met first; of several lines
 * the needs add up, taken as independent.
 */
export function byBought(
  demands: readonly LineDemand[],
  boughtAs: (line: LineRow) => LineRow,
): BoughtDemand[] {
  const found = new Map<string, BoughtDemand>();
  for (const demand of demands) {
    const bought = boughtAs(demand.model.line);
    const before = found.get(bought.id);
    found.set(bought.id, before === undefined ? alone(bought, demand) : withAnother(before, demand));
  }
  return [...found.values()];
}

const alone = (bought: LineRow, demand: LineDemand): BoughtDemand => ({
  bought,
  parts: [demand],
  lineIds: [...new Set([demand.model.line.id, bought.id])],
  drivers: demand.driverIds,
  inUse: demand.inUse,
  spares: demand.spares,
  practice: demand.practice,
  needs: demand.needs,
  perChange: demand.perChange,
});

const withAnother = (before: BoughtDemand, demand: LineDemand): BoughtDemand => ({
  bought: before.bought,
  parts: [...before.parts, demand],
  lineIds: [...new Set([...before.lineIds, demand.model.line.id])],
  drivers: new Set([...before.drivers, ...demand.driverIds]),
  inUse: before.inUse + demand.inUse,
  spares: before.spares + demand.spares,
  practice: [...before.practice, ...demand.practice],
  needs: addedNeeds(before.needs, demand.needs),
  perChange: Math.max(before.perChange, demand.perChange),
});

/** The needs of two lines at the same days, taken as independent. */
export const addedNeeds = (a: LineDemand["needs"], b: readonly NeedThrough[]): LineDemand["needs"] =>
  a.map(({ day, needed }, i) => ({ day, needed: convolve(needed, b[i]!.needed) }));

/** The SKUs of the lines in use that have ended and are bought as another one; null where there is none. */
export function replacedSkus({ bought, parts }: Pick<BoughtDemand, "bought" | "parts">): string | null {
  const skus = parts.filter(({ model }) => model.line.id !== bought.id).map(({ model }) => model.line.sku);
  return skus.length === 0 ? null : skus.join(", ");
}

/** Said of an entry that rests on several lines; empty for one that rests on one. */
export function sharedBy({ bought, parts }: Pick<BoughtDemand, "bought" | "parts">): string {
  if (parts.length === 1) return "";
  const lines = parts.map(({ model }) => model.line.sku);
  const several = lines.length === 2 ? "both" : "all of them";
  return ` ${lines.slice(0, -1).join(", ")} and ${lines.at(-1)} are in use and are bought as ${bought.sku}: need and stock are those of ${several}, counted once.`;
}

/** What is kept for practice at all the places of an entry, and in words how long it serves; null where nothing is. */
export function practiceOf({ practice, parts }: Pick<BoughtDemand, "practice" | "parts">) {
  if (practice.length === 0) return null;
  const sum = (of: (one: LineDemand["practice"][number]) => number) =>
    practice.reduce((total, one) => total + of(one), 0);
  const days = practice.map(({ until }) => until);
  const until = days.includes(null) ? null : (days.toSorted().at(-1) ?? null);
  const all = { sets: sum(({ sets }) => sets), pieces: sum(({ pieces }) => pieces), until };
  const inWords = practiceInWords(all, oneOf(parts[0]!.model.kind));
  return { ...all, sentence: `${capitalised(inWords)}: what races wears in the other runs only.` };
}
