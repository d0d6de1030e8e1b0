import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect } from "vitest";

type Expected = { key: string; value: unknown; tol?: number };

/** One case of cases/*.json. `inputs` is typed by the test that knows the case. */
export type ReferenceCase<Inputs> = {
  id: string;
  title: string;
  source: string;
  inputs: Inputs;
  expected: Expected[];
};

export function referenceCase<Inputs>(id: string): ReferenceCase<Inputs> {
  const path = join(import.meta.dirname, "cases", `${id}.json`);
  return JSON.parse(readFileSync(path, "utf8")) as ReferenceCase<Inputs>;
}

/**
 * Compares every expected value of a case with the answers, numbers at the case's own tolerance, and refuses answers
 * that the case does not know: a misspelt key cannot pass unseen.
 */
export function expectAll(reference: ReferenceCase<unknown>, answers: Record<string, unknown>): void {
  const keys = reference.expected.map(({ key }) => key);
  expect(Object.keys(answers).sort()).toEqual([...keys].sort());
  const differing = reference.expected.filter(({ key, value, tol }) => {
    const answer = answers[key];
    if (typeof value === "number" && tol !== undefined) {
      return !(typeof answer === "number" && Math.abs(answer - value) <= tol);
    }
    return JSON.stringify(answer) !== JSON.stringify(value);
  });
  expect(
    differing.map(({ key, value, tol }) => ({ key, value, tol, answer: answers[key] })),
    `${reference.id}: ${reference.title}`,
  ).toEqual([]);
}
