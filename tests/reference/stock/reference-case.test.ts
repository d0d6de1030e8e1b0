import { readdirSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { expectAll, referenceCase } from "./reference-case.ts";

const source = {
  id: "x",
  title: "x",
  source: "x",
  inputs: {},
  expected: [
    { key: "a", value: 1, tol: 0.1 },
    { key: "b", value: [1, 2] },
    { key: "c", value: 3 },
  ],
};

test("expectAll accepts answers within the tolerance and refuses wrong, missing, unknown and NaN answers", () => {
  expectAll(source, { a: 1.05, b: [1, 2], c: 3 });
  expect(() => expectAll(source, { a: 1.2, b: [1, 2], c: 3 })).toThrow();
  expect(() => expectAll(source, { a: Number.NaN, b: [1, 2], c: 3 })).toThrow();
  expect(() => expectAll(source, { a: 1, b: [1, 3], c: 3 })).toThrow();
  expect(() => expectAll(source, { a: 1, b: [1, 2], c: 3.000001 })).toThrow();
  expect(() => expectAll(source, { a: 1, b: [1, 2] })).toThrow();
  expect(() => expectAll(source, { a: 1, b: [1, 2], c: 3, d: 4 })).toThrow();
});

test("the folder holds 40 cases with 810 expected values", () => {
  const files = readdirSync(join(import.meta.dirname, "cases"));
  const values = files.map((file) => referenceCase(file.replace(".json", "")).expected.length);
  expect(files).toHaveLength(40);
  expect(values.reduce((sum, count) => sum + count, 0)).toBe(810);
});
