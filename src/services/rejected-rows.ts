/** So many faults are listed, of all rows together: enough to mend a list at once, and an answer that can still be sent. */
const listedAtMost = 10_000;

/** A row that is not kept, with its reason. */
export interface RejectedRow {
  /** counted from 1, without the header and without empty lines */
  row: number;
  /** as the shop's list names it; null where the row as a whole is wrong */
  column: string | null;
  sku: string | null;
  detail: string;
}

/** Rejected rows: all counted, the first thousands listed, and the article numbers of those that can be read handed on. */
export class Rejected {
  readonly listed: RejectedRow[] = [];
  total = 0;
  /** whether article numbers were noted, which are to be forgotten again */
  noted = false;
  #skus: string[] = [];
  add(row: number, column: string | null, sku: string | null, detail: string): void {
    this.total += 1;
    if (sku !== null && sku !== "") this.#skus.push(sku);
    this.also(row, column, sku, detail);
  }
  /** Lists one more fault of the row that was added last. */
  also(row: number, column: string | null, sku: string | null, detail: string): void {
    if (this.listed.length < listedAtMost) this.listed.push({ row, column, sku, detail });
  }
  /** how many article numbers wait to be handed on */
  get waiting(): number {
    return this.#skus.length;
  }
  /** Hands on the article numbers that were added since the last time. */
  handOn(): string[] {
    const skus = this.#skus;
    this.#skus = [];
    return skus;
  }
}
