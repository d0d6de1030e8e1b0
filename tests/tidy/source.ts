import { readdirSync, readFileSync } from "node:fs";
import path from "node:path";

/** Reads the project's own files as text, for the tests that hold it to its rules. */

export interface Source {
  /** path from the project's root, with slashes */
  file: string;
  text: string;
}

export const sourceOf = (file: string): Source => ({ file, text: readFileSync(file, "utf8") });

/** Every file below `root` with one of the endings, in the order of their names. */
export const sourcesIn = (root: string, endings: readonly string[]): Source[] =>
  readdirSync(root, { recursive: true, encoding: "utf8" })
    .map((file) => path.posix.join(root, file.split(path.sep).join("/")))
    .filter((file) => endings.some((ending) => file.endsWith(ending)))
    .filter((file) => !/(^|\/)(node_modules|dist|\.example-[^/]*)\//.test(file))
    .sort()
    .map(sourceOf);

/** The text without its comments; strings stay, so that "https://…" is not cut. */
export const codeOf = (text: string): string =>
  text.replaceAll(
    /("(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'|`(?:\\.|[^`\\])*`)|\/\*[\s\S]*?\*\/|\/\/.*$/gm,
    (_, string: string | undefined) => string ?? "",
  );

/** The text without comments and without what stands in quotes (a template's text stays, for it holds code). */
export const bareCodeOf = (text: string): string =>
  codeOf(text).replaceAll(/"(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'/g, '""');

/** What a module asks for: the targets of import and export … from, of import(…), require(…) and resolve(…). */
export const importsOf = (text: string): string[] =>
  [
    ...codeOf(text).matchAll(
      /(?:\bfrom\s*|\bimport\s*|\bimport\s*\(\s*|\brequire\s*\(\s*|\)\.resolve\s*\(\s*)["']([^"'\s]+)["']/g,
    ),
  ].map((match) => match[1]!);
