import { type Kysely, sql } from "kysely";
import { columnTypes, createTable, type Dialect, type Step } from "./types.ts";

/**
 * What was wrong with the rows of the last list that arrived from each shop: nobody is there to read the answer when a
 * list is fetched on schedule. One row for each fault, numbered in the order in which they were found.
 */
// biome-ignore lint/suspicious/noExplicitAny: a migration runs before any table type is true
async function up(db: Kysely<any>, dialect: Dialect): Promise<void> {
  const { text, integer } = columnTypes(dialect);
  const rows = createTable(db, dialect, "rejectedRows")
    .addColumn("listId", text, (c) => c.notNull().references("stockLists.id"))
    .addColumn("no", integer, (c) => c.notNull())
    .addColumn("row", integer, (c) => c.notNull())
    .addColumn("column", text)
    .addColumn("sku", text)
    .addColumn("detail", text, (c) => c.notNull())
    .addPrimaryKeyConstraint("rejectedRowsKey", ["listId", "no"]);
  // They are written once, and read and removed by list only: without a rowid there is no second tree to keep.
  await (dialect === "sqlite" ? rows.modifyEnd(sql`, without rowid`) : rows).execute();
}

export const rejectedRows: Step = { name: "0012-rejected-rows", up };
