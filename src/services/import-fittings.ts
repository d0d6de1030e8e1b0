import type { FittingRow } from "../storage/tables.ts";
import { groupedBy } from "./grouped-by.ts";
import type { Faults } from "./import-faults.ts";

type Span = Pick<FittingRow, "pieceId" | "carId" | "positionId" | "fittedAt" | "removedAt">;
/** A span that comes in has the row it stood in; one of the books has null. */
interface Placed extends Span {
  row: number | null;
  mark: string;
}

const contentOf = ({ pieceId, positionId, fittedAt, removedAt }: Span) =>
  [pieceId, positionId, fittedAt, removedAt].join("\n");

/** Is `end` after `start`? An open end always is. */
const reaches = (end: string | null, start: string) => end === null || end > start;

/** A piece is in one place at a time, and a position holds one piece: the spans there are, and those that come in. */
export class FreeSpans {
  readonly #spans: Placed[] = [];
  readonly #known = new Set<string>();

  constructor(onBooks: readonly FittingRow[]) {
    const unique = new Map(onBooks.map((fitting) => [fitting.id, fitting]));
    for (const fitting of unique.values()) {
      this.#known.add(contentOf(fitting));
      this.#spans.push({ ...fitting, row: null, mark: "" });
    }
  }

  has(span: Span): boolean {
    return this.#known.has(contentOf(span));
  }

  add(span: Span, row: number, mark: string): void {
    this.#known.add(contentOf(span));
    this.#spans.push({ ...span, row, mark });
  }

  /** Says of each span that came in and overlaps another what is there at that time. */
  addFaults(faults: Faults): void {
    const overlaps = (key: "pieceId" | "positionId", detail: (other: Placed) => string) => {
      for (const spans of groupedBy(this.#spans, (span) => span[key]).values()) {
        spans.sort((a, b) => (a.fittedAt < b.fittedAt ? -1 : a.fittedAt > b.fittedAt ? 1 : 0));
        let longest: Placed | undefined;
        for (const span of spans) {
          if (longest !== undefined && reaches(longest.removedAt, span.fittedAt)) {
            const [late, other] = span.row === null ? [longest, span] : [span, longest];
            if (late.row !== null) faults.add(late.row, "fittedAt", detail(other));
          }
          if (
            longest === undefined ||
            span.removedAt === null ||
            reaches(span.removedAt, longest.removedAt ?? "~")
          )
            longest = span;
        }
      }
    };
    const when = (other: Placed) =>
      `from ${other.fittedAt} ${other.removedAt === null ? "on" : `to ${other.removedAt}`}${other.row === null ? "" : ` (row ${other.row + 1})`}`;
    overlaps(
      "pieceId",
      (other) => `the piece is fitted ${when(other)}; say when it came off, or give another time`,
    );
    overlaps(
      "positionId",
      (other) =>
        `another piece is fitted at that position ${when(other)}; say when it came off, or give another time`,
    );
  }
}
