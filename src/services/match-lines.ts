import MiniSearch from "minisearch";
import { gtin14, isGtin } from "../domain/gtin.ts";
import type { Queries } from "../storage/database.ts";
import { allRecords } from "../storage/records.ts";
import { type MatchColumns, matchedRows, updateMatch } from "../storage/stock-lists.ts";
import type { LineRow, ListedRow } from "../storage/tables.ts";
import type { Work } from "./work.ts";

export type Match = Pick<ListedRow, "lineId" | "matchedBy">;
type Known = Pick<ListedRow, "sku" | "gtin" | "mpn">;

/** Lines by a number of theirs; null where two lines have the same one, which then decides nothing. */
function byNumber(lines: readonly LineRow[], numberOf: (line: LineRow) => string | null) {
  const found = new Map<string, string | null>();
  for (const line of lines) {
    const number = numberOf(line);
    if (number !== null) found.set(number, found.has(number) ? null : line.id);
  }
  return found;
}

const folded = (text: string) => text.trim().toLowerCase();

/**
 * Finds the club's line that a thing on a shop's list is: what a person has confirmed before anything else, then the
 * GTIN (whatever length was printed), the SKU, and the maker's part number.
 */
export class LineMatcher {
  readonly #confirmed: ReadonlyMap<string, string | null>;
  readonly #byGtin: ReadonlyMap<string, string | null>;
  readonly #bySku: ReadonlyMap<string, string | null>;
  readonly #byMpn: ReadonlyMap<string, string | null>;

  constructor(lines: readonly LineRow[], confirmed: ReadonlyMap<string, string | null>) {
    this.#confirmed = confirmed;
    this.#byGtin = byNumber(lines, ({ gtin }) => (gtin !== null && isGtin(gtin) ? gtin14(gtin) : null));
    this.#bySku = byNumber(lines, ({ sku }) => folded(sku));
    this.#byMpn = byNumber(lines, ({ makersPartNumber }) =>
      makersPartNumber === null ? null : folded(makersPartNumber),
    );
  }

  match({ sku, gtin, mpn }: Known): Match {
    const confirmed = this.#confirmed.get(sku);
    if (confirmed !== undefined)
      return { lineId: confirmed, matchedBy: confirmed === null ? "none" : "confirmed" };
    const byGtin = gtin === null ? null : this.#byGtin.get(gtin.padStart(14, "0"));
    if (byGtin) return { lineId: byGtin, matchedBy: "gtin" };
    const bySku = this.#bySku.get(folded(sku));
    if (bySku) return { lineId: bySku, matchedBy: "sku" };
    const byMpn = mpn === null ? null : this.#byMpn.get(folded(mpn));
    return byMpn ? { lineId: byMpn, matchedBy: "mpn" } : { lineId: null, matchedBy: null };
  }
}

export async function matcherFor(work: Work, q: Queries, shopId: string): Promise<LineMatcher> {
  const { clubId } = work.actor;
  const [lines, confirmed] = [
    await allRecords(q, "lines", clubId),
    await allRecords(q, "shopMatches", clubId, { shopId }),
  ];
  return new LineMatcher(lines, new Map(confirmed.map(({ shopSku, lineId }) => [shopSku, lineId])));
}

/** Matches a list anew, because lines or confirmed matches changed; only what differs is written. */
export async function rematch(work: Work, q: Queries, shopId: string, listId: string): Promise<void> {
  const matcher = await matcherFor(work, q, shopId);
  for await (const rows of matchedRows(q, listId)) {
    const differing = rows.flatMap((row: MatchColumns) => {
      const match = matcher.match(row);
      return match.lineId === row.lineId && match.matchedBy === row.matchedBy
        ? []
        : [{ sku: row.sku, ...match }];
    });
    for (const one of differing) await updateMatch(q, listId, one);
  }
}

export interface LikelyLine {
  lineId: string;
  sku: string;
  name: string;
  makersPartNumber: string | null;
  /** higher is likelier; compares only within one thing of a list */
  score: number;
}

const likelyShown = 5;

/** "48dp" and "48 DP" are the same words to a person. */
const wordsOf = (text: string) => text.toLowerCase().match(/\p{L}+|\p{N}+/gu) ?? [];
/** "QB SP 487" and "qbsp-487" are the same number. */
const numberOf = (text: string) => [text.toLowerCase().replaceAll(/[^\p{L}\p{N}]/gu, "")];
const isWord = (term: string) => /^\p{L}{4,}$/u.test(term);

/**
 * Ranks the club's lines for things that no number matches: by the words of their names, with letters mistyped, and by
 * numbers that are nearly the same. The rank is that of the library (BM25 over terms within an edit distance).
 */
export function likelyLines(lines: readonly LineRow[]): (row: ListedRow) => LikelyLine[] {
  const index = new MiniSearch<LineRow>({
    fields: ["name", "sku", "makersPartNumber"],
    tokenize: (text, field) => (field === "name" || field === undefined ? wordsOf(text) : numberOf(text)),
  });
  index.addAll(lines);
  const byId = new Map(lines.map((line) => [line.id, line]));
  const words = (text: string) => ({
    ...{ queries: [text], fields: ["name"], tokenize: wordsOf },
    fuzzy: (term: string) => (isWord(term) ? 0.25 : false),
    prefix: isWord,
  });
  const number = (text: string) => ({
    ...{ queries: [text], fields: ["sku", "makersPartNumber"], tokenize: numberOf },
    fuzzy: (term: string) => (term.length > 4 ? 0.2 : false),
  });
  return ({ name, sku, mpn }) => {
    const numbers = [sku, mpn].filter((one) => one !== null);
    const queries = [...(name === null ? [] : [words(name)]), ...numbers.map(number)];
    return index
      .search({ combineWith: "OR", queries })
      .slice(0, likelyShown)
      .map(({ id, score }) => {
        const line = byId.get(id as string)!;
        const { makersPartNumber } = line;
        return {
          lineId: line.id,
          sku: line.sku,
          name: line.name,
          makersPartNumber,
          score: Math.round(score * 100) / 100,
        };
      });
  };
}
