import { existsSync } from "node:fs";
import path from "node:path";
import { expect, it } from "vitest";
import { operations } from "../../src/http/routes/index.ts";
import { tags } from "../../src/http/tags.ts";
import * as stats from "../../src/stats/index.ts";
import { type Source, sourceOf, sourcesIn } from "./source.ts";

const specs = operations.map(({ spec }) => spec);
const called = ({ method, path }: { method: string; path: string }) => `${method.toUpperCase()} ${path}`;

/** The names that the text lacks as whole words. */
const unnamed = (names: readonly string[], text: string) =>
  names.filter((name) => !new RegExp(`\\b${name}\\b`).test(text));

it("every public function of src/stats is named on a page of docs/methods", () => {
  const methods = sourcesIn("docs/methods", [".md"])
    .map(({ text }) => text)
    .join("\n");
  const functions = Object.entries(stats)
    .filter(([, value]) => typeof value === "function")
    .map(([name]) => name);
  expect(functions.length).toBeGreaterThan(0);
  expect(unnamed(functions, methods)).toEqual([]);
});

it("a name that is only part of a longer one does not count as named", () => {
  expect(unnamed(["normal", "normalCdf"], "`normalCdf(z)` is …")).toEqual(["normal"]);
});

it("every operation has an id of its own, a summary without a full stop, and one of the groups", () => {
  expect(specs.length).toBeGreaterThan(0);
  const ids = specs.map(({ operationId }) => operationId);
  expect(ids.filter((id, i) => ids.indexOf(id) !== i || !/^[a-z][A-Za-z]+$/.test(id))).toEqual([]);
  expect(specs.filter(({ summary }) => !/^[A-Z].*[^.]$/.test(summary)).map(called)).toEqual([]);
  const groups = tags.map(({ name }) => name as string);
  expect(specs.filter((spec) => !groups.includes(spec.tags[0])).map(called)).toEqual([]);
});

it("every operation that takes a body shows one, and the body shown is valid", () => {
  const bare = specs.filter(({ body, example }) => body !== undefined && example?.body === undefined);
  expect(bare.map(called)).toEqual([]);
  const faulty = specs.filter(
    ({ body, example }) => body !== undefined && !body.safeParse(example?.body).success,
  );
  expect(faulty.map(called)).toEqual([]);
  const streamed = specs.flatMap((spec) =>
    Object.entries(spec.streamedBody ?? {})
      .filter(([, { example }]) => example === "")
      .map(([type]) => `${called(spec)} ${type}`),
  );
  expect(streamed).toEqual([]);
});

/** Says a description in which order a list comes? */
const saysOrder = (description = "") => /\bin the order\b/i.test(description);

it("every operation that answers in pages says in which order", () => {
  const paged = specs.filter(({ query }) => query !== undefined && "after" in query.shape);
  expect(paged.length).toBeGreaterThan(20);
  expect(paged.filter(({ description }) => !saysOrder(description)).map(called)).toEqual([]);
  expect(saysOrder("Everybody sees all names.")).toBe(false);
});

it("every operation under /v1 needs a key, and every answer is described", () => {
  expect(specs.filter(({ need, path }) => path.startsWith("/v1/") === (need === null)).map(called)).toEqual(
    [],
  );
  const mute = specs.filter(({ answers }) =>
    Object.values(answers).some(({ description }) => description.trim() === ""),
  );
  expect(mute.map(called)).toEqual([]);
});

/** The files of this project that a page links to or names in `code`, as paths from the root. */
function filesNamedBy({ file, text }: Source): string[] {
  const links = [...text.matchAll(/\]\((?![a-z]+:|#)([^)#\s]+)/g)].map((match) =>
    path.posix.join(path.posix.dirname(file), match[1]!),
  );
  const named = [...text.matchAll(/`((?:src|tests|schema|seeds|docs|openapi)\/[\w./-]*)`/g)];
  return [...links, ...named.map((match) => match[1]!)];
}

it("every file that a page links to or names is there", () => {
  const pages = [
    ...sourcesIn("docs", [".md"]),
    ...["README.md", "DEVELOPERS.md"].filter((file) => existsSync(file)).map(sourceOf),
  ];
  const missing = pages.flatMap((page) =>
    filesNamedBy(page)
      .filter((file) => !existsSync(file))
      .map((file) => `${page.file} names ${file}`),
  );
  expect(missing).toEqual([]);
});

it("links and names of files are found on a page", () => {
  const text = "[a](../b.md#c), [out](https://a.test/x.md), [here](#d), `src/e.ts`, `npm run src/x`";
  expect(filesNamedBy({ file: "docs/methods/a.md", text })).toEqual(["docs/b.md", "src/e.ts"]);
});
