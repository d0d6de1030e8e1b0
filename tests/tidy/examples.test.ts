import { existsSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";
import { afterAll, beforeAll, describe, expect, it } from "vitest";
import { expectShown } from "./shown.ts";
import { type Source, sourceOf, sourcesIn } from "./source.ts";

/**
 * Runs every ```ts block of the documentation and of the comments in src, and checks each line that ends in
 * `// => value`. Relative imports are read from the documented file's place. In a comment, what the documented
 * file exports can be used without an import.
 */
interface Block {
  line: number;
  code: string;
}

function blocksOf({ text }: Source): Block[] {
  const fence = /^[ \t]*(?:\* )?```ts\r?\n([\s\S]*?)^[ \t]*(?:\* )?```/gm;
  return [...text.matchAll(fence)].map((match) => ({
    line: text.slice(0, match.index).split("\n").length,
    code: match[1]!.replaceAll(/^[ \t]*\*(?: |$)/gm, ""),
  }));
}

/** Turns `expression; // => value`, which may begin on an earlier line, into a check. */
function withChecks(code: string): string {
  const out: string[] = [];
  let statement: string[] = [];
  const flush = () => {
    out.push(...statement);
    statement = [];
  };
  for (const line of code.split("\n")) {
    const shown = /^(.*?);?[ \t]*\/\/ => (.*)$/.exec(line);
    if (shown === null) {
      statement.push(line);
      if (/[;}]\s*(?:\/\/.*)?$|^\s*(?:\/\/.*)?$/.test(line)) flush();
      continue;
    }
    const expression = [...statement, shown[1]!].join("\n");
    statement = [];
    const declared = /^\s*(?:const|let)\s+(\w+)\b/.exec(expression)?.[1];
    if (declared !== undefined) out.push(`${expression};`);
    out.push(`expectShown((${declared ?? expression}), ${JSON.stringify(shown[2]!.trim())});`);
  }
  flush();
  return out.join("\n");
}

/** A module that runs the block: with absolute imports, and with the documented file's own exports if it uses them. */
async function moduleFor(code: string, file: string): Promise<string> {
  const folder = path.dirname(path.resolve(file));
  const body = withChecks(code).replaceAll(
    /\bfrom "(\.[^"]+)"/g,
    (_, to: string) => `from ${JSON.stringify(path.join(folder, to))}`,
  );
  const head = [`import { expectShown } from ${JSON.stringify(path.resolve("tests/tidy/shown.ts"))};`];
  if (file.endsWith(".ts")) {
    const exported = Object.keys((await import(pathToFileURL(path.resolve(file)).href)) as object);
    const imported = [...body.matchAll(/\bimport\s*\{([^}]*)\}/g)].map((match) => match[1]!).join(",");
    const used = exported.filter(
      (name) => new RegExp(`\\b${name}\\b`).test(body) && !new RegExp(`\\b${name}\\b`).test(imported),
    );
    if (used.length > 0)
      head.push(`import { ${used.join(", ")} } from ${JSON.stringify(path.resolve(file))};`);
  }
  return [...head, body].join("\n");
}

const pages = ["README.md", "DEVELOPERS.md"].filter((file) => existsSync(file));
const sources = [
  ...["src", "docs"].flatMap((root) => sourcesIn(root, [".ts", ".md"])),
  ...pages.map(sourceOf),
];
const documented = sources
  .map((source) => ({ file: source.file, blocks: blocksOf(source) }))
  .filter(({ blocks }) => blocks.length > 0);

let folder = "";
beforeAll(() => {
  folder = mkdtempSync(path.join("tests", "tidy", ".example-"));
});
afterAll(() => rmSync(folder, { recursive: true }));

let count = 0;
async function run(code: string, file: string): Promise<void> {
  count += 1;
  const module = path.resolve(folder, `example-${count}.ts`);
  writeFileSync(module, await moduleFor(code, file));
  await import(/* @vite-ignore */ pathToFileURL(module).href);
}

describe.each(documented)("$file", ({ file, blocks }) => {
  it.each(blocks)("gives what its example at line $line shows", async ({ code }) => {
    if (code.includes("// =>")) expect.hasAssertions();
    await run(code, file);
  });
});

describe("the runner of examples", () => {
  const stats = 'import { normalCdf } from "../../src/stats/index.ts";\n';
  it("accepts a number at the digits shown, in lists and objects too", async () => {
    await run(
      `${stats}normalCdf(0); // => 0.50\n[1, { half: normalCdf(0) }]; // => [1, { half: 0.5 }]`,
      "docs/x/a.md",
    );
    await run(
      "const third = 1 / 3; // => 0.333\n[\n  third,\n].map(\n  (x) => 6 * x,\n); // => [2]",
      "docs/x/a.md",
    );
  });
  it.each([
    "normalCdf(0); // => 0.51",
    "normalCdf(0); // => 0",
    '[normalCdf(0)]; // => ["0.5"]',
    "normalCdf(\n0); // => 1.0",
  ])("refuses what is not so: %s", async (code) => {
    await expect(run(stats + code, "docs/x/a.md")).rejects.toThrow(/expected/);
  });
  it("finds the blocks of comments, with their lines", () => {
    const text = "/**\n * Adds.\n *\n * ```ts\n * add(1, 2); // => 3\n * ```\n */\nexport {};\n";
    expect(blocksOf({ file: "src/a.ts", text })).toEqual([{ line: 4, code: "add(1, 2); // => 3\n" }]);
  });
  it("compares whole numbers exactly", () => {
    expectShown(3, "3");
    expect(() => expectShown(2.9, "3")).toThrow();
  });
});
