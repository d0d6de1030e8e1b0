import { startService } from "./serve.ts";
import { settingsFrom } from "./settings.ts";

try {
  await startService({ settings: settingsFrom(process.env) });
} catch (error) {
  process.stderr.write(`${error instanceof Error ? error.message : String(error)}\n`);
  process.exitCode = 1;
}
