import { parseArgs } from "node:util";
import { v7 } from "uuid";
import { type Role, roles } from "./domain/access.ts";
import { openConfigured } from "./serve.ts";
import { endKey, issueKey, listKeys } from "./services/keep-club.ts";
import { settingsFrom } from "./settings.ts";
import type { Db } from "./storage/database.ts";

const usage = `npm run -s key -- --name NAME --role ${roles.join("|")} [--driver ID]
       npm run -s key -- --list
       npm run -s key -- --revoke ID`;

const options = {
  name: { type: "string" },
  role: { type: "string" },
  driver: { type: "string" },
  list: { type: "boolean" },
  revoke: { type: "string" },
} as const;
type Asked = ReturnType<typeof parseArgs<{ options: typeof options }>>["values"];

/** What is to be done, once the arguments make sense; it gives what is printed. */
function actOf({ name, role, driver, list, revoke }: Asked): (db: Db) => Promise<string> {
  const now = new Date().toISOString();
  if (list === true)
    return async (db) => {
      const keys = await listKeys(db);
      return keys
        .map(({ id, role, name, createdAt, revokedAt }) =>
          [id, role.padEnd(6), createdAt, revokedAt === null ? "holds" : `revoked ${revokedAt}`, name].join(
            "  ",
          ),
        )
        .join("\n");
    };
  if (revoke !== undefined)
    return async (db) => {
      await endKey(db, revoke, now);
      return `The key ${revoke} no longer opens anything`;
    };
  if (name === undefined || name.trim() === "") throw new Error(`--name is missing. Usage: ${usage}`);
  if (!roles.includes(role as Role))
    throw new Error(`--role must be one of ${roles.join(", ")}. Usage: ${usage}`);
  if (driver !== undefined && role !== "driver") throw new Error("--driver goes with --role driver");
  const wanted = { name: name.trim(), role: role as Role, driverId: driver ?? null };
  return (db) => issueKey(db, wanted, now, () => v7());
}

/** Makes, lists or ends keys in the configured database. A new key is printed alone, on standard output. */
async function main(): Promise<void> {
  const act = actOf(parseArgs({ options }).values);
  const db = await openConfigured(settingsFrom(process.env));
  try {
    process.stdout.write(`${await act(db)}\n`);
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
