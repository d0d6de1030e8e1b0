import type { WearLineFit } from "../stats/index.ts";

/** An answer, and everything that it follows from beside the fit that it is kept with. */
interface Answer {
  from: readonly unknown[];
  said: string;
  needed: number[][];
}
const keptOf = new WeakMap<WearLineFit, Answer[]>();
/** A club asks of a line for all cars, for a few drivers, for a few cars; through a few days. */
const answersKept = 8;

/**
 * The need of a line, worked out anew only where something that it follows from has changed: a run of one car changes
 * the tables of the pieces on it, and the other lines of the club need what they needed before. Kept as long as the
 * line's fit is.
 *
 * @param from tables and other objects that the need follows from, each the same one as long as it says the same
 * @param said all else that it follows from, as text
 */
export function keptNeeds(
  wear: WearLineFit,
  from: readonly unknown[],
  said: string,
  work: () => number[][],
): number[][] {
  const answers = keptOf.get(wear) ?? [];
  keptOf.set(wear, answers);
  const same = (one: Answer) =>
    one.said === said && one.from.length === from.length && one.from.every((part, i) => part === from[i]);
  const at = answers.findIndex(same);
  const answer = at === -1 ? { from, said, needed: work() } : answers.splice(at, 1)[0]!;
  answers.unshift(answer);
  if (answers.length > answersKept) answers.pop();
  return answer.needed;
}
