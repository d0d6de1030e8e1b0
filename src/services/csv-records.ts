/**
 * Splits the text of a CSV file into records as it arrives (RFC 4180; records end with CRLF or LF, the separator is
 * stated). Own code because an import is to keep up with the database: lines without a quote, which most are, are split
 * in one step, which took a fifth of the time of csv-parse. A test holds it to csv-parse on random tables.
 */

/** The quotes do not match, or a record has no end; no more records can be told apart. */
export class CsvBroken extends Error {}

const quote = '"';

export class CsvRecords {
  readonly #separator: string;
  readonly #longest: number;
  readonly #take: (cells: string[]) => void;
  #rest = "";

  /** @param longest characters of a record; more are taken for a quote that was never closed */
  constructor(separator: string, longest: number, take: (cells: string[]) => void) {
    this.#separator = separator;
    this.#longest = longest;
    this.#take = take;
  }

  /** @throws {CsvBroken} */
  write(text: string): void {
    this.#split(this.#rest + text, false);
    if (this.#rest.length > this.#longest)
      throw new CsvBroken("the row is longer than a row can be: is a closing quote missing?");
  }

  /** @throws {CsvBroken} */
  end(): void {
    this.#split(this.#rest, true);
  }

  #split(text: string, last: boolean): void {
    let from = 0;
    let nextQuote = text.indexOf(quote);
    while (from < text.length) {
      const feed = text.indexOf("\n", from);
      const end = feed < 0 ? text.length : feed;
      if (nextQuote >= 0 && nextQuote < end) {
        const next = this.#quoted(text, from, last);
        if (next === null) break;
        from = next;
        if (nextQuote < from) nextQuote = text.indexOf(quote, from);
        continue;
      }
      if (feed < 0 && !last) break;
      const line = text.slice(from, text[end - 1] === "\r" && end > from ? end - 1 : end);
      if (line !== "") this.#take(line.split(this.#separator));
      from = end + 1;
    }
    this.#rest = text.slice(from);
  }

  /** Takes one record that has quotes. @returns where the next one begins, or null where more text is needed */
  #quoted(text: string, start: number, last: boolean): number | null {
    const cells: string[] = [];
    for (let from = start; ; ) {
      let end: number;
      if (text[from] === quote) {
        const close = closingQuote(text, from);
        if (close < 0 || (close === text.length - 1 && !last)) return unfinished(last);
        cells.push(text.slice(from + 1, close).replaceAll(quote + quote, quote));
        end = close + 1;
      } else {
        const feed = text.indexOf("\n", from);
        const separator = text.indexOf(this.#separator, from);
        if (feed < 0 && separator < 0 && !last) return null;
        end = separator >= 0 && (feed < 0 || separator < feed) ? separator : feed < 0 ? text.length : feed;
        const cell = text.slice(
          from,
          end !== separator && text[end - 1] === "\r" && end > from ? end - 1 : end,
        );
        if (cell.includes(quote))
          throw new CsvBroken(
            'a quote stands inside a cell that is not quoted: quote the whole cell and double the quote (""), as in RFC 4180',
          );
        cells.push(cell);
      }
      if (text[end] === this.#separator) {
        from = end + 1;
        continue;
      }
      if (text[end] === "\r" && (text[end + 1] === "\n" || (last && end + 1 === text.length))) end += 1;
      else if (text[end] === "\r" && end + 1 === text.length) return null;
      if (end < text.length && text[end] !== "\n")
        throw new CsvBroken(
          'a quoted cell goes on after its closing quote: double a quote that is part of the text (""), as in RFC 4180',
        );
      if (end === text.length && !last) return null;
      this.#take(cells);
      return end + 1;
    }
  }
}

function unfinished(last: boolean): null {
  if (last)
    throw new CsvBroken("the file ends inside a quoted cell: was it cut off, or is a closing quote missing?");
  return null;
}

/** Where the cell that begins with a quote at `from` ends; -1 where it does not. Two quotes stand for one. */
function closingQuote(text: string, from: number): number {
  let close = text.indexOf(quote, from + 1);
  while (close >= 0 && text[close + 1] === quote) close = text.indexOf(quote, close + 2);
  return close;
}
