import { execFile } from "node:child_process";
import { readFileSync } from "node:fs";
import { promisify } from "node:util";

const run = promisify(execFile);

/** Commands of a page, and what they are said to print; null where the page says nothing. */
export interface Step {
  commands: string;
  printed: string | null;
}

/** The blocks of commands (sh) of a page, each with the block of text that follows it directly. */
export function stepsOf(page: string): Step[] {
  const blocks = [...page.matchAll(/^```(\w+)\n([\s\S]*?)^```$/gm)];
  return blocks.flatMap(([, language, commands], i) => {
    if (language !== "sh") return [];
    const next = blocks[i + 1];
    return [{ commands: commands!, printed: next?.[1] === "text" ? next[2]!.trimEnd() : null }];
  });
}

const between = "-- end of the step --";

/** Runs all commands of a page in one shell, in a folder of its own, and gives what each step printed. */
export const runPage = (file: string, folder: string, environment: Record<string, string>) =>
  runSteps(readFileSync(file, "utf8"), folder, environment);

/** Runs all commands of a text as `runPage` does. */
export async function runSteps(
  text: string,
  folder: string,
  environment: Record<string, string>,
): Promise<{ step: Step; printed: string }[]> {
  const steps = stepsOf(text);
  const script = ["set -eu", ...steps.flatMap(({ commands }) => [commands, `echo; echo '${between}'`])];
  const { stdout } = await run("sh", ["-c", script.join("\n")], {
    cwd: folder,
    env: { PATH: process.env["PATH"], ...environment },
  });
  const printed = stdout.split(`${between}\n`);
  return steps.map((step, i) => ({ step, printed: (printed[i] ?? "").trimEnd() }));
}
