import { parseArgs } from "node:util";
import { v7 } from "uuid";
import { type Role, roles } from "./domain/access.ts";
import { openConfigured } from "./serve.ts";
import { issueKey } from "./services/keep-club.ts";
import { settingsFrom } from "./settings.ts";

const usage = `npm run -s key -- --name NAME --role ${roles.join("|")} [--driver ID]`;

/** Makes a key in the configured database and prints it, alone, on standard output. */
async function main(): Promise<void> {
  const { values } = parseArgs({
    options: { name: { type: "string" }, role: { type: "string" }, driver: { type: "string" } },
  });
  const { name, role, driver } = values;
  if (name === undefined || name.trim() === "") throw new Error(`--name is missing. Usage: ${usage}`);
  if (!roles.includes(role as Role))
    throw new Error(`--role must be one of ${roles.join(", ")}. Usage: ${usage}`);
  if (driver !== undefined && role !== "driver") throw new Error("--driver goes with --role driver");
  const db = await openConfigured(settingsFrom(process.env));
  try {
    const wanted = { name: name.trim(), role: role as Role, driverId: driver ?? null };
    process.stdout.write(`${await issueKey(db, wanted, new Date().toISOString(), () => v7())}\n`);
  } finally {
    await db.destroy();
  }
}

try {
  await main();
} catch (error) {
  process.stderr.write(`${error instanceof Error ? error.message : String(error)}\n`);
  process.exitCode = 1;
}
