import { existsSync, readdirSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { type Source, sourceOf, sourcesIn } from "./source.ts";

/** What never belongs into a file of these folders, and why. */
interface Rule {
  never: RegExp;
  because: string;
  among: readonly string[];
  planted: string;
}

const rules: Rule[] = [
  {
    never: /(?<![\w.])\/(?:home|Users|root|work|tmp|mnt)\/\w|\b[A-Z]:\\\w/,
    because: "a path of one machine means nothing on another",
    among: ["src", "schema", "seeds", "docs", "tests", "openapi", "."],
    planted: ["", "home", "me", "x"].join("/"),
  },
  {
    never: /\b(?:it|test|describe)\.(?:skip|only|todo|fails)\b|\bx(?:it|describe)\(/,
    because: "a test that does not run, or alone runs, tells nothing",
    among: ["tests"],
    planted: ["it", "only"].join("."),
  },
  {
    never: /\b(?:TODO|FIXME|XXX|HACK|TBD|WIP)\b|\b(?:not (?:yet )?implemented|coming soon|lorem ipsum)\b/i,
    because: "what is not done is not here",
    among: ["src", "schema", "seeds", "docs", "openapi", "."],
    planted: ["to", "do"].join("").toUpperCase(),
  },
  {
    never: /@ts-(?:ignore|nocheck)\b/,
    because: "the compiler's word is heard; @ts-expect-error at least fails once it is needless",
    among: ["src", "schema", "seeds", "tests", "openapi"],
    planted: ["@ts", "ignore"].join("-"),
  },
];

const endings = [".ts", ".md", ".sql", ".json", ".csv", ".yaml", ".html"];
const rootFiles = readdirSync(".").filter((name) => endings.some((ending) => name.endsWith(ending)));
const sourcesOf = (root: string): Source[] => {
  if (root === ".") return rootFiles.map(sourceOf);
  return existsSync(root) ? sourcesIn(root, endings) : [];
};
const found = ({ never }: Rule, { file, text }: Source): string[] =>
  text.split("\n").flatMap((line, i) => (never.test(line) ? [`${file}:${i + 1}: ${line.trim()}`] : []));

describe.each(rules)("$never", (rule) => {
  it(`is nowhere, because ${rule.because}`, () => {
    expect(rule.among.flatMap(sourcesOf).flatMap((source) => found(rule, source))).toEqual([]);
  });
  it("would be seen", () => {
    expect(found(rule, { file: "a.ts", text: `first\n// ${rule.planted} here\n` })).toHaveLength(1);
  });
});

it("src/stats speaks of numbers, not of the trade", () => {
  const trade = /\b(?:spur|pinion|tyre|racer|driver|club|shop|meeting|motor|brush|bush|bench sheet)s?\b/i;
  const rule = { never: trade, because: "", among: [], planted: "" };
  expect(sourcesIn("src/stats", [".ts"]).flatMap((source) => found(rule, source))).toEqual([]);
});
