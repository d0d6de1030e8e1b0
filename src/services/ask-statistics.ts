import { DomainError } from "../domain/errors.ts";
import { ConvergenceError } from "../stats/index.ts";

/** The words in which the statistics speak of each other, said in the words of a request. */
const inWordsOfARequest = (message: string): string =>
  message
    .replace(/^\w+ (?=requires |found |did not )/, "The calculation ")
    .replaceAll("lifePosterior with a prior", "a `prior`");

const refusal = (pointer: string, detail: string) =>
  new DomainError("inconsistent", detail, [{ pointer, detail }]);

/**
 * Asks the statistics about numbers that somebody sent, and turns their refusals into ones that say what to change: the
 * one place where that is done. An answer that left the range of numbers is a refusal, too. What is wrong in the program
 * itself passes through.
 *
 * @param pointer the member of the request that the question is about (RFC 6901)
 * @throws {DomainError} `inconsistent`, naming that member
 */
export function asked<T>(pointer: string, calculate: () => T): T {
  let answer: T;
  try {
    answer = calculate();
  } catch (error) {
    const theirs = error instanceof RangeError && /^\w+ requires /.test(error.message);
    if (theirs || error instanceof ConvergenceError)
      throw refusal(pointer, inWordsOfARequest((error as Error).message));
    if (error instanceof DomainError && error.faults.length === 0)
      throw new DomainError(error.code, error.message, [{ pointer, detail: error.message }]);
    throw error;
  }
  if (!allFinite(answer))
    throw refusal(
      pointer,
      "The answer is too large or too small for a number: state the values in another unit",
    );
  return answer;
}

/** Whether no number in plain data is NaN or infinite; functions are not looked into. */
function allFinite(value: unknown): boolean {
  if (typeof value === "number") return Number.isFinite(value);
  if (typeof value !== "object" || value === null) return true;
  return Object.values(value).every(allFinite);
}

/** Refuses with `inconsistent` what would take too long, before it is begun. */
export function requireModest(pointer: string, work: number, most: number, detail: string): void {
  if (!(work <= most)) throw refusal(pointer, detail);
}
