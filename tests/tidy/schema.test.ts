import { existsSync, readFileSync, writeFileSync } from "node:fs";
import { sql } from "kysely";
import { expect, it } from "vitest";
import { openDatabase } from "../../src/storage/database.ts";

const file = "schema/current.sql";

/** One statement with each column and constraint on its own line: SQLite keeps statements as they were given. */
function laidOut(statement: string): string {
  const open = statement.indexOf("(");
  if (!/^create table/i.test(statement) || open < 0) return statement;
  const parts: string[] = [];
  let depth = 0;
  let quoted = "";
  let part = "";
  let end = open;
  for (let i = open + 1; i < statement.length; i++) {
    const c = statement[i]!;
    if (quoted !== "") quoted = c === quoted ? "" : quoted;
    else if (c === "'" || c === '"') quoted = c;
    else if (c === "(") depth += 1;
    else if (c === ")") depth -= 1;
    end = i;
    if (depth < 0) break;
    if (c === "," && depth === 0 && quoted === "") {
      parts.push(part.trim());
      part = "";
    } else part += c;
  }
  parts.push(part.trim());
  return `${statement.slice(0, open).trim()} (\n${parts.map((one) => `  ${one}`).join(",\n")}\n)${statement.slice(end + 1)}`;
}

async function currentSchema(): Promise<string> {
  const db = await openDatabase("file::memory:");
  try {
    const { rows } = await sql<{ name: string; statement: string }>`
      select name, sql as statement from sqlite_master
      where sql is not null and name not like 'kysely\_%' escape '\\' and tbl_name not like 'kysely\_%' escape '\\'
      order by tbl_name, type = 'table' desc, name`.execute(db);
    const head =
      "-- The schema as the migrations of this folder make it in SQLite, for reading.\n" +
      "-- Written by `UPDATE=1 npm test -- tests/tidy/schema.test.ts`; edit a migration instead.\n";
    return `${head}\n${rows.map(({ statement }) => `${laidOut(statement)};\n`).join("\n")}`;
  } finally {
    await db.destroy();
  }
}

it("schema/current.sql is what the migrations make (UPDATE=1 npm test rewrites it)", async () => {
  const made = await currentSchema();
  if (process.env["UPDATE"] !== undefined) writeFileSync(file, made);
  expect(existsSync(file) ? readFileSync(file, "utf8") : "").toBe(made);
});

it("each table of the schema is strict, and each reference to another row is enforced", async () => {
  const db = await openDatabase("file::memory:");
  try {
    const tables = await sql<{ name: string; strict: number }>`
      select name, strict from pragma_table_list
      where schema = 'main' and name not like 'sqlite\_%' escape '\\' and name not like 'kysely\_%' escape '\\'`.execute(
      db,
    );
    expect(tables.rows.length).toBeGreaterThan(0);
    expect(tables.rows.filter(({ strict }) => strict !== 1)).toEqual([]);
    const { rows } = await sql<{ on: number }>`select foreign_keys as "on" from pragma_foreign_keys`.execute(
      db,
    );
    expect(rows).toEqual([{ on: 1 }]);
  } finally {
    await db.destroy();
  }
});

it("a statement is laid out one column to a line, whatever stands in brackets and quotes", () => {
  expect(laidOut(`create table "a" ("b" text, check ("b" in ('x', 'y,(')), unique ("b", "c")) strict`)).toBe(
    `create table "a" (\n  "b" text,\n  check ("b" in ('x', 'y,(')),\n  unique ("b", "c")\n) strict`,
  );
});
