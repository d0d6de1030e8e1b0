import { DomainError, type Fault } from "../domain/errors.ts";
import { WrongAt } from "./import-cells.ts";
import { asSentence } from "./in-words.ts";

/** More would only say the same again. */
const listedAtMost = 100;

const escaped = (name: string) => name.replaceAll("~", "~0").replaceAll("/", "~1");

/** What is wrong with a table, row by row: counted to the end, and listed as far as it helps. */
export class Faults {
  readonly #listed: Fault[] = [];
  #first = "";
  #total = 0;

  get total(): number {
    return this.#total;
  }

  /** @param row counted from 0, without the header and without empty lines */
  add(row: number, column: string | null, detail: string): void {
    const where = column === null ? "" : `/${escaped(column)}`;
    this.#add(`#/rows/${row}${where}`, `row ${row + 1}${column === null ? "" : `, ${column}`}: ${detail}`);
  }

  /** Keeps a thing that was read from a row, or says what is wrong with it. */
  sort<T extends object>(row: number, found: T | WrongAt, keep: (thing: T) => void): void {
    if (found instanceof WrongAt) this.add(row, found.column, found.detail);
    else keep(found);
  }

  addToHeader(name: string | null, detail: string): void {
    this.#add(`#/header${name === null ? "" : `/${escaped(name)}`}`, detail);
  }

  #add(pointer: string, detail: string): void {
    if (this.#total === 0) this.#first = detail;
    this.#total += 1;
    if (this.#listed.length < listedAtMost) this.#listed.push({ pointer, detail });
  }

  /** @throws {DomainError} `import_refused` if anything is wrong */
  refuse(): void {
    if (this.#total === 0) return;
    const more =
      this.#total === 1
        ? "That is the only error."
        : `There are ${this.#total} errors in all${this.#total > listedAtMost ? `, of which the first ${listedAtMost} are listed` : ""}.`;
    throw new DomainError(
      "import_refused",
      `${asSentence(this.#first)} ${more} Nothing was kept.`,
      this.#listed,
    );
  }
}

/** Refuses a body that cannot be read on as a table. */
export const unreadable = (detail: string): DomainError =>
  new DomainError("import_refused", `${detail}. Nothing was kept.`);
