import { sql } from "kysely";
import type { Db } from "./database.ts";

/** Does the database answer? */
export async function isAlive(db: Db): Promise<boolean> {
  try {
    await sql`select 1`.execute(db);
    return true;
  } catch {
    return false;
  }
}
